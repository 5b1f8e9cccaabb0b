"""The forms a run may be written in: one choice for each trait, put together by a seed."""

import random
from dataclasses import dataclass, field

DST_ZONES = ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe")
TIME_KINDS = ("iso", "pattern", "elapsed")
ORDERS = ("day-month-year", "month-day-year", "year-month-day")


@dataclass
class Form:
    """Every trait of how a run is written."""

    seed: int
    kind: str = "csv"
    encoding: str = "utf-8"
    mark: bool = False
    delimiter: str = "comma"
    decimal: str = "point"
    thousands: str = "none"
    line_end: str = "\n"
    quoted: bool = False
    block_lines: int = 0
    header: str = "by names"
    unit_row: bool = False
    unit: str = "C"
    mixed_units: bool = False
    time_kind: str = "iso"
    two_columns: bool = False
    order: str = "year-month-day"
    date_mark: str = "-"
    clock: str = "24 h"
    padded: bool = True
    short_year: bool = False
    month_names: bool = False
    separator: str = " "
    elapsed_unit: str = "seconds"
    zone: str = "UTC"
    start: str = "plain day"
    interval_ns: int = 10_000_000_000
    rows: int = 30
    channels: int = 3
    vacuum: str | None = None
    sense: str = "below ambient"
    missing_word: str = ""
    own_missing_word: str | None = None
    remark: bool = False
    ignored: str = "list"
    footer: str = "none"
    repeated: bool = False
    blank_lines: bool = False
    last_line_end: bool = True
    files: str = "one"
    overlap: bool = False
    from_1904: bool = False
    several_sheets: bool = False
    number_texts: bool = False
    traits: set[str] = field(default_factory=set)


def form_of(seed: int) -> Form:
    """The form of a seed; what does not go together is chosen again, never left out."""
    rng = random.Random(seed)  # noqa: S311 - forms, no secrets
    form = Form(seed, kind="xlsx" if seed % 4 == 3 else "csv")
    _time(form, rng)
    _text(form, rng)
    _table(form, rng)
    _files(form, rng)
    form.traits = _traits(form)
    return form


def _time(form: Form, rng: random.Random) -> None:
    kinds = ("iso", "pattern", "pattern", "elapsed")
    form.time_kind = rng.choice(
        (*kinds, "date cell", "date cell") if form.kind == "xlsx" else kinds
    )
    form.interval_ns = rng.choice([1, 10, 60, 300]) * 1_000_000_000
    form.start = rng.choice(
        [
            "plain day",
            "days above twelve",
            "days that could be months",
            "leap day",
            "turn of the year",
            "month of one figure",
        ]
    )
    if form.time_kind == "elapsed":
        form.elapsed_unit = rng.choice(["seconds", "minutes", "hours", "h:mm:ss"])
        form.interval_ns = {
            "seconds": rng.choice([250_000_000, 1_000_000_000, 10_000_000_000]),
            "minutes": 30_000_000_000,
            "hours": 36_000_000_000,
            "h:mm:ss": 10_000_000_000,
        }[form.elapsed_unit]
        return
    zones = ["UTC", "+02:00", "-05:30", "Asia/Kolkata", *DST_ZONES, *DST_ZONES]
    form.zone = rng.choice(zones if form.time_kind == "date cell" else [*zones, "in the file"])
    if form.zone in DST_ZONES and rng.random() < 0.75:
        form.start = rng.choice(["forward", "back", "back"])
        form.interval_ns = rng.choice([60, 300]) * 1_000_000_000
        form.rows = 150 if form.interval_ns < 100_000_000_000 else 40
        if form.interval_ns == 60_000_000_000:
            form.rows = 200
    if form.time_kind == "pattern":
        form.order = rng.choice(ORDERS)
        form.date_mark = rng.choice(["/", ".", "-", " "])
        form.clock = rng.choice(["24 h", "24 h", "12 h"])
        form.padded = rng.random() < 0.7
        form.short_year = rng.random() < 0.2
        form.month_names = rng.random() < 0.15 and form.order != "year-month-day"
        form.separator = rng.choice([" ", " ", "T", ", "])
    form.two_columns = rng.random() < 0.35
    if form.time_kind == "iso":
        form.separator = rng.choice(["T", " "])
        if rng.random() < 0.2 and form.start in {"plain day", "leap day"}:
            form.interval_ns = 500_000_000


