"""Write a run in a form: files and the paper of the mapping that reads them. Knows no reader."""

import csv
import io
import math
import random
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import xlsxwriter

from app.documents.logger.logger_files import LoggerFile
from tests.documents.torture.forms import Form
from tests.documents.torture.truth import NANOSECONDS, Truth, make_truth

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SIGNS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|"}
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
# NIST SP 811 (2008), B.8, from memory: to kPa, seven figures as printed there.
PRINTED_KPA = {
    "kPa": "1",
    "mbar": "0.1",
    "hPa": "0.1",
    "Pa": "0.001",
    "inHg": "3.386389",
    "mmHg": "0.1333224",
    "Torr": "0.1333224",
    "psi": "6.894757",
}
AMBIENT_KPA = Decimal("101.325")
BLOCK = [
    "Furnace logger export",
    'Operator "night shift"',
    "Serial;4711,A|B\tC",
    "Channels: 3",
    "Started 01/02/2026 03:04",
    "20.5,21.5",
]
REMARKS = ["", "ok", "door shut", "a, b; c | d", 'said "hot"']


def truth_for(form: Form) -> Truth:
    """The run that the form is to hold."""
    rng = random.Random(form.seed + 1_000_000)  # noqa: S311 - readings, no secrets
    largest = Decimal(1400) if form.thousands != "none" else Decimal(200)
    return make_truth(
        rng,
        start=form.start,
        zone=form.zone if form.start in {"forward", "back"} else None,
        interval_ns=form.interval_ns,
        rows=form.rows,
        channels=form.channels,
        with_vacuum=form.vacuum is not None,
        largest=largest,
    )


def expected_channels(form: Form, truth: Truth) -> dict[str, np.ndarray]:
    """Each channel's exact readings; a converted one as the nearest double to the exact figure."""
    found = {}
    for at, (name, texts) in enumerate(truth.channels.items()):
        unit = unit_of(form, at)
        found[name] = np.array(
            [math.nan if text is None else _handed_on(text, unit, form) for text in texts]
        )
    if truth.vacuum is not None:
        found["VAC"] = np.array([_kpa_below(str(text), form) for text in truth.vacuum])
    return found


def unit_of(form: Form, at: int) -> str:
    """The unit of a channel: where they are mixed, the first one's is the other."""
    return {"C": "F", "F": "C"}[form.unit] if form.mixed_units and at == 0 else form.unit


def _handed_on(text: str, unit: str, form: Form) -> float:
    if form.mixed_units and unit == "F":
        return float((Decimal(text) - 32) * 5 / 9)
    return float(text)


def _kpa_below(text: str, form: Form) -> float:
    """The vacuum that a reading of the form's unit means, by the printed factor."""
    pressure = Decimal(text) * Decimal(PRINTED_KPA[str(form.vacuum)]) * _scale(form)
    return float(AMBIENT_KPA - pressure if form.sense == "absolute" else pressure)


def _scale(form: Form) -> Decimal:
    """Truth's whole numbers as figures of the unit's usual size."""
    return {"kPa": Decimal("0.1"), "inHg": Decimal("0.03"), "psi": Decimal("0.01")}.get(
        str(form.vacuum), Decimal(1)
    )


def vacuum_text(text: str, form: Form) -> str:
    """A vacuum reading as the logger writes it."""
    figure = Decimal(text) * _scale(form)
    return str(-figure if form.sense == "gauge" else figure)


def written(form: Form, truth: Truth) -> tuple[list[LoggerFile], dict[str, Any]]:
    """The files, and the paper of the mapping that reads them."""
    pieces = _pieces(form, truth)
    files = []
    for number, (rows, channels) in enumerate(pieces):
        grid = _Grid(form, truth, rows, channels, random.Random(form.seed + number))  # noqa: S311
        content = _sheet(form, grid) if form.kind == "xlsx" else _delimited(form, grid)
        files.append(LoggerFile(f"part {number + 1} of {form.seed}.{form.kind}", content))
    return files, _paper(form, truth)


def expected_missing(form: Form, truth: Truth) -> dict[str, set[int]]:
    """For files side by side with a union of times: the rows that a channel's file leaves out."""
    if form.files != "union of times":
        return {}
    every = set(range(len(truth.instants)))
    return {name: every - set(rows) for rows, channels in _pieces(form, truth) for name in channels}


