"""A mapping proposed for files that nobody has described yet, with what is sure of it and what not.

A proposal never reads a record: a person confirms or corrects it, and the mapping decides.
"""

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from app.documents.logger.logger_clock import Cell, Serial
from app.documents.logger.logger_csv import LoggerReading
from app.documents.logger.logger_files import LoggerFile
from app.documents.logger.logger_guess import (
    Head,
    Layout,
    decimal_mark,
    head_of,
    is_reading,
    layout_of,
    refuse_without_readings,
)
from app.documents.logger.logger_guess_time import TimeGuess, time_guess
from app.documents.logger.logger_mapping import LoggerMapping, mapping_from_json
from app.errors import BadFile

ROWS_SHOWN = 12
_FAHRENHEIT = re.compile(r"°F|deg ?F\b|℉|[(\[]F[)\]]|\bfahrenheit\b|^F$", re.IGNORECASE)
_CELSIUS = re.compile(r"°C|deg ?C\b|℃|[(\[]C[)\]]|\bcelsius\b|^C$", re.IGNORECASE)
_VACUUM_NAME = re.compile(r"vac|vakuum|pressure|druck|\bbag\b", re.IGNORECASE)
_VACUUM_UNIT = re.compile(
    r"(?<![A-Za-z])(kPa|mbar|hPa|Pa|inHg|mmHg|Torr|psi)(?![A-Za-z])", re.IGNORECASE
)
_UNITS = {
    unit.lower(): unit for unit in ("kPa", "mbar", "hPa", "Pa", "inHg", "mmHg", "Torr", "psi")
}


