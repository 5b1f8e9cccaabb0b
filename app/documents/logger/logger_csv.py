"""A furnace logger's CSV file, read exactly and fast, or refused in one sentence.

Every figure is bit for bit ``float`` of its text. The fast reader takes whole columns; whatever it
cannot take goes to ``logger_rows``, which finds the row and column.
"""

import csv
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv
from numpy.typing import NDArray

from app.documents.logger.logger_rows import (
    EPOCH,
    MISSING_WORDS,
    NANOSECONDS,
    Chosen,
    TimeKind,
    iso_time,
    read_rows,
    zone_named,
    zone_of,
)
from app.errors import BadFile
from app.judging.record.spans import Floats
from app.judging.record.trace import Trace

Nanoseconds: TypeAlias = NDArray[np.int64]

LONGEST_RUN_OF_DASHES = 12
_HEAD = 65_536
_NULLS = [
    "",
    *("-" * length for length in range(1, LONGEST_RUN_OF_DASHES + 1)),
    *(form for word in sorted(MISSING_WORDS) for form in (word, word.lower(), word.capitalize())),
    "NaN",
]


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a logger's file.

    Without ``time_column`` it is ``time`` (ISO 8601) or ``time_s`` (elapsed seconds); with one,
    ``time_kind`` says which it is. ``channels`` are the columns to read, all others are ignored;
    None reads every column. The unit is the temperatures'; it converts nothing here.
    """

    time_column: str | None = None
    time_kind: TimeKind = "iso"
    temperature_unit: Literal["C", "F"] = "C"
    channels: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LoggerReading:
    """What a logger's file holds.

    The trace's times are seconds from the first row. ``columns`` is the whole header. For ISO times
    ``started_at`` is the first row's time, with a zone where the file gives one; None for elapsed
    seconds. ``notes`` are sentences on what a person should see: rows left out, gaps between files.
    """

    trace: Trace
    columns: tuple[str, ...]
    time_column: str
    time_kind: TimeKind
    started_at: datetime | None
    notes: tuple[str, ...] = ()


def read_logger_csv(
    source: Path | bytes,
    *,
    filename: str,
    layout: Layout | None = None,
    max_bytes: int | None = None,
) -> LoggerReading:
    """The file's trace; ``filename`` is how sentences name it.

    Raises:
        BadFile: one sentence with row and column, what was found, and what to do.
    """
    layout = layout or Layout()
    content = file_content(source, filename, max_bytes)
    header, header_row, rest = header_of(content, filename)
    chosen = choose_columns(header, header_row, layout, filename)
    read = _fast(content, rest, chosen)
    if read is None:
        slow_times, slow_channels, first_time = read_rows(content, chosen, filename)
        read = _from_first(np.array(slow_times), chosen), list(slow_channels), first_time
    times, channels, first_time = read
    named = {header[at]: channel for at, channel in zip(chosen.channels_at, channels, strict=True)}
    return LoggerReading(
        Trace(times, named, layout.temperature_unit),
        tuple(header),
        header[chosen.time_at],
        chosen.time_kind,
        _started_at(first_time) if chosen.time_kind == "iso" else None,
    )


def file_content(source: Path | bytes, filename: str, max_bytes: int | None) -> bytes:
    """The file's bytes.

    Raises:
        BadFile: it cannot be opened, is larger than allowed, empty, or no text.
    """
    if isinstance(source, Path):
        try:
            _check_size(source.stat().st_size, filename, max_bytes)
            content = source.read_bytes()
        except FileNotFoundError as error:
            raise BadFile(f"{filename}: no such file; check its name and folder.") from error
        except OSError as error:
            reason = error.strerror or "unreadable"
            raise BadFile(f"{filename}: it cannot be read ({reason}); check the file.") from error
    else:
        content = source
        _check_size(len(content), filename, max_bytes)
    check_text(content, filename)
    return content


def _check_size(size: int, filename: str, max_bytes: int | None) -> None:
    if max_bytes is not None and size > max_bytes:
        raise BadFile(
            f"{filename}: it is {size / 1e6:.1f} MB and at most {max_bytes / 1e6:g} MB are taken; "
            f"export one run only, or fewer columns."
        )


def check_text(content: bytes, filename: str) -> None:
    """Pass text on.

    Raises:
        BadFile: the file is empty or holds bytes that no UTF-8 CSV holds.
    """
    # The head first: strip() copies the whole file.
    if not content[:_HEAD].strip() and not content.strip():
        raise BadFile(f"{filename}: the file is empty; export the run again.")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadFile(f"{filename}: it is UTF-16 text; export the file as CSV in UTF-8.")
    if b"\0" in content:
        raise BadFile(f"{filename}: it is a binary file, not text; export the run as CSV.")


def header_of(content: bytes, filename: str) -> tuple[list[str], int, int]:
    """Column names, the header's row number, and where the bytes after it begin.

    Raises:
        BadFile: not UTF-8, cells not parted by commas, or a name that is missing or stands twice.
    """
    begin, row = (3, 1) if content.startswith(b"\xef\xbb\xbf") else (0, 1)
    while True:
        feed = content.find(b"\n", begin)
        end = feed if feed >= 0 else len(content)
        back = content.find(b"\r", begin, end)
        end = back if back >= 0 else end
        rest = end + (2 if content[end : end + 2] == b"\r\n" else 1)
        if content[begin:end].strip() or rest >= len(content):
            break
        begin, row = rest, row + 1
    try:
        line = content[begin:end].decode("utf-8")
        names = [name.strip() for name in next(csv.reader([line]), [])]
    except (UnicodeDecodeError, csv.Error) as error:
        raise BadFile(
            f"{filename}, row {row}: it is not UTF-8 text; export the file as CSV in UTF-8."
        ) from error
    _check_names(names, filename, row)
    return names, row, min(rest, len(content))


def _check_names(names: list[str], filename: str, row: int) -> None:
    """Refuse a header that does not name every column once."""
    if len(names) == 1:
        for mark, word in ((";", "semicolons"), ("\t", "tabs")):
            if mark in names[0]:
                raise BadFile(
                    f"{filename}, row {row}: columns are parted by {word}; export the file with "
                    f"commas between columns and points in numbers."
                )
    for at, name in enumerate(names):
        if not name:
            raise BadFile(
                f"{filename}, row {row}: column {at + 1} has no name; give every column one."
            )
        if name in names[:at]:
            raise BadFile(
                f"{filename}, row {row}: the column {name} stands twice; rename one of them."
            )


def choose_columns(header: list[str], header_row: int, layout: Layout, filename: str) -> Chosen:
    """The columns a layout asks for.

    Raises:
        BadFile: one of them is not in the header, or the time column is not clear.
    """
    time_column, kind = layout.time_column, layout.time_kind
    if time_column is None:
        if {"time", "time_s"} <= set(header):
            raise BadFile(
                f"{filename}, row {header_row}: there are both time and time_s; keep the one that "
                f"counts."
            )
        time_column, kind = ("time_s", "elapsed_s") if "time_s" in header else ("time", "iso")
        if time_column not in header:
            raise BadFile(
                f"{filename}, row {header_row}: there is no column time (ISO 8601) or time_s "
                f"(seconds); its columns are {_said(header)}."
            )
    wanted = layout.channels
    if wanted is None:
        wanted = tuple(name for name in header if name != time_column)
    for name in (time_column, *wanted):
        if name not in header:
            raise BadFile(
                f"{filename}, row {header_row}: there is no column {name}; its columns are "
                f"{_said(header)}."
            )
    if time_column in wanted:
        raise BadFile(
            f"{filename}, row {header_row}: the column {time_column} holds the times and cannot be "
            f"a channel as well; choose another."
        )
    channels_at = tuple(header.index(name) for name in wanted)
    return Chosen(tuple(header), header_row, header.index(time_column), kind, channels_at)


def _said(header: list[str]) -> str:
    """The header's names, at most a sentence's worth."""
    most = 12
    more = f" and {len(header) - most} more" if len(header) > most else ""
    return f"{', '.join(header[:most])}{more}"


def _fast(content: bytes, rest: int, chosen: Chosen) -> tuple[Floats, list[Floats], str] | None:
    """Times from the first row, channels and first time; None where anything is out of order."""
    names = [str(at) for at in range(len(chosen.header))]
    iso = chosen.time_kind == "iso"
    time_name = names[chosen.time_at]
    types = {names[at]: pa.float64() for at in chosen.channels_at}
    types[time_name] = pa.string() if iso else pa.float64()
    try:
        table = pa_csv.read_csv(
            pa.py_buffer(memoryview(content)[rest:]),
            read_options=pa_csv.ReadOptions(column_names=names),
            convert_options=pa_csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=_NULLS,
                strings_can_be_null=False,
            ),
        )
        written = table.column(time_name)
        if not len(written) or written.null_count:
            return None
        first_time = str(written[0].as_py())
        stamps = _nanoseconds(written, first_time) if iso else written.to_numpy()
    except pa.ArrowInvalid:
        return None
    channels = [table.column(names[at]).to_numpy() for at in chosen.channels_at]
    if stamps is None or not np.isfinite(stamps).all() or not (np.diff(stamps) > 0).all():
        return None
    if any(np.isinf(channel).any() for channel in channels):
        return None
    return _from_first(stamps, chosen), channels, first_time


def _nanoseconds(written: pa.ChunkedArray, first_time: str) -> Nanoseconds | None:
    """ISO times in nanoseconds; None where they are not all in the first one's zone."""
    zone = zone_of(first_time)
    if zone and not pc.all(pc.ends_with(written, zone)).as_py():
        return None
    stamps = written.cast(pa.timestamp("ns", tz="UTC" if zone else None))
    nanoseconds: Nanoseconds = stamps.cast(pa.int64()).to_numpy()
    return nanoseconds


def _from_first(stamps: Floats | Nanoseconds, chosen: Chosen) -> Floats:
    """Seconds from the first row. Nanoseconds are subtracted as whole numbers, then divided."""
    since = stamps - stamps[0]
    if chosen.time_kind == "iso":
        return np.asarray(since / NANOSECONDS, dtype=np.float64)
    return np.asarray(since, dtype=np.float64)


def _started_at(first_time: str) -> datetime | None:
    """The first row's time, to the microsecond; with a zone where it was written with one."""
    found = iso_time(first_time)
    if found is None:
        return None
    moment = EPOCH + timedelta(microseconds=found.nanoseconds // 1000)
    return moment.astimezone(zone_named(found.zone)) if found.zone else moment.replace(tzinfo=None)
