"""Logger files cell by cell: what counts as missing, as a number and as a time, and what is wrong.

This pass is slow and exact. It runs only where the fast reader has met something it cannot take,
and finds the row and column for the one sentence a person needs; where nothing is wrong after all
(spaces around a word, say) it gives the figures itself.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Literal

import numpy as np

from app.errors import BadFile
from app.judging.record.spans import Floats

TimeKind = Literal["iso", "elapsed_s"]

MISSING_WORDS = frozenset(
    {"OPEN", "OPN", "BURNOUT", "ERR", "ERROR", "N/A", "#N/A", "NA", "NULL", "NAN"}
)
"""What loggers write for a sample they do not have, in any case; also blanks and runs of ``-``."""

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_EITHER_WAY = re.compile(r"\d{1,2}[/.\-]\d{1,2}[/.\-]\d{2,4}\b", re.ASCII)
_ISO = re.compile(
    r"(\d{4}-\d\d-\d\d)"
    r"(?:[T ](\d\d)(?::?(\d\d)(?::?(\d\d)(?:[.,](\d{1,9}))?)?)?)?"
    r" ?(Z|[+-]\d\d(?::?\d\d)?)?",
    re.ASCII,
)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NANOSECONDS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which columns of a header to read: the time's place and kind, the channels' places.

    ``header_row`` is the header's row number, counted from 1 as a text editor does.
    """

    header: tuple[str, ...]
    header_row: int
    time_at: int
    time_kind: TimeKind
    channels_at: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class IsoTime:
    """An instant in nanoseconds since 1970 (UTC, or local where no zone is given), and its zone."""

    nanoseconds: int
    zone: str


def is_missing(cell: str) -> bool:
    """Whether a cell says that there is no sample."""
    word = cell.strip()
    return not word.strip("-") or word.upper() in MISSING_WORDS


def number(cell: str) -> float | None:
    """The cell as a number, exactly ``float(text)``; None where it is none. Never an infinity."""
    text = cell.strip()
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if abs(value) != float("inf") else None


def iso_time(cell: str) -> IsoTime | None:
    """The cell as an ISO 8601 instant (extended form, T or a space), or None.

    Source: ISO 8601-1, 5.4, combined date and time of day; leap seconds are not taken.
    """
    matched = _ISO.fullmatch(cell.strip())
    if matched is None:
        return None
    day, hours, minutes, seconds, fraction, zone = matched.groups()
    try:
        instant = datetime.fromisoformat(day).replace(
            hour=int(hours or 0),
            minute=int(minutes or 0),
            second=int(seconds or 0),
            tzinfo=zone_named(zone),
        )
    except ValueError:
        return None
    since = instant - EPOCH
    whole = since.days * 86_400 + since.seconds
    return IsoTime(whole * NANOSECONDS + int((fraction or "0").ljust(9, "0")), zone or "")


def zone_named(written: str | None) -> timezone:
    """The zone as written; without one the time is taken as it stands."""
    if not written or written == "Z":
        return UTC
    digits = written[1:].replace(":", "")
    offset = timedelta(hours=int(digits[:2]), minutes=int(digits[2:] or 0))
    return timezone(-offset if written[0] == "-" else offset)


def zone_of(cell: str) -> str:
    """The zone written at the end of an ISO time, or nothing."""
    found = iso_time(cell)
    return "" if found is None else found.zone


def read_rows(content: bytes, chosen: Chosen, filename: str) -> tuple[Sequence[float], Floats, str]:
    """Times since the first row (nanoseconds, or seconds), channels of shape (channels, rows).

    The third is the first row's time as written.

    Raises:
        BadFile: the first thing wrong, by row and column.
    """
    times: list[float] = []
    cells: list[list[float]] = []
    first: tuple[str, str] | None = None
    before = ("", 0)
    for row, line in _lines(content, chosen, filename):
        written = line[chosen.time_at].strip()
        time, zone = _time(written, chosen, filename, row)
        if first is None:
            first = (written, zone)
        elif zone != first[1] or not time > times[-1]:
            same_zone = zone == first[1]
            raise _fault(
                filename, row, chosen.header[chosen.time_at], _order(written, before, same_zone)
            )
        before = (written, row)
        times.append(time)
        cells.append([_reading(line[at], chosen, at, filename, row) for at in chosen.channels_at])
    if first is None:
        raise no_readings(filename, chosen.header_row)
    channels = np.array(cells, dtype=np.float64).reshape(len(times), -1).T
    return [time - times[0] for time in times], np.ascontiguousarray(channels), first[0]