def _text(form: Form, rng: random.Random) -> None:
    form.decimal = rng.choice(["point", "comma"])
    if form.kind == "xlsx":
        form.number_texts = rng.random() < 0.3
        form.from_1904 = rng.random() < 0.3
        form.several_sheets = rng.random() < 0.3
        return
    form.encoding = rng.choice(["utf-8", "utf-8", "utf-8", "utf-16", "latin-1"])
    form.mark = form.encoding == "utf-16" or (form.encoding == "utf-8" and rng.random() < 0.3)
    form.delimiter = rng.choice(["comma", "semicolon", "tab", "pipe"])
    form.line_end = rng.choice(["\n", "\n", "\r\n", "\r\n", "\r"])
    form.quoted = rng.random() < 0.2
    form.blank_lines = rng.random() < 0.2
    form.last_line_end = rng.random() < 0.85
    if rng.random() < 0.15:
        marks = {"point": ["space", "apostrophe", "comma"], "comma": ["space", "point"]}
        form.thousands = rng.choice(marks[form.decimal])
        if form.thousands == form.delimiter:
            form.delimiter = "semicolon"


def _table(form: Form, rng: random.Random) -> None:
    form.block_lines = rng.choice([0, 0, 0, 3, 12, 40])
    form.header = rng.choice(["by names", "by names", "row", "none"])
    if form.header == "none":
        form.block_lines = 0
    form.unit_row = form.header != "none" and rng.random() < 0.35
    form.unit = rng.choice(["C", "C", "F"])
    form.channels = rng.choice([1, 2, 3, 5])
    form.mixed_units = form.channels > 1 and rng.random() < 0.15
    if rng.random() < 0.3:
        form.vacuum = rng.choice(["kPa", "mbar", "hPa", "Pa", "inHg", "mmHg", "Torr", "psi"])
        form.sense = rng.choice(["below ambient", "gauge", "absolute"])
    form.missing_word = rng.choice(["", "", "----", "OPEN", "n/a", "NaN", "Burnout"])
    if rng.random() < 0.2:
        form.own_missing_word = rng.choice(["LOST", "-999", "over range"])
    form.remark = rng.random() < 0.3
    form.ignored = rng.choice(["list", "everything else"])
    form.footer = rng.choice(["none", "none", "none", "marker", "rows"])
    form.repeated = rng.random() < 0.15 and form.start != "back"


def _files(form: Form, rng: random.Random) -> None:
    form.files = rng.choice(["one"] * 5 + ["after", "after", "equal times", "union of times"])
    if form.files in {"equal times", "union of times"} and (
        form.channels < 2 or form.header == "none" or form.start == "back"
    ):
        form.files = "after"
    if form.files == "union of times" and form.time_kind == "elapsed":
        form.files = "equal times"
    if form.files == "after" and form.start == "back":
        # A file that holds a part of the repeated hour cannot be told apart on its own.
        form.files = "one"
    form.overlap = form.files == "after" and rng.random() < 0.5


def _traits(form: Form) -> set[str]:
    """What the suite must have seen, in words."""
    return {
        f"kind {form.kind}",
        f"encoding {form.encoding}" if form.kind == "csv" else "xlsx",
        f"delimiter {form.delimiter}" if form.kind == "csv" else "xlsx",
        f"decimal {form.decimal}",
        f"thousands {form.thousands}",
        f"line end {form.line_end!r}",
        f"header {form.header}",
        f"block {form.block_lines}",
        f"unit row {form.unit_row}",
        f"unit {form.unit}",
        f"mixed units {form.mixed_units}",
        f"time {form.time_kind}",
        f"two columns {form.two_columns}",
        f"order {form.order}" if form.time_kind == "pattern" else "no order",
        f"date mark {form.date_mark}",
        f"clock {form.clock}",
        f"padded {form.padded}",
        f"short year {form.short_year}",
        f"month names {form.month_names}",
        f"elapsed {form.elapsed_unit}" if form.time_kind == "elapsed" else "not elapsed",
        f"zone {form.zone}" if form.time_kind != "elapsed" else "no zone",
        f"start {form.start}",
        f"vacuum {form.vacuum}",
        f"sense {form.sense}" if form.vacuum else "no vacuum",
        f"missing {form.missing_word}",
        f"own missing word {form.own_missing_word}",
        f"footer {form.footer}",
        f"repeated {form.repeated}",
        f"files {form.files}",
        f"overlap {form.overlap}",
        f"1904 {form.from_1904}",
        f"quoted {form.quoted}",
    }
