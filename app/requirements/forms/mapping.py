"""The form for a logger mapping: a field for every key of its paper, and the paper they make."""

import json
import re
from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field

from app.documents.logger.logger_mapping import (
    EVERYTHING_ELSE,
    DateMark,
    DateOrder,
    ElapsedUnit,
    Sense,
    Unit,
    VacuumUnit,
)
from app.errors import Refusal
from app.requirements.forms.papers import WrittenAgain
from app.requirements.forms.paths import FormRows, on_the_form
from app.web.entries import TypedCode
from app.web.forms import FormModel, Typed, TypedFigure, parse
from app.web.rows import Rows, tried

THIS_PAPER = "this mapping"
_PLACE = re.compile(r"#\s*(\d{1,5})", re.ASCII)
_LONG = 200


class MappingForm(WrittenAgain):
    """A mapping without its channels. What belongs to another kind of file or time is left out."""

    code: TypedCode = Field(title="identity")
    revision: str = Field(max_length=20)
    source_document: str = Field(title="source document", max_length=_LONG)
    name: str = Field(max_length=120)
    kind: Literal["csv", "xlsx"] = Field(title="kind of file")
    sheet: str | None = Field(None, max_length=_LONG)
    encoding: Literal["utf-8", "utf-16", "latin-1"] | None = None
    delimiter: Literal["comma", "semicolon", "tab", "pipe"] | None = Field(
        None, title="what stands between columns"
    )
    last_row_without_line_end: Literal["refuse", "take"] = Field(
        "refuse", title="a last row without its line end"
    )
    decimal_mark: Literal["point", "comma"] = "point"
    thousands_mark: Literal["none", "space", "apostrophe", "point", "comma"] = "none"
    header: Literal["by names", "row", "none"] = Field(title="header row")
    header_row: int | None = Field(None, title="number of the header row", ge=1)
    unit_row: str | None = None
    time_column: str = Field(title="column of the time", max_length=_LONG)
    clock_column: str | None = Field(None, title="column of the time of day", max_length=_LONG)
    time_kind: Literal["iso", "pattern", "elapsed", "date cell"] = Field(title="form of the time")
    order: DateOrder | None = Field(None, title="order of the date")
    date_mark: DateMark | Literal["space"] | None = Field(None, title="mark in the date")
    clock: Literal["24 h", "12 h"] = "24 h"
    century: Literal["19", "20", "21"] | None = None
    elapsed_unit: ElapsedUnit | None = Field(None, title="unit of the elapsed time")
    zone: str | None = Field(None, title="zone of its clock", max_length=80)
    repeated_hour: Literal["refuse", "by order"] = Field("refuse", title="the repeated hour")
    temperature_unit: Unit = Field(title="unit of temperature")
    vacuum_channel: str | None = Field(None, title="vacuum channel", max_length=_LONG)
    vacuum_column: str | None = Field(None, title="vacuum column", max_length=_LONG)
    vacuum_unit: VacuumUnit | None = None
    vacuum_sense: Sense | None = Field(None, title="what vacuum is measured against")
    ambient_kpa: TypedFigure | None = Field(None, title="ambient pressure")
    vacuum_in_file: str | None = Field(None, title="file of the vacuum", max_length=_LONG)
    ignored: Literal["everything else", "named"] = Field(title="columns not read")
    ignored_names: str = Field("", title="their names", max_length=20_000)
    missing: str = Field("", title="words for a missing sample", max_length=2000)
    footer: Literal["none", "marker", "rows"] = Field("none", title="after the last reading")
    footer_marker: str | None = Field(None, title="what the first row after begins with")
    footer_rows: int | None = Field(None, title="how many rows follow", ge=1)
    several: Literal["one", "one after the other", "side by side"] = Field(
        "one", title="files of a record"
    )
    join: Literal["equal times", "union of times"] = Field("equal times", title="their times")
    sort: str | None = None
    repeated_rows: Literal["refuse", "drop identical"] = "refuse"


class ChannelRow(FormModel):
    """One temperature channel and the column that feeds it."""

    channel: str = Field(max_length=_LONG)
    column: str = Field(max_length=_LONG)
    unit: Unit | None = None
    in_file: str | None = Field(None, title="file", max_length=_LONG)


CHANNELS = Rows(ChannelRow, "channel", "temperature channels", 8, 8, 200)
"""The rows of a mapping's form; field ``channel_rows`` counts them."""

