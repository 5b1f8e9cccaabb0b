"""MAPPING.json: how one kind of logger's export is read. What is left open is refused, not guessed.

A mapping names every column that counts by the channel it feeds, and states what figures alone do
not tell: encoding, marks, the order of dates, the zone of the clock, units, and what vacuum is
measured against.
"""

import re
from datetime import timedelta, timezone, tzinfo
from typing import Annotated, Any, Literal, Self, TypeAlias
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BeforeValidator, StringConstraints, WithJsonSchema, model_validator

from app.documents.paper import FigureIn, Paper, load_paper, paper_from

Unit: TypeAlias = Literal["C", "F"]
VacuumUnit: TypeAlias = Literal["kPa", "mbar", "hPa", "Pa", "inHg", "mmHg", "Torr", "psi"]
Sense: TypeAlias = Literal["below ambient", "gauge", "absolute"]
DateOrder: TypeAlias = Literal["day-month-year", "month-day-year", "year-month-day"]
DateMark: TypeAlias = Literal["/", ".", "-", " "]
ElapsedUnit: TypeAlias = Literal["seconds", "minutes", "hours", "h:mm:ss"]
Name = Annotated[str, StringConstraints(min_length=1, max_length=200, strip_whitespace=True)]

MOST_CHANNELS = 1024
MOST_COLUMNS = 16_384
MOST_HEADER_ROWS = 10_000
_FOOTER = 100
ZONE_IN_FILE = "in the file"
EVERYTHING_ELSE = "everything else"
_OFFSET = re.compile(r"([+-])(\d\d):([0-5]\d)", re.ASCII)
_FURTHEST_HOURS = 14


def _column(raw: object) -> object:
    """A column's name, or its place counted from 1."""
    if isinstance(raw, str) and raw.strip():
        return raw.strip()
    if isinstance(raw, int) and not isinstance(raw, bool) and 1 <= raw <= MOST_COLUMNS:
        return raw
    raise ValueError(f"expected a column's name, or its place from 1, found {raw!r}")


def _header(raw: object) -> object:
    """The header's row, or in words where it is."""
    if raw in ("by names", "none"):
        return raw
    if isinstance(raw, int) and not isinstance(raw, bool) and 1 <= raw <= MOST_HEADER_ROWS:
        return raw
    raise ValueError(
        f'expected the row from 1 to {MOST_HEADER_ROWS}, "by names" or "none", found {raw!r}'
    )


def _footer_rows(raw: object) -> object:
    """How many rows are no readings."""
    if raw is None or (isinstance(raw, int) and not isinstance(raw, bool) and 1 <= raw <= _FOOTER):
        return raw
    raise ValueError(f"expected a number of rows from 1 to {_FOOTER}, found {raw!r}")


Column = Annotated[
    str | int,
    BeforeValidator(_column),
    WithJsonSchema(
        {"anyOf": [{"type": "string", "minLength": 1}, {"type": "integer", "minimum": 1}]}
    ),
]
"""A column by its name in the header row, or by its place counted from 1."""


def zone_stated(written: str) -> tzinfo | None:
    """The zone of that name (IANA) or fixed offset (``+02:00``); None where there is none such."""
    matched = _OFFSET.fullmatch(written)
    if matched is not None:
        sign, hours, minutes = matched.groups()
        offset = timedelta(hours=int(hours), minutes=int(minutes))
        if offset > timedelta(hours=_FURTHEST_HOURS):
            return None
        return timezone(-offset if sign == "-" else offset)
    try:
        return ZoneInfo(written)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