def _pieces(form: Form, truth: Truth) -> list[tuple[list[int], list[str]]]:
    """Which rows and channels each file holds."""
    rows = list(range(len(truth.instants)))
    names = [*truth.channels, *(["VAC"] if truth.vacuum is not None else [])]
    if form.files == "after":
        third = len(rows) // 3
        more = 4 if form.overlap else 0
        return [
            (rows[: third + more], names),
            (rows[third : 2 * third + more], names),
            (rows[2 * third :], names),
        ]
    if form.files == "equal times":
        return [(rows, names[:1]), (rows, names[1:])]
    if form.files == "union of times":
        return [
            ([at for at in rows if at % 2 == 0 or at < 3], names[:1]),
            ([at for at in rows if at % 2 == 1 or at < 3], names[1:]),
        ]
    return [(rows, names)]


class _Grid:
    """The table of one file: names, units, cells."""

    def __init__(
        self,
        form: Form,
        truth: Truth,
        rows: Sequence[int],
        channels: Sequence[str],
        rng: random.Random,
    ) -> None:
        self.form = form
        self.rng = rng
        self.times = ["Date", "Time of day"] if form.two_columns else ["Stamp"]
        self.channels = list(channels)
        self.names = [*self.times, *(column_of(name, form) for name in channels)]
        self.units = ["" for _ in self.times] + [self._unit(name, truth) for name in channels]
        if form.time_kind == "elapsed" and form.elapsed_unit != "h:mm:ss":
            self.units[0] = {"seconds": "s", "minutes": "min", "hours": "h"}[form.elapsed_unit]
        if form.remark:
            self.names.append("Remark")
            self.units.append("")
        self.rows: list[list[Any]] = []
        for at in rows:
            cells = self._cells(truth, at, channels)
            self.rows.append(cells)
            if form.repeated and at % 7 == 3:
                self.rows.append(cells)

    def _unit(self, name: str, truth: Truth) -> str:
        if name == "VAC":
            return str(self.form.vacuum)
        return f"°{unit_of(self.form, list(truth.channels).index(name))}"

    def _cells(self, truth: Truth, at: int, channels: Sequence[str]) -> list[Any]:
        cells: list[Any] = list(time_cells(truth.instants[at], truth.instants[0], self.form))
        for name in channels:
            if name == "VAC":
                assert truth.vacuum is not None
                cells.append(self._figure(vacuum_text(str(truth.vacuum[at]), self.form)))
                continue
            text = truth.channels[name][at]
            own = self.form.own_missing_word
            word = own if own and at % 2 else self.form.missing_word
            cells.append(word if text is None else self._figure(text))
        if self.form.remark:
            cells.append(self.rng.choice(REMARKS))
        return cells

    def _figure(self, text: str) -> Any:
        form = self.form
        if form.kind == "xlsx" and not form.number_texts:
            return float(text)
        sign = "," if form.decimal == "comma" else "."
        whole, _, part = text.partition(".")
        marks = {"space": " ", "apostrophe": "'", "point": ".", "comma": ","}
        if form.thousands != "none" and len(whole.lstrip("-")) > 3:
            whole = f"{whole[:-3]}{marks[form.thousands]}{whole[-3:]}"
        return f"{whole}{sign}{part}" if part else whole


def column_of(name: str, form: Form) -> str:
    """The file's column of a channel."""
    return f"Bag {name}" if name == "VAC" else f"Zone {name} ä" if form.seed % 5 == 0 else name


def time_cells(instant: int, first: int, form: Form) -> list[Any]:
    """A row's time as its cells: texts, or spreadsheet days."""
    if form.time_kind == "elapsed":
        return [_elapsed(instant - first, form)]
    seconds, part = divmod(instant, NANOSECONDS)
    moment = EPOCH + timedelta(seconds=seconds)
    local = moment.astimezone(_zone_at(form, moment))
    if form.time_kind == "date cell":
        epoch = datetime(1904, 1, 1) if form.from_1904 else datetime(1899, 12, 30)  # noqa: DTZ001 - the sheet's own
        since = local.replace(tzinfo=None) - epoch
        if form.two_columns:
            return [float(since.days), since.seconds / 86_400]
        return [since.days + since.seconds / 86_400]
    day, clock = _day(local, form), _clock(local, part, form)
    return [day, clock] if form.two_columns else [f"{day}{form.separator}{clock}"]