_ALONE = {
    "encoding and delimiter": "encoding",
    "header": "header_row",
    "time.columns": "time_column",
    "time.zone": "zone",
    "channels": "channel_1",
    "vacuum.column": "vacuum_column",
    "footer": "footer",
    "temperature_unit": "temperature_unit",
    "thousands_mark": "thousands_mark",
    "ignored": "ignored_names",
    "join": "join",
    "sort": "sort",
}
_FIRST_WORD = {
    "zone": "zone",
    "elapsed_unit": "elapsed_unit",
    "date_mark": "date_mark",
    "order": "order",
    "century": "century",
    "columns": "time_column",
    "repeated_hour": "repeated_hour",
    "ambient_kpa": "ambient_kpa",
    "footer": "footer",
}


def mapping_paper(typed: Typed) -> tuple[MappingForm, str]:
    """The form's head, and what was filled in as a MAPPING.json. Empty rows are left out.

    Raises:
        Refusal: with one sentence per field that cannot be read, rows numbered from 1.
    """
    problems: dict[str, str] = {}
    head = tried(lambda: parse(MappingForm, typed), problems)
    channels = CHANNELS.read(typed, CHANNELS.count(typed, "channel"), problems)
    if head is not None:
        problems |= _incomplete(head)
    if problems or head is None:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return head, json.dumps(_paper(head, list(channels.values())))


def told_on_the_form(refusal: Refusal, typed: Typed) -> Refusal:
    """A refusal of the paper, its sentence beside the field of the form where it belongs."""
    numbers = tuple(CHANNELS.read(typed, CHANNELS.count(typed, "channel"), {}))
    fields = {"column": "column", "unit": "unit", "in_file": "in_file"}
    rows = {"channels": FormRows("temperature channels", fields, "channel", numbers)}

    def field_of(path: str) -> str | None:
        if path in _ALONE:
            return _ALONE[path]
        said = refusal.sentence.partition(f"{path}: ")[2]
        return _FIRST_WORD.get(said.partition(" ")[0].rstrip(":"))

    return on_the_form(refusal, THIS_PAPER, rows, field_of)


def column_typed(column: str | int) -> str:
    """A column as the form takes it: its name, or ``#`` and its place."""
    return f"#{column}" if isinstance(column, int) else column


def _incomplete(head: MappingForm) -> dict[str, str]:
    """What a choice asks for and is not given."""
    problems = {}
    if head.header == "row" and head.header_row is None:
        problems["header_row"] = "Which row is the header is missing; give its number."
    if head.footer == "marker" and head.footer_marker is None:
        problems["footer_marker"] = "What the first row after the readings begins with is missing."
    if head.footer == "rows" and head.footer_rows is None:
        problems["footer_rows"] = "How many rows follow the readings is missing."
    of_vacuum = (head.vacuum_channel, head.vacuum_column, head.vacuum_unit, head.vacuum_sense)
    names = ("vacuum_channel", "vacuum_column", "vacuum_unit", "vacuum_sense")
    if any(of_vacuum):
        for name, given in zip(names, of_vacuum, strict=True):
            if given is None:
                title = MappingForm.model_fields[name].title or name.replace("_", " ")
                problems[name] = f"{title.capitalize()} is missing; give it, or empty the others."
    return problems


def _paper(head: MappingForm, channels: list[ChannelRow]) -> dict[str, Any]:
    is_csv = head.kind == "csv"
    return {
        "name": head.name,
        "kind": head.kind,
        "sheet": None if is_csv else head.sheet,
        "encoding": head.encoding if is_csv else None,
        "delimiter": head.delimiter if is_csv else None,
        "decimal_mark": head.decimal_mark,
        "thousands_mark": head.thousands_mark,
        "header": head.header_row if head.header == "row" else head.header,
        "unit_row": bool(head.unit_row),
        "time": _time(head),
        "temperature_unit": head.temperature_unit,
        "channels": [
            {
                "channel": row.channel,
                "column": _column(row.column),
                "unit": row.unit,
                "in_file": row.in_file,
            }
            for row in channels
        ],
        "vacuum": _vacuum(head),
        "ignored": EVERYTHING_ELSE
        if head.ignored == EVERYTHING_ELSE
        else _lines(head.ignored_names),
        "missing": _lines(head.missing),
        "footer": _footer(head),
        "repeated_rows": head.repeated_rows,
        "last_row_without_line_end": head.last_row_without_line_end if is_csv else "refuse",
        "files": head.several,
        "join": head.join if head.several == "side by side" else "equal times",
        "sort": bool(head.sort) and head.several == "one after the other",
    }