def no_readings(filename: str, row: int, names: Sequence[str] = ()) -> BadFile:
    """The refusal of a file without a row of readings; ``row`` is its header, or 0 without one."""
    says = f"{filename}: there is no row of readings"
    if row:
        named = f" ({', '.join(names)})" if names else ""
        says = f"{filename}, row {row}: no row of readings follows it{named}"
    return BadFile(f"{says}; export the run again with its readings.")


def _order(written: str, before: tuple[str, int], same_zone: bool) -> str:  # noqa: FBT001 - private
    """What is wrong between a row's time and the row before it."""
    earlier = f"{before[0]!r} in row {before[1]}"
    if not same_zone:
        return (
            f"{written!r} is in another zone than {earlier}; export all times in one zone, best in "
            f"UTC."
        )
    return (
        f"{written!r} is not later than {earlier}; times must increase from row to row, so export "
        f"the run again in order of time and without repeated rows."
    )


def _lines(content: bytes, chosen: Chosen, filename: str) -> Iterator[tuple[int, list[str]]]:
    """Every row after the header with its number, blank lines left out."""
    text = decoded(content, filename)
    reader = csv.reader(io.StringIO(text, newline=""))
    wanted = len(chosen.header)
    try:
        for line in reader:
            row = reader.line_num
            if row <= chosen.header_row or not line:
                continue
            if len(line) != wanted:
                hint = (
                    " If numbers are written with decimal commas, export them with points."
                    if len(line) > wanted
                    else ""
                )
                raise BadFile(
                    f"{filename}, row {row}: {len(line)} cells where the header has {wanted}; "
                    f"export the file again so that every row is whole.{hint}"
                )
            yield row, line
    except csv.Error as error:
        raise BadFile(
            f"{filename}, row {reader.line_num}: it cannot be read as comma-separated cells "
            f"({error}); export the file again as plain CSV."
        ) from error


def decoded(content: bytes, filename: str) -> str:
    """The file as text.

    Raises:
        BadFile: it is not UTF-8; names the row.
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise BadFile(
            f"{filename}, row {row}: it is not UTF-8 text; export the file as CSV in UTF-8."
        ) from error


def _time(written: str, chosen: Chosen, filename: str, row: int) -> tuple[float, str]:
    """The row's time (whole nanoseconds, or seconds) and its zone."""
    column = chosen.header[chosen.time_at]
    if chosen.time_kind == "elapsed_s":
        seconds = number(written)
        if seconds is None:
            found = f"{_short(written)} is no number of seconds" if written else "there is no time"
            raise _fault(
                filename, row, column, f"{found}; give elapsed seconds such as 600 or 0.5."
            )
        return seconds, ""
    found_time = iso_time(written)
    if found_time is None:
        if _EITHER_WAY.match(written):
            raise _fault(
                filename,
                row,
                column,
                f"{_short(written)} could be two days, for it does not say which figure is the "
                f"month; export times as ISO 8601, such as 2031-04-03T08:00:00.",
            )
        found = f"{_short(written)} is no ISO 8601 time" if written else "there is no time"
        raise _fault(filename, row, column, f"{found}; export times such as 2031-04-03T08:00:00.")
    return found_time.nanoseconds, found_time.zone


def _reading(cell: str, chosen: Chosen, at: int, filename: str, row: int) -> float:
    """A reading, NaN where it is missing."""
    value = number(cell)
    if value is not None:
        return value
    if is_missing(cell):
        return float("nan")
    text = cell.strip()
    if _DECIMAL_COMMA.fullmatch(text):
        says = "has a decimal comma; export numbers with points, such as 150.2."
    elif text.lstrip("+-").lower() in {"inf", "infinity"} or _NUMBER.fullmatch(text):
        says = "is no finite number; leave the cell blank where the reading is missing."
    else:
        says = (
            "is no number; expected one such as 150.2, or a blank, OPEN or ---- where the reading "
            "is missing."
        )
    raise _fault(filename, row, chosen.header[at], f"{_short(text)} {says}")


def _short(text: str) -> str:
    """What was found, short enough for a sentence."""
    most = 40
    return repr(text if len(text) <= most else f"{text[:most]}...")


def _fault(filename: str, row: int, column: str, says: str) -> BadFile:
    """The refusal of one cell."""
    return BadFile(f"{filename}, row {row}, column {column}: {says}")