def _zone_at(form: Form, moment: datetime) -> Any:
    if form.zone == "in the file":
        # The logger goes from one offset to another half way through the day.
        return timezone(timedelta(hours=2 if moment.hour < 12 else 1))
    if form.zone[0] in "+-":
        sign = -1 if form.zone[0] == "-" else 1
        offset = timedelta(hours=int(form.zone[1:3]), minutes=int(form.zone[4:]))
        return timezone(sign * offset)
    return ZoneInfo(form.zone)


def _day(local: datetime, form: Form) -> str:
    if form.time_kind == "iso":
        return local.date().isoformat()
    width = 2 if form.padded else 1
    month = MONTHS[local.month - 1] if form.month_names else f"{local.month:0{width}d}"
    year = f"{local.year % 100:02d}" if form.short_year else f"{local.year}"
    parts = {"day": f"{local.day:0{width}d}", "month": month, "year": year}
    return form.date_mark.join(parts[word] for word in form.order.split("-"))


def _clock(local: datetime, part: int, form: Form) -> str:
    width = 2 if form.padded or form.time_kind == "iso" else 1
    hour = local.hour if form.clock == "24 h" else (local.hour - 1) % 12 + 1
    text = f"{hour:0{width}d}:{local.minute:02d}"
    if form.interval_ns % (60 * NANOSECONDS) or form.seed % 2:
        text += f":{local.second:02d}"
        if form.interval_ns % NANOSECONDS:
            text += f".{part:09d}"[: 2 + form.seed % 3]
    if form.clock == "12 h":
        text += (
            ["AM", "PM"][local.hour >= 12] if form.seed % 2 else [" am", " pm"][local.hour >= 12]
        )
    if form.zone == "in the file":
        offset = local.utcoffset()
        assert offset is not None
        text += f"+{int(offset.total_seconds()) // 3600:02d}:00"
    return text


def _elapsed(nanoseconds: int, form: Form) -> Any:
    seconds = Decimal(nanoseconds) / NANOSECONDS
    if form.elapsed_unit == "h:mm:ss":
        whole = nanoseconds // NANOSECONDS
        return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    figure = seconds / {"seconds": 1, "minutes": 60, "hours": 3600}[form.elapsed_unit]
    if form.kind == "xlsx" and not form.number_texts:
        return float(figure)
    text = f"{figure.normalize():f}"
    return text.replace(".", ",") if form.decimal == "comma" else text


def _block(form: Form) -> list[str]:
    return [BLOCK[at % len(BLOCK)] for at in range(form.block_lines)]


def _delimited(form: Form, grid: _Grid) -> bytes:
    text = io.StringIO(newline="")
    text.write("".join(f"{line}{form.line_end}" for line in _block(form)))
    writer = csv.writer(
        text,
        delimiter=SIGNS[form.delimiter],
        lineterminator=form.line_end,
        quoting=csv.QUOTE_ALL if form.quoted else csv.QUOTE_MINIMAL,
    )
    if form.header != "none":
        writer.writerow(grid.names)
        if form.unit_row:
            writer.writerow(grid.units)
    for at, cells in enumerate(grid.rows):
        writer.writerow(cells)
        if form.blank_lines and at % 9 == 4:
            text.write(form.line_end)
    if form.footer == "marker":
        text.write(f"End of export{form.line_end}20 lines{form.line_end}")
    elif form.footer == "rows":
        text.write(f"mean of channels{form.line_end}checked{form.line_end}")
    whole = text.getvalue()
    if not form.last_line_end:
        whole = whole.removesuffix(form.line_end)
    if form.encoding == "utf-16":
        sign, encoding = (b"\xff\xfe", "utf-16-le") if form.seed % 2 else (b"\xfe\xff", "utf-16-be")
        return sign + whole.encode(encoding)
    return (b"\xef\xbb\xbf" if form.mark else b"") + whole.encode(form.encoding)


