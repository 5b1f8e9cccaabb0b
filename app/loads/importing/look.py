"""A look at files that wait: what is sure of them, which approved mapping reads them, a few rows.

Decides nothing and keeps nothing. Of a large text file only its first and last rows are read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from math import isnan
from pathlib import Path

from app.documents.logger.logger_csv import LoggerReading
from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_proposal import Proposal, propose
from app.errors import BadFile
from app.loads.importing.record_wanted import Wanted, fits
from app.requirements.queries import Revision, mapping_of

ROWS_SHOWN = 8
_HEAD_BYTES = 98_304
_FEW_LINES = 3
_LINES_SHOWN, _LONGEST_LINE = 18, 400
_TAIL_BYTES = 16_384
_HEAD_LINES, _PROPOSED_FROM_LINES = 120, 60


@dataclass(frozen=True, slots=True)
class AsRead:
    """The first rows as a mapping reads them, or the sentence why it cannot."""

    headers: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    refusal: str | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """An approved mapping in force, and what it makes of the files."""

    revision: Revision
    mapping: LoggerMapping
    as_read: AsRead
    covers: bool

    @property
    def fits(self) -> bool:
        """Whether it reads the files and everything the load needs."""
        return self.covers and self.as_read.refusal is None

    @property
    def words(self) -> str:
        """Why it does not fit, or that it does."""
        if self.as_read.refusal is not None:
            return self.as_read.refusal
        if not self.covers:
            return "It does not read every channel that the load needs."
        return "It reads these files."


@dataclass(frozen=True, slots=True)
class Look:
    """What is seen of waiting files; ``offers`` begin with those that fit, by identity."""

    proposal: Proposal
    offers: tuple[Offer, ...]

    def offer(self, code: str) -> Offer | None:
        """The mapping of that identity, or None."""
        return next((one for one in self.offers if one.revision.code == code), None)

    def first_choice(self, last_used: str | None) -> str | None:
        """The mapping to begin with: the furnace's last one where it fits, else the first; None."""
        fitting = [one.revision.code for one in self.offers if one.fits]
        if last_used in fitting:
            return last_used
        return fitting[0] if fitting else None


@dataclass(frozen=True, slots=True)
class Glimpse:
    """A file's first rows, and its first and last ones, each as a file of its own.

    A row is never cut. Of a spreadsheet both are the whole of it.
    """

    head: LoggerFile
    ends: LoggerFile


def glimpse(path: Path, name: str) -> Glimpse:
    """A glimpse of a waiting file."""
    size = path.stat().st_size
    with path.open("rb") as file:
        start = file.read(_HEAD_BYTES)
        lines = start.splitlines(keepends=True)
        # A spreadsheet has no rows to take, and in UTF-16 a line's end is not one byte.
        if b"\0" in start[:1024] or start[:2] == b"PK" or len(lines) < _FEW_LINES:
            whole = LoggerFile(name, start + file.read())
            return Glimpse(whole, whole)
        if size <= _HEAD_BYTES + _TAIL_BYTES:
            ends = start + file.read()
        else:
            file.seek(size - _TAIL_BYTES)
            tail = file.read()
            first = lines[: min(_PROPOSED_FROM_LINES, len(lines) - 1)]
            ends = b"".join([*first, tail[tail.find(b"\n") + 1 :]])
    head = b"".join(lines[: min(_HEAD_LINES, len(lines) - (size > len(start)))])
    return Glimpse(LoggerFile(name, head), LoggerFile(name, ends))


def look(
    proposal: Proposal,
    files: Sequence[Glimpse],
    wanted: Wanted,
    in_force: Sequence[Revision],
    zone: tzinfo,
) -> Look:
    """What files are and what the approved mappings make of them; ``zone`` is the shop's."""
    heads = [one.head for one in files]
    offers = []
    for revision in in_force:
        mapping = mapping_of(revision)
        covers = fits(mapping, wanted)
        offers.append(Offer(revision, mapping, as_read(heads, mapping, zone), covers))
    offers.sort(key=lambda one: not one.fits)
    return Look(proposal, tuple(offers))


def proposed(files: Sequence[Glimpse], zone: tzinfo) -> Proposal:
    """How files seem to be written; ``zone`` is the shop's."""
    return propose([one.ends for one in files], zone=str(zone))


def as_read(files: Sequence[LoggerFile], mapping: LoggerMapping, zone: tzinfo) -> AsRead:
    """The first rows as a mapping reads them, times in the shop's ``zone``."""
    try:
        reading = read_logger(files, mapping)
    except BadFile as fault:
        return AsRead(refusal=fault.sentence)
    trace = reading.trace
    shown = range(min(ROWS_SHOWN, len(trace.times)))
    vacuum = None if mapping.vacuum is None else mapping.vacuum.channel
    clock = "s from the start" if reading.started_at is None else str(zone)
    return AsRead(
        (
            f"Time, {clock}",
            *(
                f"{name}, {'kPa below ambient' if name == vacuum else '°' + trace.temperature_unit}"
                for name in trace.channels
            ),
        ),
        tuple(_row(reading, at, zone) for at in shown),
    )


def _row(reading: LoggerReading, at: int, zone: tzinfo) -> tuple[str, ...]:
    trace, started = reading.trace, reading.started_at
    seconds = float(trace.times[at])
    time = f"{seconds:.10g}" if started is None else _told(started, seconds, zone)
    figures = (float(values[at]) for values in trace.channels.values())
    return (time, *("missing" if isnan(one) else f"{one:.10g}" for one in figures))


def _told(started: datetime, seconds: float, zone: tzinfo) -> str:
    moment = (started + timedelta(seconds=seconds)).astimezone(zone)
    return moment.isoformat(sep=" ", timespec="milliseconds" if moment.microsecond else "seconds")


def first_lines(file: LoggerFile, encoding: str | None) -> tuple[str, ...]:
    """The first lines of a text file as they stand in it; of a spreadsheet none."""
    content = file.content[:_HEAD_BYTES]
    if encoding is None:
        return ()
    text = content.decode(encoding, errors="replace")
    lines = text.removeprefix("\ufeff").replace("\0", "").splitlines()
    return tuple(line[:_LONGEST_LINE] for line in lines[:_LINES_SHOWN])