def _time(head: MappingForm) -> dict[str, Any]:
    columns = [_column(head.time_column)]
    if head.clock_column is not None:
        columns.append(_column(head.clock_column))
    patterned, elapsed = head.time_kind == "pattern", head.time_kind == "elapsed"
    mark = " " if head.date_mark == "space" else head.date_mark
    return {
        "columns": columns,
        "kind": head.time_kind,
        "order": head.order if patterned else None,
        "date_mark": mark if patterned else None,
        "clock": head.clock if patterned else "24 h",
        "century": head.century if patterned else None,
        "elapsed_unit": head.elapsed_unit if elapsed else None,
        "zone": None if elapsed else head.zone,
        "repeated_hour": "refuse" if elapsed else head.repeated_hour,
    }


def _vacuum(head: MappingForm) -> dict[str, Any] | None:
    if head.vacuum_channel is None or head.vacuum_column is None:
        return None
    absolute = head.vacuum_sense == "absolute"
    ambient = None if head.ambient_kpa is None else str(head.ambient_kpa)
    return {
        "channel": head.vacuum_channel,
        "column": _column(head.vacuum_column),
        "unit": head.vacuum_unit,
        "sense": head.vacuum_sense,
        "ambient_kpa": ambient if absolute else None,
        "in_file": head.vacuum_in_file,
    }


def _footer(head: MappingForm) -> dict[str, Any] | None:
    if head.footer == "none":
        return None
    by_marker = head.footer == "marker"
    return {
        "marker": head.footer_marker if by_marker else None,
        "rows": None if by_marker else head.footer_rows,
    }


def _column(typed: str) -> str | int:
    """A column's name, or its place where ``#`` and a number were typed."""
    place = _PLACE.fullmatch(typed.strip())
    return typed if place is None else int(place[1])


def _lines(typed: str) -> list[str]:
    return [line.strip() for line in typed.splitlines() if line.strip()]


def typed_mapping(code: str, source_document: str, paper: Mapping[str, Any]) -> dict[str, str]:
    """Every field of the form, filled in from a paper; the revision's name is left open."""
    time, vacuum, footer = paper["time"], paper["vacuum"] or {}, paper["footer"] or {}
    header, ignored = paper["header"], paper["ignored"]
    by_row, everything = isinstance(header, int), ignored == EVERYTHING_ELSE
    columns = [column_typed(one) for one in time["columns"]]
    same = ("name", "kind", "sheet", "encoding", "delimiter", "decimal_mark", "thousands_mark")
    more = ("temperature_unit", "repeated_rows", "last_row_without_line_end", "join")
    typed: dict[str, Any] = {name: paper[name] for name in (*same, *more)}
    typed |= {
        "code": code,
        "revision": "",
        "source_document": source_document,
        "several": paper["files"],
        "header": "row" if by_row else header,
        "header_row": header if by_row else None,
        "unit_row": "yes" if paper["unit_row"] else "",
        "time_column": columns[0],
        "clock_column": columns[1] if len(columns) > 1 else None,
        "time_kind": time["kind"],
        "date_mark": "space" if time["date_mark"] == " " else time["date_mark"],
        "vacuum_channel": vacuum.get("channel"),
        "vacuum_column": column_typed(vacuum["column"]) if vacuum else None,
        "vacuum_unit": vacuum.get("unit"),
        "vacuum_sense": vacuum.get("sense"),
        "ambient_kpa": vacuum.get("ambient_kpa"),
        "vacuum_in_file": vacuum.get("in_file"),
        "ignored": EVERYTHING_ELSE if everything else "named",
        "ignored_names": "" if everything else "\n".join(ignored),
        "missing": "\n".join(paper["missing"]),
        "footer": "none" if not footer else "marker" if footer["marker"] else "rows",
        "footer_marker": footer.get("marker"),
        "footer_rows": footer.get("rows"),
        "sort": "yes" if paper["sort"] else "",
        "channel_rows": len(paper["channels"]) + 1,
    }
    for name in ("order", "clock", "century", "elapsed_unit", "zone", "repeated_hour"):
        typed[name] = time[name]
    for number, row in enumerate(paper["channels"], start=1):
        typed[f"channel_{number}"] = row["channel"]
        typed[f"column_{number}"] = column_typed(row["column"])
        typed[f"unit_{number}"] = row["unit"]
        typed[f"in_file_{number}"] = row["in_file"]
    return {name: "" if value is None else str(value) for name, value in typed.items()}
