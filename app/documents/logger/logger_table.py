"""Where the columns of an export stand: its header, its unit row, and which column feeds what."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from app.documents.logger.logger_clock import short
from app.documents.logger.logger_mapping import (
    EVERYTHING_ELSE,
    MOST_HEADER_ROWS,
    ChannelPart,
    LoggerMapping,
    VacuumPart,
)
from app.errors import BadFile

Part: TypeAlias = ChannelPart | VacuumPart

_NAMED = 12
_UNIT_IN_NAME = re.compile(r"(°|deg ?)([CF])\b|[(\[]([CF])[)\]]|([℃℉])")
_TEMPERATURES = {
    "C": {"°c", "c", "degc", "deg c", "deg. c", "℃", "celsius", "°celsius", "grad c"},
    "F": {"°f", "f", "degf", "deg f", "deg. f", "℉", "fahrenheit", "°fahrenheit"},
}
_PRESSURES = {
    "kPa": {"kpa"},
    "mbar": {"mbar"},
    "hPa": {"hpa"},
    "Pa": {"pa"},
    "inHg": {"inhg", "in hg", "in. hg", "in.hg", '"hg'},
    "mmHg": {"mmhg", "mm hg"},
    "Torr": {"torr"},
    "psi": {"psi", "psia", "psig"},
}
_ELAPSED = {
    "seconds": {"s", "sec", "seconds"},
    "minutes": {"min", "minutes"},
    "hours": {"h", "hr", "hours"},
    "h:mm:ss": {"h:mm:ss", "hh:mm:ss"},
}


@dataclass(frozen=True, slots=True)
class Table:
    """The columns of one file.

    ``names`` is the header (blank names where there is none) and ``header_row`` its number, 0 where
    there is none. ``times_at`` and ``parts_at`` are places counted from 0, the second one for each
    of ``parts``.
    """

    names: tuple[str, ...]
    header_row: int
    times_at: tuple[int, ...]
    parts: tuple[Part, ...]
    parts_at: tuple[int, ...]

    def column(self, at: int) -> str:
        """A column as a sentence names it: by name, else by place."""
        return self.names[at] or str(at + 1)


def parts_in(mapping: LoggerMapping, filename: str) -> tuple[Part, ...]:
    """The channels that may stand in a file of that name."""
    return tuple(part for part in mapping.parts if part.in_file is None or part.in_file in filename)


def find_header(
    rows: Iterable[tuple[int, Sequence[str]]], mapping: LoggerMapping, *, filename: str
) -> tuple[int, tuple[str, ...]]:
    """The header's row number and its names, spaces around them taken off.

    Raises:
        BadFile: there is no such row.
    """
    wanted = _names_wanted(mapping, filename)
    nearest: tuple[int, list[str]] = (0, wanted)
    last = 0
    for number, cells in rows:
        names = tuple(cell.strip() for cell in cells)
        last = number
        if mapping.header == "by names":
            missing = [name for name in wanted if name not in names]
            if _is_header(missing, names, mapping, filename):
                return number, names
            if len(missing) < len(nearest[1]):
                nearest = number, missing
            if number > MOST_HEADER_ROWS:
                break
        elif number == mapping.header:
            return number, names
        elif number > int(mapping.header):
            break
    if mapping.header != "by names":
        raise BadFile(
            f"{filename}: it has no header in row {mapping.header}, for that row is blank or comes "
            f"after its {last} rows; correct the header's row in the mapping."
        )
    row, missing = nearest
    where = f"; row {row} comes nearest, without {_said(missing)}" if row else ""
    raise BadFile(
        f"{filename}: no row holds all columns that the mapping names ({_said(wanted)}){where}; "
        f"choose the mapping for this export, or check encoding and delimiter."
    )


def _names_wanted(mapping: LoggerMapping, filename: str) -> list[str]:
    """Every column that is given by name, the times' first."""
    columns = [*mapping.time.columns, *(part.column for part in parts_in(mapping, filename))]
    return list(dict.fromkeys(column for column in columns if isinstance(column, str)))


def _is_header(
    missing: list[str], names: tuple[str, ...], mapping: LoggerMapping, filename: str
) -> bool:
    """Whether a row is the header: it has every name, or for files side by side its share."""
    if mapping.files != "side by side":
        return not missing
    times = [column for column in mapping.time.columns if isinstance(column, str)]
    own = [part.column for part in parts_in(mapping, filename) if isinstance(part.column, str)]
    return not set(times) & set(missing) and (not own or any(name in names for name in own))


