"""An acceptance table from a sheet of our own columns: one row a criterion, or a further zone.

The sheet opens with its head (a word in the first column, its value in the second), then the row of
column names. What stands in a row's entry columns begins an entry; rows that leave them empty, or
repeat them, belong to the entry above. A row without a quantity is a further zone of the criterion
above. Figures are text: a spreadsheet's number has lost its trailing zeros, and with them the place
that a limit is rounded to.
"""

import re
from collections.abc import Mapping
from typing import Any

from app.documents.sheet_cells import Grid, Row, SheetCell
from app.documents.table import table_from_json
from app.errors import BadFile
from app.judging.units import Quantity
from app.judging.witness.acceptance import Table

HEAD = ("name", "revision", "source document", "blind")
ENTRY = (
    "alloy",
    "temper",
    "form",
    "thickness from",
    "from included",
    "thickness to",
    "to included",
    "surface",
    "decision",
    "source",
    "obtained",
    "retest further",
    "retest of",
)
CRITERION = (
    "quantity",
    "scale or unit",
    "statistic",
    "readings",
    "min",
    "max",
    "range",
    "rounding",
    "resolution",
    "own source",
)
ZONE = ("zone from", "zone to", "zone outcome")
ALSO = ("also quantity", "also scale or unit", "also min", "also max")
COLUMNS = (*ENTRY, *CRITERION, *ZONE, *ALSO)
_FIGURES = frozenset(
    {
        "thickness from",
        "thickness to",
        "min",
        "max",
        "range",
        "resolution",
        "zone from",
        "zone to",
        "also min",
        "also max",
    }
)
_COUNTS = frozenset({"readings", "retest further"})
_YES = frozenset({"from included", "to included", "blind"})
_NEEDED = ("alloy", "temper", "form", "thickness from", "thickness to", "source", "obtained")
_FIGURE = re.compile(r"[+-]?\d{1,20}([.,]\d{1,20})?", re.ASCII)
_WHOLE = re.compile(r"\d{1,6}", re.ASCII)
_SAID = {"yes": "yes", "true": "yes", "no": "no", "false": "no"}
_PLACE = re.compile(r"(?:entries\[(\d+)\](?:\.criteria\[(\d+)\])?|[Ee]ntr(?:y|ies) (\d+)\b)")
_CRITERION_PLACE = re.compile(r"criterion (\d+)")
MOST_FAULTS = 30


class _Faults:
    """What is wrong with the sheet, each with its row and column."""

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        self.told: list[str] = []

    def add(self, row: int, column: str, says: str) -> None:
        where = f"{self._grid.sheet}, row {row}, column {column}"
        self.told.append(f"{where}: {says}")

    def refuse(self) -> None:
        """Raise for all that was told, if anything was.

        Raises:
            BadFile: one sentence a fault.
        """
        if not self.told:
            return
        more = len(self.told) - MOST_FAULTS
        rest = f" And {more} more." if more > 0 else ""
        raise BadFile(f"{self._grid.filename}: {' '.join(self.told[:MOST_FAULTS])}{rest}")


def table_of_sheet(grid: Grid) -> tuple[Table, str]:
    """The acceptance table that a sheet holds, and the source document its head names.

    Raises:
        BadFile: every fault of a cell, by sheet, row and column; or what the table lacks, with the
            row of its entry or criterion.
    """
    faults = _Faults(grid)
    at = next((at for at, row in enumerate(grid.rows) if _is_header(row)), None)
    if at is None:
        raise BadFile(
            f"{grid.filename}: {grid.sheet}: no row holds the column names (alloy, quantity and "
            "the others); start from the blank sheet."
        )
    head = _head(grid.rows[:at], faults)
    names = _names(grid.rows[at], faults)
    faults.refuse()
    rows = [
        (row.number, _cells(row, names, faults)) for row in grid.rows[at + 1 :] if row.is_filled
    ]
    entries, places = _entries(rows, faults)
    faults.refuse()
    paper = {
        "name": head.get("name", ""),
        "revision": head.get("revision", ""),
        "blind": head.get("blind") == "yes",
        "entries": entries,
    }
    try:
        return table_from_json(paper, filename=grid.filename), head.get("source document", "")
    except BadFile as fault:
        raise BadFile(f"{fault.sentence}{_row_of(fault.sentence, places, grid)}") from fault