_GROUPED = re.compile(r"[+-]?\d{1,3}([ '\u2019\u00a0\u202f.,]\d{3})+([.,]\d*)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Proposal:
    """How files seem to be written, in sentences, and as a mapping's paper to be completed.

    ``paper`` has every key that could be guessed, null where it must be stated; ``mapping`` is the
    same where nothing must be. ``columns``, ``rows`` and ``last_row`` are the first file's, as
    written. ``refusal`` is the sentence where no mapping can read the files, and then the rest is
    empty.
    """

    certain: tuple[str, ...] = ()
    guessed: tuple[str, ...] = ()
    to_state: tuple[str, ...] = ()
    paper: dict[str, Any] = field(default_factory=dict)
    mapping: LoggerMapping | None = None
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    last_row: tuple[str, ...] | None = None
    refusal: str | None = None


@dataclass(slots=True)
class _Said:
    """Sentences, by how sure they are."""

    certain: list[str] = field(default_factory=list)
    guessed: list[str] = field(default_factory=list)
    to_state: list[str] = field(default_factory=list)


def propose(files: Sequence[LoggerFile], *, zone: str | None = None) -> Proposal:
    """What a mapping for these files would state; never raises for what they hold.

    ``zone`` is the shop's, offered as a guess where the files carry none.
    """
    if not files:
        return Proposal(refusal="No file was given; choose the logger's file.")
    try:
        heads = [head_of(file.content, filename=file.name) for file in files]
        layouts = [layout_of(head) for head in heads]
        return _proposal(heads, layouts, zone)
    except BadFile as error:
        return Proposal(refusal=error.sentence)


def first_rows(reading: LoggerReading, *, rows: int = ROWS_SHOWN) -> tuple[tuple[float, ...], ...]:
    """The first rows as read: seconds from the first one, then each channel's reading."""
    columns = [reading.trace.times, *reading.trace.channels.values()]
    return tuple(zip(*(column[:rows].tolist() for column in columns), strict=True))


def _proposal(heads: Sequence[Head], layouts: Sequence[Layout], zone: str | None) -> Proposal:
    head, layout = heads[0], layouts[0]
    said = _Said(list(head.certain), list(head.guessed))
    times = [time_guess(one.names, one.units, one.body, zone=zone) for one in layouts]
    for one, its_layout, its_time in zip(heads, layouts, times, strict=True):
        if its_time is None:
            refuse_without_readings(one, its_layout)
    time = times[0]
    written = tuple(tuple(_shown(cell) for cell in row) for row in layout.body[:ROWS_SHOWN])
    last = tuple(_shown(cell) for cell in head.last[-1]) if head.last else None
    if time is None:
        first = ", ".join(written[0][:4]) if written else ""
        named = f" ({', '.join(layout.names[:12])})" if any(layout.names) else ""
        says = (
            f"{head.filename}: none of its columns{named} looks like the time; the first row "
            f"begins with {first!r}. Export the times as well."
        )
        return Proposal(columns=layout.names, rows=written, last_row=last, refusal=says)
    said.certain += time.certain
    said.guessed += time.guessed
    said.to_state += time.to_state
    paper = _paper(head, layout, time, said)
    _several(paper, heads, layouts, said)
    mapping = None
    if not said.to_state:
        try:
            mapping = mapping_from_json(paper, filename=head.filename)
        except BadFile as error:
            said.to_state.append(error.sentence)
    return Proposal(
        tuple(said.certain),
        tuple(said.guessed),
        tuple(said.to_state),
        paper,
        mapping,
        layout.names,
        written,
        last,
    )


def _paper(head: Head, layout: Layout, time: TimeGuess, said: _Said) -> dict[str, Any]:
    """The paper of the first file's mapping."""
    mark, why = decimal_mark([_without(row, time.places) for row in layout.body])
    (said.guessed if mark else said.to_state).append(why)
    if head.kind == "csv" and not head.ends_with_line_end:
        said.guessed.append("The last row has no line end; make sure that the file is whole.")
    if layout.foot is not None:
        said.guessed.append(f"The row that begins with {layout.foot!r} ends the table.")
    paper: dict[str, Any] = {
        "name": head.filename.rsplit(".", 1)[0][:80] or "export",
        "kind": head.kind,
        "sheet": head.sheet,
        "encoding": head.encoding,
        "delimiter": head.delimiter,
        "decimal_mark": mark,
        "header": _header(layout, said),
        "unit_row": layout.units is not None,
        "time": {**time.paper, "columns": [_column(layout, at) for at in time.places]},
        "footer": None if layout.foot is None else {"marker": layout.foot.strip()},
    }
    if head.kind == "csv" and not head.ends_with_line_end:
        paper["last_row_without_line_end"] = "take"
    if any(one == other for one, other in itertools.pairwise(layout.body)):
        said.guessed.append("Some rows stand twice; where time and readings agree, one is read.")
        paper["repeated_rows"] = "drop identical"
    _channels(paper, layout, time, said)
    return paper


def _header(layout: Layout, said: _Said) -> str | int:
    """Where the header is."""
    if layout.header_row is None:
        said.guessed.append("It has no header; columns are taken by their place.")
        return "none"
    if len(set(layout.names)) < len(layout.names) or "" in layout.names:
        said.guessed.append(f"Row {layout.header_row} is the header, with names that repeat.")
        return layout.header_row
    listed = ", ".join(layout.names[:8])
    said.certain.append(f"Row {layout.header_row} is the header: {listed}.")
    return "by names"


def _column(layout: Layout, at: int) -> str | int:
    """A column by its name where that stands once, else by its place."""
    name = layout.names[at]
    return name if name and layout.names.count(name) == 1 else at + 1


def _without(row: Sequence[Cell], places: Sequence[int]) -> list[Cell]:
    return [cell for at, cell in enumerate(row) if at not in places]


def _channels(paper: dict[str, Any], layout: Layout, time: TimeGuess, said: _Said) -> None:
    """Which columns are channels, their units, and which are left alone."""
    channels: list[dict[str, Any]] = []
    ignored = []
    units: list[str] = []
    words: list[str] = []
    for at, name in enumerate(layout.names):
        if at in time.places:
            continue
        unit = layout.units[at] if layout.units is not None and at < len(layout.units) else ""
        cells = [row[at] for row in layout.body if at < len(row)]
        odd = _odd_words(cells)
        if not cells or 2 * sum(not _GROUPED.fullmatch(word) for word in odd) > len(cells):
            ignored.append(name)
            continue
        words += [word for word in odd if word not in words]
        if _is_vacuum(name, unit) and "vacuum" not in paper:
            paper["vacuum"] = _vacuum(layout, at, f"{name} {unit}", said)
        else:
            channels.append({"channel": name or f"column {at + 1}", "column": _column(layout, at)})
            units.append(_unit(name, unit))
    _state_units(paper, channels, units, said)
    _state_words(paper, words, said)
    paper["channels"] = channels
    named = [name for name in ignored if name]
    paper["ignored"] = "everything else" if paper["header"] == "none" else named
    if named:
        said.guessed.append(f"No figures are in {', '.join(named[:8])}; they are not read.")
    if not channels:
        said.to_state.append("The channels: no column holds figures only.")


def _odd_words(cells: Sequence[Cell]) -> list[str]:
    """The cells of a column that are no readings, as texts."""
    return [_shown(cell).strip() for cell in cells if not is_reading(cell)]


def _state_words(paper: dict[str, Any], words: list[str], said: _Said) -> None:
    """What seems to stand for a missing reading; a figure among it has a mark of its own."""
    figures = [word for word in words if _GROUPED.fullmatch(word)]
    if figures:
        said.to_state.append(f"What the marks in {figures[0]} are: decimals or thousands.")
    paper["missing"] = [word for word in words if word not in figures]
    if paper["missing"]:
        listed = ", ".join(paper["missing"][:4])
        said.guessed.append(f"Where a reading is missing, {listed} is written.")


def _state_units(
    paper: dict[str, Any], channels: list[dict[str, Any]], units: list[str], said: _Said
) -> None:
    """The temperatures' units, by column where they differ."""
    known = set(units) - {""}
    if not known:
        said.guessed.append("Temperatures are in degC: nothing in the file says so.")
    elif len(known) == 1:
        said.certain.append(f"The file says that temperatures are in deg{next(iter(known))}.")
    else:
        said.certain.append("The file says that some channels are in degC and some in degF.")
        for channel, unit in zip(channels, units, strict=True):
            channel["unit"] = unit or "C"
    paper["temperature_unit"] = "F" if known == {"F"} else "C"


def _is_vacuum(name: str, unit: str) -> bool:
    return bool(_VACUUM_NAME.search(name) or _VACUUM_UNIT.search(f"{name} {unit}"))


def _unit(name: str, unit: str) -> str:
    """The temperature unit that a column's name or unit cell says, or nothing."""
    for text in (unit, name):
        if _FAHRENHEIT.search(text):
            return "F"
        if _CELSIUS.search(text):
            return "C"
    return ""


def _vacuum(layout: Layout, at: int, text: str, said: _Said) -> dict[str, Any]:
    """The vacuum's part: its unit where it is written; what it is measured against never is."""
    matched = _VACUUM_UNIT.search(text)
    unit = _UNITS[matched[1].lower()] if matched else None
    name = layout.names[at]
    if unit is None:
        said.to_state.append(f"The unit of the vacuum in {name}.")
    said.to_state.append(
        f"Whether the vacuum in {name} is positive below ambient, a gauge's negative reading, or "
        f"absolute."
    )
    return {
        "channel": name or f"column {at + 1}",
        "column": _column(layout, at),
        "unit": unit,
        "sense": None,
    }


def _several(
    paper: dict[str, Any], heads: Sequence[Head], layouts: Sequence[Layout], said: _Said
) -> None:
    """How several files seem to belong together."""
    if len(heads) < 2:  # noqa: PLR2004 - one file
        return
    first = layouts[0]
    if all(layout.names == first.names for layout in layouts):
        paper["files"], paper["sort"] = "one after the other", True
        said.guessed.append("The files have the same columns and are put one after the other.")
        return
    paper["files"] = "side by side"
    said.guessed.append("The files have different columns and are put side by side by their times.")
    taken = {part["column"] for part in paper["channels"]}
    times = set(paper["time"]["columns"])
    for head, layout in zip(heads[1:], layouts[1:], strict=True):
        for at, name in enumerate(layout.names):
            cells = [row[at] for row in layout.body if at < len(row)]
            if not name or name in times or not all(is_reading(cell) for cell in cells):
                continue
            if name in taken:
                said.to_state.append(f"Which file's {name} is meant: {head.filename} has it, too.")
                continue
            taken.add(name)
            paper["channels"].append({"channel": name, "column": name})


def _shown(cell: Cell) -> str:
    if isinstance(cell, Serial):
        return f"date {cell.days!r}"
    return cell if isinstance(cell, str) else f"{cell!r}"