def _sheet(form: Form, grid: _Grid) -> bytes:
    target = io.BytesIO()
    book = xlsxwriter.Workbook(
        target, {"in_memory": True, "date_1904": form.from_1904, "strings_to_formulas": False}
    )
    if form.several_sheets:
        book.add_worksheet("Cover").write(0, 0, "Not this one")
    sheet = book.add_worksheet("Log")
    form_of_time = "yyyy-mm-dd hh:mm:ss" if form.time_kind == "date cell" else "0.000000"
    dated = book.add_format({"num_format": form_of_time})
    left = form.seed % 3 if form.header == "by names" else 0
    row = 0
    for line in _block(form):
        sheet.write_string(row, 0, line)
        row += 1
    heads = [] if form.header == "none" else [grid.names, grid.units][: 1 + form.unit_row]
    for cells in heads:
        for at, cell in enumerate(cells):
            sheet.write_string(row, left + at, cell)
        row += 1
    for number, cells in enumerate(grid.rows):
        _write_row(sheet, (row, left), cells, dated, len(grid.times))
        row += 2 if form.blank_lines and number % 9 == 4 else 1
    if form.footer == "marker":
        sheet.write_string(row, left, "End of export")
    elif form.footer == "rows":
        sheet.write_string(row, left, "mean of channels")
        sheet.write_string(row + 1, left, "checked")
    book.close()
    return target.getvalue()


def _write_row(
    sheet: Any, corner: tuple[int, int], cells: Sequence[Any], dated: Any, times: int
) -> None:
    """One row from a corner on; numbers among the first ``times`` cells are dates."""
    row, left = corner
    for at, cell in enumerate(cells):
        if isinstance(cell, float):
            sheet.write_number(row, left + at, cell, dated if at < times else None)
        elif cell != "":
            sheet.write_string(row, left + at, cell)


def _paper(form: Form, truth: Truth) -> dict[str, Any]:
    """The mapping's paper, as a person would state it."""
    by_place = form.header == "none"
    times = ["Date", "Time of day"] if form.two_columns else ["Stamp"]
    names = [*truth.channels]
    place = len(times)
    channels = []
    for at, name in enumerate(names):
        column = place + at + 1 if by_place else column_of(name, form)
        own = unit_of(form, at)
        channels.append(
            {"channel": name, "column": column, "unit": own if own != form.unit else None}
        )
    paper: dict[str, Any] = {
        "name": f"form {form.seed}",
        "kind": form.kind,
        "decimal_mark": form.decimal,
        "thousands_mark": form.thousands,
        "header": form.block_lines + 1 if form.header == "row" else form.header,
        "unit_row": form.unit_row,
        "time": _time_paper(form, [1, 2][: len(times)] if by_place else times),
        "temperature_unit": form.unit,
        "channels": channels,
        "ignored": _ignored(form),
        "missing": [form.own_missing_word] if form.own_missing_word else [],
        "repeated_rows": "drop identical" if form.repeated else "refuse",
    }
    if form.kind == "csv":
        paper |= {"encoding": form.encoding, "delimiter": form.delimiter}
        if not form.last_line_end:
            paper["last_row_without_line_end"] = "take"
    elif form.several_sheets:
        paper["sheet"] = "Log"
    if truth.vacuum is not None:
        paper["vacuum"] = {
            "channel": "VAC",
            "column": place + len(names) + 1 if by_place else "Bag VAC",
            "unit": form.vacuum,
            "sense": form.sense,
            "ambient_kpa": str(AMBIENT_KPA) if form.sense == "absolute" else None,
        }
    if form.footer != "none":
        paper["footer"] = {"marker": "End of"} if form.footer == "marker" else {"rows": 2}
    if form.files == "after":
        paper |= {"files": "one after the other", "sort": form.seed % 2 == 0}
    elif form.files != "one":
        paper |= {"files": "side by side", "join": form.files}
    return paper


def _ignored(form: Form) -> Any:
    if form.ignored == "everything else" or (form.header == "none" and form.remark):
        return "everything else"
    return ["Remark"] if form.remark else []


def _time_paper(form: Form, columns: list[Any]) -> dict[str, Any]:
    paper: dict[str, Any] = {"columns": columns, "kind": form.time_kind}
    if form.time_kind == "elapsed":
        return paper | {"columns": columns[:1], "elapsed_unit": form.elapsed_unit}
    paper["zone"] = form.zone
    if form.start == "back":
        paper["repeated_hour"] = "by order"
    if form.time_kind == "pattern":
        paper |= {"order": form.order, "date_mark": form.date_mark, "clock": form.clock}
        if form.short_year:
            paper["century"] = "20"
    return paper