class TimePart(Paper):
    """Where a row's time stands and how it is written.

    ``columns`` is one column, or a column of dates and then one of times of day. Kinds: ``iso``
    (ISO 8601), ``pattern`` (``order``, ``date_mark``, ``clock``; two-digit years only with a
    ``century``: its first two digits), ``elapsed`` (``elapsed_unit``) and ``date cell`` of a
    spreadsheet. ``zone`` is ``in the file``, an IANA name or an offset such as ``+02:00``.
    Times of the hour that a daylight-saving change repeats are refused, or told apart ``by order``.
    """

    columns: tuple[Column, ...]
    kind: Literal["iso", "pattern", "elapsed", "date cell"]
    order: DateOrder | None = None
    date_mark: DateMark | None = None
    clock: Literal["24 h", "12 h"] = "24 h"
    century: Literal["19", "20", "21"] | None = None
    elapsed_unit: ElapsedUnit | None = None
    zone: Name | None = None
    repeated_hour: Literal["refuse", "by order"] = "refuse"

    @model_validator(mode="after")
    def _says_what_its_kind_needs(self) -> Self:
        if len(self.columns) not in {1, 2} or len(set(self.columns)) != len(self.columns):
            raise ValueError("columns takes one column, or one of dates and one of times of day")
        if self.kind == "pattern" and self.date_mark is None:
            raise ValueError("date_mark is missing; state what stands between day, month and year")
        if self.kind != "pattern":
            for field in ("order", "date_mark", "century"):
                if getattr(self, field) is not None:
                    raise ValueError(f"{field} belongs to the kind pattern; remove it")
            if self.clock != "24 h":
                raise ValueError("clock belongs to the kind pattern; remove it")
        if self.kind == "elapsed":
            self._check_elapsed()
        else:
            self._check_zone()
        return self

    def _check_elapsed(self) -> None:
        if self.elapsed_unit is None:
            raise ValueError("elapsed_unit is missing; state seconds, minutes, hours or h:mm:ss")
        if len(self.columns) != 1:
            raise ValueError("columns: elapsed times stand in one column; name that one")
        if self.zone is not None:
            raise ValueError("zone: elapsed times have none; remove it")
        if self.repeated_hour != "refuse":
            raise ValueError("repeated_hour: elapsed times repeat no hour; remove it")

    def _check_zone(self) -> None:
        if self.elapsed_unit is not None:
            raise ValueError("elapsed_unit belongs to the kind elapsed; remove it")
        if self.zone is None:
            raise ValueError(
                f'zone is missing; state "{ZONE_IN_FILE}", a name such as Europe/Berlin, or an '
                f"offset such as +02:00"
            )
        if self.zone == ZONE_IN_FILE:
            if self.kind == "date cell":
                raise ValueError("zone: a spreadsheet's date cells carry none; state one")
        elif zone_stated(self.zone) is None:
            raise ValueError(
                f"zone: there is no zone {self.zone}; state a name such as Europe/Berlin or an "
                f"offset such as +02:00"
            )


class ChannelPart(Paper):
    """The column of one temperature channel.

    ``unit`` is the file's where null; ``in_file`` is a piece of the name of the file it is in,
    needed where files lie side by side and both have such a column.
    """

    channel: Name
    column: Column
    unit: Unit | None = None
    in_file: Name | None = None


class VacuumPart(Paper):
    """The column of the bag's vacuum, its unit, and what it is measured against.

    ``below ambient`` is positive below ambient pressure, ``gauge`` negative below ambient, and
    ``absolute`` is a pressure that is subtracted from ``ambient_kpa``.
    """

    channel: Name
    column: Column
    unit: VacuumUnit
    sense: Sense
    ambient_kpa: FigureIn | None = None
    in_file: Name | None = None

    @model_validator(mode="after")
    def _ambient_goes_with_absolute(self) -> Self:
        if self.sense == "absolute":
            if self.ambient_kpa is None or self.ambient_kpa <= 0:
                raise ValueError(
                    "ambient_kpa is missing; state the ambient pressure that an absolute one is "
                    "compared with, such as 101.325"
                )
        elif self.ambient_kpa is not None:
            raise ValueError("ambient_kpa belongs to the sense absolute; remove it")
        return self


class FooterPart(Paper):
    """What follows the last row: a row that begins with ``marker``, or the last ``rows`` rows."""

    marker: Name | None = None
    rows: Annotated[
        int | None,
        BeforeValidator(_footer_rows),
        WithJsonSchema({"anyOf": [{"type": "integer", "minimum": 1}, {"type": "null"}]}),
    ] = None

    @model_validator(mode="after")
    def _one_of_the_two(self) -> Self:
        if (self.marker is None) == (self.rows is None):
            raise ValueError("footer takes a marker or a number of rows; give one of the two")
        return self


