"""An export that a mapping is tried on: its first rows as written, beside what is read."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import islice
from math import isnan

from app.documents.logger.logger_clock import Cell, Serial
from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_package import open_package
from app.documents.logger.logger_sheet import SheetWalk
from app.documents.logger.logger_xlsx import sheet_rows
from app.errors import BadFile, Refusal
from app.judging.record.trace import Trace
from app.web.forms import Typed

ROWS_SHOWN = 12
LINES_SHOWN = 18
_HEAD_BYTES = 65_536
_LONGEST_LINE = 400
_DAY_MS = 86_400_000
# A spreadsheet counts days; the leap day that the older count invents lies long before any logger.
_BEGIN_1900, _BEGIN_1904 = datetime(1899, 12, 30), datetime(1904, 1, 1)  # noqa: DTZ001 - no zone


@dataclass(frozen=True, slots=True)
class Tried:
    """What a mapping made of an export; nothing of it is kept.

    ``sample`` is name and SHA-256 of each file; ``written`` is each file's name with its first
    lines as they stand in it. ``rows`` are the first rows and the last as read, the time in the
    shop's zone first, the vacuum in kPa below ambient. ``refusal`` is the sentence where the export
    cannot be read so, and then there is nothing of what was read.
    """

    sample: tuple[tuple[str, str], ...]
    written: tuple[tuple[str, tuple[str, ...]], ...] = ()
    refusal: str | None = None
    headers: tuple[tuple[str, str], ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    count: int = 0
    length_s: float = 0.0
    notes: tuple[str, ...] = ()


def files_typed(typed: Typed) -> list[LoggerFile]:
    """The files chosen in the form.

    Raises:
        Refusal: none was.
    """
    chosen = typed.every_file("sample")
    if not chosen:
        sentence = "No export was chosen; choose a file that the logger wrote."
        raise Refusal(sentence, fields={"sample": sentence})
    return [LoggerFile(one.filename or "file", one.file.read()) for one in chosen]


def try_on(
    mapping: LoggerMapping, files: Sequence[LoggerFile], *, max_bytes: int, zone: tzinfo
) -> Tried:
    """What the mapping reads of the files, or the sentence why it cannot."""
    sample = tuple((one.name, hashlib.sha256(one.content).hexdigest()) for one in files)
    written = tuple((one.name, _first_lines(one, mapping)) for one in files)
    try:
        reading = read_logger(files, mapping, max_bytes=max_bytes)
    except BadFile as fault:
        return Tried(sample, written, refusal=fault.sentence)
    trace = reading.trace
    units = {part.channel: f"°{trace.temperature_unit}" for part in mapping.channels}
    shown = [*range(min(ROWS_SHOWN, len(trace.times)))]
    if len(trace.times) > ROWS_SHOWN:
        shown.append(len(trace.times) - 1)
    clock = "s from the start" if reading.started_at is None else str(zone)
    return Tried(
        sample,
        written,
        headers=(
            (f"Time, {clock}", "when"),
            *((f"{name}, {units.get(name, 'kPa')}", "figure") for name in trace.channels),
        ),
        rows=tuple(_row(trace, at, reading.started_at, zone) for at in shown),
        count=len(trace.times),
        length_s=float(trace.times[-1]),
        notes=reading.notes,
    )


def sample_typed(typed: Typed) -> tuple[tuple[str, str], ...]:
    """The export that the form says was tried: names and SHA-256, in pairs."""
    names, digests = typed.every("sample_name"), typed.every("sample_sha256")
    return tuple(zip(names, digests, strict=False))


def _row(trace: Trace, at: int, started: datetime | None, zone: tzinfo) -> tuple[str, ...]:
    """A row as read: its time in the shop's zone, then each channel's reading."""
    seconds = float(trace.times[at])
    if started is None:
        time = f"{seconds:.10g}"
    else:
        moment = (started + timedelta(seconds=seconds)).astimezone(zone)
        time = moment.isoformat(
            sep=" ", timespec="milliseconds" if moment.microsecond else "seconds"
        )
    readings = (float(values[at]) for values in trace.channels.values())
    return (time, *("missing" if isnan(one) else f"{one:.10g}" for one in readings))


def _first_lines(file: LoggerFile, mapping: LoggerMapping) -> tuple[str, ...]:
    """The first lines as they stand in a text file, or a sheet's rows with bars between cells."""
    if mapping.encoding is None:
        return _sheet_lines(file, mapping)
    text = file.content[:_HEAD_BYTES].decode(mapping.encoding, errors="replace")
    lines = text.removeprefix("\ufeff").replace("\0", "").splitlines()
    return tuple(line[:_LONGEST_LINE] for line in lines[:LINES_SHOWN])


def _sheet_lines(file: LoggerFile, mapping: LoggerMapping) -> tuple[str, ...]:
    """The first rows of the mapping's sheet; none where reading it will say why it cannot be."""
    try:
        package = open_package(file.content, mapping.sheet, filename=file.name)
        rows = sheet_rows(package, SheetWalk(package, file.name), file.name)
        first = list(islice(rows, LINES_SHOWN))
    except BadFile:
        return ()
    lines = (" | ".join(_cell_words(cell) for cell in cells) for _, cells in first)
    return tuple(line[:_LONGEST_LINE] for line in lines)


def _cell_words(cell: Cell) -> str:
    """A cell as a spreadsheet would show it."""
    if isinstance(cell, Serial):
        begin = _BEGIN_1904 if cell.from_1904 else _BEGIN_1900
        moment = begin + timedelta(milliseconds=round(cell.days * _DAY_MS))
        return moment.isoformat(sep=" ", timespec="milliseconds" if moment.microsecond else "auto")
    return cell if isinstance(cell, str) else f"{cell:.10g}"