def _is_header(row: Row) -> bool:
    found = {cell.plain for cell in row.cells}
    return {"alloy", "quantity"} <= found


def _head(rows: tuple[Row, ...], faults: _Faults) -> dict[str, str]:
    head: dict[str, str] = {}
    for row in rows:
        if not row.is_filled:
            continue
        key = row.cells[0].plain.rstrip(":")
        if key not in HEAD:
            faults.add(row.number, "A", f"{key!r} is no part of the head; give {', '.join(HEAD)}.")
            continue
        cell = row.cells[1] if len(row.cells) > 1 else SheetCell("")
        head[key] = _value(key, cell, row.number, faults)
    return head


def _names(row: Row, faults: _Faults) -> dict[int, str]:
    names: dict[int, str] = {}
    for at, cell in enumerate(row.cells):
        if not cell.text:
            continue
        if cell.plain not in COLUMNS:
            faults.add(row.number, repr(cell.text), "no such column; take it out or correct it.")
        elif cell.plain in names.values():
            faults.add(row.number, cell.text, "the column stands there twice; take one out.")
        else:
            names[at] = cell.plain
    return names


def _cells(row: Row, names: Mapping[int, str], faults: _Faults) -> dict[str, str]:
    """The row's filled cells by their columns' names."""
    found = {}
    for at, cell in enumerate(row.cells):
        if at in names:
            found[names[at]] = _value(names[at], cell, row.number, faults)
        elif cell.text:
            faults.add(row.number, f"number {at + 1}", "it has no name, and its cell is not empty.")
    return {name: text for name, text in found.items() if text}


def _value(name: str, cell: SheetCell, row: int, faults: _Faults) -> str:
    """A cell's text, as its column wants it; empty where it is refused."""
    if not cell.text:
        return ""
    wrong = _wrong(name, cell)
    if wrong is not None:
        faults.add(row, name, wrong)
        return ""
    if name in _YES:
        return _SAID[cell.plain]
    return cell.text.replace(",", ".") if name in _FIGURES else cell.text


def _wrong(name: str, cell: SheetCell) -> str | None:
    """Why a filled cell cannot stand in its column, or None."""
    shown = repr(cell.text[:40])
    found = None
    if cell.is_date:
        found = "it is a date to the spreadsheet; format the column as text."
    elif cell.is_number and name not in _COUNTS:
        found = (
            f"{cell.text} is a number to the spreadsheet, which drops trailing zeros, and they say "
            "to which place a limit is rounded; format the column as text and type it again."
        )
    elif name in _COUNTS and not _WHOLE.fullmatch(cell.text):
        found = f"{shown} is no whole number; write it like 3."
    elif name in _FIGURES and not _FIGURE.fullmatch(cell.text):
        found = f"{shown} is no figure; write it like 38.5 or 38,5."
    elif name in _YES and cell.plain not in _SAID:
        found = f"{shown} is neither yes nor no."
    return found


_Places = list[tuple[int, list[int]]]
"""Of each entry its row, and the rows of its criteria."""


def _entries(
    rows: list[tuple[int, dict[str, str]]], faults: _Faults
) -> tuple[list[dict[str, Any]], _Places]:
    entries: list[dict[str, Any]] = []
    places: _Places = []
    last: dict[str, str] = {}
    for number, cells in rows:
        said = {name: text for name, text in cells.items() if name in ENTRY}
        if said and any(last.get(name) != text for name, text in said.items()):
            for name in _NEEDED:
                if name not in said:
                    faults.add(number, name, "it is empty where a new entry begins; fill it in.")
            last = said
            entries.append(_entry(said))
            places.append((number, []))
        if not entries:
            faults.add(number, "alloy", "the first row begins no entry; fill its columns in.")
            continue
        _criterion_of(number, cells, entries[-1]["criteria"], places[-1][1], faults)
    return entries, places


