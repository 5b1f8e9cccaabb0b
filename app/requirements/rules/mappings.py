"""A logger mapping in words: what is read from where, and how its texts are understood. Pure."""

from collections.abc import Iterable, Mapping
from typing import Any

from app.requirements.rules.parts import Part

_SENSES = {
    "below ambient": "pressure below ambient, positive",
    "gauge": "gauge pressure, negative below ambient",
    "absolute": "absolute pressure",
}


def mapping_parts(paper: Mapping[str, Any]) -> tuple[Part, ...]:
    """The clauses of a mapping's paper as kept, every value of it among them."""
    return (
        Part("file", "The file", tuple(_file_lines(paper))),
        Part("header", "Where the readings stand", tuple(_place_lines(paper))),
        Part("figures", "How figures are written", tuple(_figure_lines(paper))),
        Part("time", "The time", tuple(_time_lines(paper["time"]))),
        _channels(paper),
        Part("vacuum", "Bag vacuum", tuple(_vacuum_lines(paper["vacuum"]))),
        Part("several", "Several files, repeated rows", tuple(_files_lines(paper))),
    )


def _file_lines(paper: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    if paper["kind"] == "xlsx":
        yield "Kind of file", "spreadsheet (XLSX)"
        yield "Sheet", paper["sheet"] or "the only one"
        return
    yield "Kind of file", "text (CSV)"
    yield "Encoding", {"latin-1": "Latin-1"}.get(paper["encoding"], paper["encoding"].upper())
    yield "Between columns", paper["delimiter"]
    cut = paper["last_row_without_line_end"] == "refuse"
    yield "A last row without its line end", "refused: it may be cut off" if cut else "taken"


def _place_lines(paper: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    header, footer, ignored = paper["header"], paper["footer"], paper["ignored"]
    found = {
        "by names": "the first row that holds every column named here",
        "none": "none: every column is given by its place",
    }
    yield "Header row", found.get(header, f"row {header}")
    yield "Row of units after it", "yes, and it must agree" if paper["unit_row"] else "none"
    if footer is None:
        yield "After the last reading", "nothing"
    elif footer["marker"] is not None:
        yield "After the last reading", f"from a row that begins with {footer['marker']!r} on"
    else:
        yield "After the last reading", f"the last {footer['rows']} rows"
    everything = ignored == "everything else"
    yield "Columns not read", "every other one" if everything else ", ".join(ignored) or "none"


def _figure_lines(paper: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    yield "Decimal mark", paper["decimal_mark"]
    yield "Thousands mark", paper["thousands_mark"]
    yield "Temperatures", f"°{paper['temperature_unit']}, where a column does not say otherwise"
    yield "Further words for a missing sample", ", ".join(paper["missing"]) or "none"


def _time_lines(time: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    columns = [column_words(one) for one in time["columns"]]
    if len(columns) == 1:
        yield "Column", columns[0]
    else:
        yield "Columns", f"the date in {columns[0]}, the time of day in {columns[1]}"
    if time["kind"] == "elapsed":
        yield "Written as", f"time since the start, in {time['elapsed_unit']}"
        return
    yield "Written as", _written(time)
    zone = time["zone"]
    yield "Zone of its clock", "stands in the file" if zone == "in the file" else zone
    by_order = time["repeated_hour"] == "by order"
    yield "The hour that a clock change repeats", "told apart by order" if by_order else "refused"


def _written(time: Mapping[str, Any]) -> str:
    if time["kind"] == "iso":
        return "ISO 8601, such as 2031-04-03T08:00:00"
    if time["kind"] == "date cell":
        return "the spreadsheet's date cells"
    order = "no order of day, month and year stated" if time["order"] is None else time["order"]
    century = "" if time["century"] is None else f", two-digit years of {time['century']}.."
    mark = "a space" if time["date_mark"] == " " else f"{time['date_mark']!r}"
    return f"{order} with {mark} between{century}, {time['clock']} clock"


def _channels(paper: Mapping[str, Any]) -> Part:
    beside = paper["files"] == "side by side"
    rows = []
    for one in paper["channels"]:
        unit = f"°{one['unit'] or paper['temperature_unit']}"
        file = (f"whose name holds {one['in_file']!r}" if one["in_file"] else "any",)
        rows.append((one["channel"], column_words(one["column"]), unit, *(file if beside else ())))
    headers = ("Channel", "Column", "Unit", *(("File",) if beside else ()))
    return Part("channels", "Temperature channels", tuple(rows), headers)


def _vacuum_lines(vacuum: Mapping[str, Any] | None) -> Iterable[tuple[str, str]]:
    if vacuum is None:
        yield "Column", "none is read"
        return
    yield "Channel", vacuum["channel"]
    yield "Column", column_words(vacuum["column"])
    yield "Unit", vacuum["unit"]
    ambient = f", ambient {vacuum['ambient_kpa']} kPa" if vacuum["ambient_kpa"] else ""
    yield "Measured as", _SENSES[vacuum["sense"]] + ambient
    if vacuum["in_file"]:
        yield "File", f"whose name holds {vacuum['in_file']!r}"


def _files_lines(paper: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    yield "Files of one record", paper["files"]
    if paper["files"] == "side by side":
        yield "Their times", paper["join"]
    if paper["files"] == "one after the other":
        yield "Put in order of their times", "yes" if paper["sort"] else "no: as they are chosen"
    dropped = paper["repeated_rows"] == "drop identical"
    yield "Rows that stand twice", "dropped where identical" if dropped else "refused"


def column_words(column: str | int) -> str:
    """A column by its name, or by its place."""
    return f"column {column}" if isinstance(column, int) else column