class LoggerMapping(Paper):
    """How one kind of export is read.

    ``header`` is the header's row number, ``by names`` (the first row that holds every named
    column) or ``none``. ``unit_row`` says that the row after the header states units, which must
    agree. ``ignored`` names the columns that are not read, or ``everything else``. Words in
    ``missing`` mean no sample, besides those every file may use. ``files`` says how several belong
    together, ``join`` how the times of files side by side must agree.
    """

    name: Name
    kind: Literal["csv", "xlsx"]
    sheet: Name | None = None
    encoding: Literal["utf-8", "utf-16", "latin-1"] | None = None
    delimiter: Literal["comma", "semicolon", "tab", "pipe"] | None = None
    decimal_mark: Literal["point", "comma"] = "point"
    thousands_mark: Literal["none", "space", "apostrophe", "point", "comma"] = "none"
    header: Annotated[
        int | str,
        BeforeValidator(_header),
        WithJsonSchema(
            {"anyOf": [{"type": "integer", "minimum": 1}, {"enum": ["by names", "none"]}]}
        ),
    ]
    unit_row: bool = False
    time: TimePart
    temperature_unit: Unit
    channels: tuple[ChannelPart, ...]
    vacuum: VacuumPart | None = None
    ignored: Literal["everything else"] | tuple[Name, ...] = ()
    missing: tuple[Name, ...] = ()
    footer: FooterPart | None = None
    repeated_rows: Literal["refuse", "drop identical"] = "refuse"
    last_row_without_line_end: Literal["refuse", "take"] = "refuse"
    files: Literal["one", "one after the other", "side by side"] = "one"
    join: Literal["equal times", "union of times"] = "equal times"
    sort: bool = False

    @model_validator(mode="after")
    def _stands_together(self) -> Self:
        self._check_kind()
        self._check_columns()
        self._check_header()
        self._check_files()
        return self

    def _check_kind(self) -> None:
        """Refuse what does not belong to the kind of file, and marks that could be taken for two.

        Raises:
            ValueError: names the field.
        """
        if self.kind == "csv":
            if self.encoding is None or self.delimiter is None:
                raise ValueError("encoding and delimiter are both needed for a CSV file; give them")
            if self.sheet is not None or self.time.kind == "date cell":
                raise ValueError("sheets and date cells belong to XLSX files; this is a CSV file")
        elif self.encoding is not None or self.delimiter is not None:
            raise ValueError("encoding and delimiter belong to CSV files; remove them")
        elif self.last_row_without_line_end != "refuse":
            raise ValueError("last_row_without_line_end belongs to CSV files; remove it")
        if self.thousands_mark == self.decimal_mark:
            raise ValueError("thousands_mark and decimal_mark are the same; correct one of them")
        if self.delimiter == "comma" and self.thousands_mark == "comma":
            raise ValueError("thousands_mark and delimiter are the same; correct one of them")

    def _check_columns(self) -> None:
        """Refuse channels and columns that stand twice."""
        parts = self.parts
        if not self.channels:
            raise ValueError("channels is empty; name at least one")
        if len(parts) > MOST_CHANNELS:
            raise ValueError(f"channels: at most {MOST_CHANNELS} are read; split the export")
        names: set[str] = set()
        taken: set[tuple[str | int, str | None]] = {(column, None) for column in self.time.columns}
        for part in parts:
            if part.channel in names:
                raise ValueError(f"channels names {part.channel} twice; keep one of them")
            names.add(part.channel)
            if {(part.column, part.in_file), (part.column, None)} & taken:
                raise ValueError(f"{part.channel}: column {part.column} is read already; choose")
            taken.add((part.column, part.in_file))
            if part.in_file is not None and self.files != "side by side":
                raise ValueError(f"{part.channel}: in_file is for files side by side; remove it")
        if isinstance(self.ignored, tuple):
            for name in self.ignored:
                if any(name == column for column, _ in taken):
                    raise ValueError(f"ignored names {name}, which is read; keep one of the two")

    def _check_header(self) -> None:
        """Refuse a header that cannot be found, or names where there is none."""
        columns = [*self.time.columns, *(part.column for part in self.parts)]
        if self.header == "none":
            if any(isinstance(column, str) for column in columns):
                raise ValueError("header is none, so every column must be given by its place")
            if self.unit_row:
                raise ValueError("unit_row follows a header; there is none")
            if self.ignored != EVERYTHING_ELSE and self.ignored:
                raise ValueError("ignored: columns without a header have no names; remove them")
        elif self.header == "by names" and not any(isinstance(one, str) for one in columns):
            raise ValueError("header is found by names, but every column is given by its place")

    def _check_files(self) -> None:
        """Refuse what is said of several files where there is one."""
        if self.files != "side by side" and self.join != "equal times":
            raise ValueError("join is for files side by side; remove it")
        if self.sort and self.files != "one after the other":
            raise ValueError("sort is for files one after the other; remove it")
        if self.files != "side by side":
            return
        if self.time.kind == "elapsed" and self.join == "union of times":
            raise ValueError("join: elapsed times of several files have no common start")
        for part in self.parts:
            if isinstance(part.column, int) and part.in_file is None:
                raise ValueError(f"{part.channel}: say in_file, for its column has no name")

    @property
    def parts(self) -> tuple[ChannelPart | VacuumPart, ...]:
        """Every channel that is read, the vacuum last."""
        return self.channels if self.vacuum is None else (*self.channels, self.vacuum)

    @property
    def trace_unit(self) -> Unit:
        """The unit of the temperatures as handed on: as stated where all agree, else degC."""
        units = {part.unit or self.temperature_unit for part in self.channels}
        return units.pop() if len(units) == 1 else "C"


def mapping_from_json(paper: object, *, filename: str) -> LoggerMapping:
    """The mapping from JSON values.

    Raises:
        BadFile: one sentence naming file and field.
    """
    return paper_from(LoggerMapping, paper, filename=filename)


def load_mapping(text: str | bytes, *, filename: str) -> LoggerMapping:
    """The mapping from JSON text.

    Raises:
        BadFile: one sentence naming file and field.
    """
    return load_paper(LoggerMapping, text, filename=filename)


def mapping_to_json(mapping: LoggerMapping) -> dict[str, Any]:
    """The mapping as JSON values, every key present."""
    return mapping.model_dump(mode="json")


def mapping_schema() -> dict[str, Any]:
    """The JSON Schema of a mapping."""
    return LoggerMapping.model_json_schema()