def table_of(
    names: tuple[str, ...], header_row: int, mapping: LoggerMapping, *, filename: str
) -> Table:
    """Which column feeds what.

    Raises:
        BadFile: a column is missing, stands twice, says another unit, or is neither read nor
            ignored.
    """
    where = f"{filename}, row {header_row}" if header_row else filename
    times_at = tuple(_place(column, names, where) for column in mapping.time.columns)
    parts = parts_in(mapping, filename)
    if mapping.files == "side by side":
        parts = tuple(
            part for part in parts if isinstance(part.column, int) or part.column in names
        )
        if not parts:
            raise BadFile(
                f"{where}: none of the mapping's channels is in this file; choose its files again."
            )
    parts_at = tuple(_place(part.column, names, where) for part in parts)
    read = [*times_at, *parts_at]
    for at in read:
        if read.count(at) > 1:
            raise BadFile(
                f"{where}: the column {names[at] or at + 1} would be read twice; correct the "
                f"mapping."
            )
    for part, at in zip(parts, parts_at, strict=True):
        _check_unit_in_name(part, names[at], mapping, where)
    if mapping.ignored != EVERYTHING_ELSE:
        _check_ignored(names, read, mapping, where)
    return Table(names, header_row, times_at, parts, parts_at)


def _place(column: str | int, names: tuple[str, ...], where: str) -> int:
    """The place of a column, from 0."""
    if isinstance(column, int):
        if column > len(names):
            raise BadFile(
                f"{where}: there is no column {column}, for the row has {len(names)}; check the "
                f"mapping's delimiter and places."
            )
        return column - 1
    if column not in names:
        raise BadFile(
            f"{where}: there is no column {column}; its columns are {_said(names)}. Choose the "
            f"mapping for this export."
        )
    if names.count(column) > 1:
        raise BadFile(
            f"{where}: the column {column} stands twice; give it by its place in the mapping."
        )
    return names.index(column)


def _check_unit_in_name(part: Part, name: str, mapping: LoggerMapping, where: str) -> None:
    """Refuse a name that says another temperature unit than the mapping."""
    matched = _UNIT_IN_NAME.search(name)
    if matched is None or isinstance(part, VacuumPart):
        return
    sign = matched[2] or matched[3] or {"℃": "C", "℉": "F"}[matched[4]]
    stated = part.unit or mapping.temperature_unit
    if sign != stated:
        raise BadFile(
            f"{where}: the column {name} says deg{sign}, but the mapping states deg{stated}; "
            f"correct the mapping."
        )


def _check_ignored(
    names: tuple[str, ...], read: Sequence[int], mapping: LoggerMapping, where: str
) -> None:
    """Refuse a column that the mapping says nothing of."""
    for at, name in enumerate(names):
        if at not in read and name and name not in mapping.ignored:
            raise BadFile(
                f"{where}: the column {name} is neither read nor ignored; name it in the mapping."
            )
    if mapping.header == "none" and len(names) > len(read):
        raise BadFile(
            f"{where}: {len(names) - len(read)} columns are neither read nor ignored; state "
            f'ignored as "{EVERYTHING_ELSE}".'
        )


def check_units(
    cells: Sequence[str], row: int, table: Table, mapping: LoggerMapping, *, filename: str
) -> None:
    """Compare the unit row with what the mapping states; a blank cell claims nothing.

    Raises:
        BadFile: names the column whose unit is another one.
    """
    for part, at in zip(table.parts, table.parts_at, strict=True):
        written = cells[at].strip() if at < len(cells) else ""
        if isinstance(part, VacuumPart):
            stated, known = str(part.unit), _PRESSURES[part.unit]
        else:
            unit = part.unit or mapping.temperature_unit
            stated, known = f"deg{unit}", _TEMPERATURES[unit]
        _check_unit(written, stated, known, f"{filename}, row {row}, column {table.column(at)}")
    elapsed = mapping.time.elapsed_unit
    if elapsed is not None:
        at = table.times_at[0]
        written = cells[at].strip() if at < len(cells) else ""
        where = f"{filename}, row {row}, column {table.column(at)}"
        _check_unit(written, elapsed, _ELAPSED[elapsed], where)


def _check_unit(written: str, stated: str, known: set[str], where: str) -> None:
    plain = written.strip("()[] ").lower().replace("º", "°")
    if plain and plain not in known:
        raise BadFile(
            f"{where}: the unit is {short(written)}, but the mapping states {stated}; correct the "
            f"mapping, or choose the one for this export."
        )


def _said(names: Sequence[str]) -> str:
    """Names for a sentence."""
    listed = [name for name in names if name]
    more = f" and {len(listed) - _NAMED} more" if len(listed) > _NAMED else ""
    return f"{', '.join(listed[:_NAMED])}{more}" if listed else "blank"