def _entry(said: Mapping[str, str]) -> dict[str, Any]:
    retest = None
    if "retest further" in said or "retest of" in said:
        retest = {"further": said.get("retest further", ""), "of": said.get("retest of", "")}
    return {
        "alloy": said.get("alloy", ""),
        "temper": said.get("temper", ""),
        "form": said.get("form", ""),
        "thickness_mm": {
            "from": said.get("thickness from", ""),
            "to": said.get("thickness to", ""),
            "from_included": said.get("from included", "yes") == "yes",
            "to_included": said.get("to included", "yes") == "yes",
        },
        "surface": said.get("surface"),
        "decision": said.get("decision", "simple"),
        "source": said.get("source", ""),
        "obtained": said.get("obtained", ""),
        "retest": retest,
        "criteria": [],
    }


def _criterion_of(
    number: int,
    cells: Mapping[str, str],
    criteria: list[dict[str, Any]],
    places: list[int],
    faults: _Faults,
) -> None:
    """Add the row's criterion, or its zone to the criterion above."""
    if "quantity" in cells:
        criteria.append(_criterion(cells))
        places.append(number)
    elif not criteria:
        faults.add(number, "quantity", "it is empty, and no criterion stands above; fill it in.")
        return
    else:
        for name in CRITERION:
            if name in cells:
                faults.add(number, name, "it is filled in, but the row names no quantity.")
        if not any(name in cells for name in ZONE):
            faults.add(number, "quantity", "the row has neither a quantity nor a zone.")
    if any(name in cells for name in (*ZONE, *ALSO)):
        zone = {
            "from": cells.get("zone from"),
            "to": cells.get("zone to"),
            "outcome": cells.get("zone outcome", "").replace(" ", "_"),
            "also": _also(cells),
        }
        criteria[-1]["zones"] = [*(criteria[-1]["zones"] or []), zone]


def _criterion(cells: Mapping[str, str]) -> dict[str, Any]:
    quantity = cells["quantity"].casefold().replace(" ", "_")
    return {
        "quantity": quantity,
        _scale_key(quantity): cells.get("scale or unit", ""),
        "statistic": cells.get("statistic", ""),
        "readings_min": cells.get("readings", ""),
        "min": cells.get("min"),
        "max": cells.get("max"),
        "range_max": cells.get("range"),
        "rounding": cells.get("rounding"),
        "resolution": cells.get("resolution"),
        "source": cells.get("own source"),
        "zones": None,
    }


def _also(cells: Mapping[str, str]) -> list[dict[str, Any]] | None:
    if not any(name in cells for name in ALSO):
        return None
    quantity = cells.get("also quantity", "").casefold().replace(" ", "_")
    return [
        {
            "quantity": quantity,
            _scale_key(quantity): cells.get("also scale or unit", ""),
            "min": cells.get("also min"),
            "max": cells.get("also max"),
        }
    ]


def _scale_key(quantity: str) -> str:
    return "scale" if quantity == Quantity.HARDNESS.value else "unit"


def _row_of(sentence: str, places: _Places, grid: Grid) -> str:
    """Where in the sheet the entry or criterion of a sentence stands, in words after it."""
    found = _PLACE.search(sentence)
    if found is None:
        return f" ({grid.sheet}, its head)" if "entries" not in sentence else ""
    entry = int(found[1]) if found[1] is not None else int(found[3]) - 1
    if not 0 <= entry < len(places):
        return ""
    row, criteria = places[entry]
    named = _CRITERION_PLACE.search(sentence)
    at = int(found[2]) if found[2] else int(named[1]) - 1 if named and found[3] else None
    if at is not None and 0 <= at < len(criteria):
        row = criteria[at]
    return f" ({grid.sheet}, row {row})"
