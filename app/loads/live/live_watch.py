"""Growing records kept in memory between looks, so that each row is read once. Decides nothing.

Many people watch one record. Its rows are read from the database as they come and the outlook is
found anew at most so often that finding it takes a small share of one processor; whoever asks in
between sees the last one, which says how many rows it has seen.
"""

import threading
import time
import zlib
from collections import OrderedDict
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from sqlalchemy.orm import Session

from app.database import paper_sha256
from app.documents.cycle import cycle_of, cycle_paper_from
from app.documents.logger.logger_csv import Layout, read_logger_csv
from app.judging.record.cycle import Cycle
from app.judging.record.outlook import Outlook, outlook
from app.judging.record.spans import Floats
from app.judging.record.trace import Trace
from app.loads.live.live_queries import batches, row_count, text_of
from app.loads.live.live_records import LiveRecord
from app.loads.live.live_rows import TIME_COLUMN, Opening, chain_next, chain_start, moment_of

_BUSY_SHARE = 20.0
"""An outlook is kept for so many times as long as it took to find: a twentieth of a processor."""
_LONGEST_KEPT_S = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class Grown:
    """A growing record as far as it has come.

    ``trace`` counts from ``first_at``; both are None before the first row. ``broken`` says that
    rows are not as they came.
    """

    rows: int
    trace: Trace | None
    first_at: datetime | None
    last_at: datetime | None
    received_at: datetime | None
    broken: bool


@dataclass(slots=True)
class _Kept:
    """One record's rows: ``times`` and each channel have room for more than ``rows``."""

    chain: str
    rows: int = 0
    times: Floats = field(default_factory=lambda: np.empty(0))
    channels: dict[str, Floats] = field(default_factory=dict)
    first_at: datetime | None = None
    last_at: datetime | None = None
    received_at: datetime | None = None
    broken: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """A growing record with its outlook at a moment; ``outlook`` is None where there is none."""

    grown: Grown
    cycle: Cycle
    outlook: Outlook | None
    at: datetime
    kept_s: float
    digest: str


class Watch:
    """The growing records that people look at; at most ``most`` of them. Safe across threads."""

    def __init__(self, most: int = 6) -> None:
        self._most = most
        self._kept: OrderedDict[int, _Kept] = OrderedDict()
        self._looks: dict[int, Look] = {}
        self._lock = threading.RLock()

    def look(
        self, session: Session, live: LiveRecord, cycle_paper: dict[str, object], *, now: datetime
    ) -> Look:
        """The record's outlook by the cycle with its sensors filled in.

        It is of the moment ``now``, or of a few moments before, as its ``at`` says.
        """
        digest = paper_sha256(cycle_paper)
        with self._lock:
            known = self._looks.get(live.id)
            if known is not None and known.digest == digest and _still_good(known, now):
                return known
            begun = time.perf_counter()
            grown = self.grown(session, live)
            cycle = cycle_of(cycle_paper_from(cycle_paper, filename="the cycle's paper"))
            found = None
            if grown.trace is not None and grown.first_at is not None and not grown.broken:
                found = outlook(grown.trace, cycle, now_s=(now - grown.first_at).total_seconds())
            took_s = time.perf_counter() - begun
            look = Look(
                grown, cycle, found, now, min(_BUSY_SHARE * took_s, _LONGEST_KEPT_S), digest
            )
            self._looks[live.id] = look
            return look

    def grown(self, session: Session, live: LiveRecord) -> Grown:
        """All rows that are on record now."""
        with self._lock:
            kept = self._kept.pop(live.id, None) or _Kept(chain_start(live.layout))
            self._kept[live.id] = kept
            while len(self._kept) > self._most:
                gone, _ = self._kept.popitem(last=False)
                self._looks.pop(gone, None)
            if kept.rows > row_count(session, live.id) or not _read_on(session, live, kept):
                # Perhaps the database was put back to an earlier state: read all of it again.
                kept = self._kept[live.id] = _Kept(chain_start(live.layout))
                kept.broken = not _read_on(session, live, kept)
            return _snapshot(kept, live)


def _read_on(session: Session, live: LiveRecord, kept: _Kept) -> bool:
    """Add the batches that came since the last look; False where the chain does not hold."""
    texts: list[str] = []
    for batch in batches(session, live.id, first=kept.rows):
        try:
            text = text_of(batch.content)
        except (zlib.error, UnicodeDecodeError):
            return False
        chain = chain_next(kept.chain, text)
        if chain != batch.chain_sha256 or batch.first_row != kept.rows:
            return False
        kept.chain, kept.received_at = chain, batch.received_at
        kept.rows += batch.rows
        texts.append(text)
    if texts:
        _append(kept, live, "\n".join(texts))
    return True


def _still_good(look: Look, now: datetime) -> bool:
    return 0 <= (now - look.at).total_seconds() < look.kept_s


def _append(kept: _Kept, live: LiveRecord, text: str) -> None:
    """Read the lines as the import will, and add them to the arrays."""
    opening = Opening(tuple(live.layout["channels"]), live.layout["temperature_unit"])
    reading = read_logger_csv(
        f"{opening.header}\n{text}\n".encode(),
        filename="the rows",
        layout=Layout(time_column=TIME_COLUMN, time_kind="iso", channels=opening.channels),
    )
    begins = moment_of(text)
    if kept.first_at is None:
        kept.first_at = begins
    since = (begins - kept.first_at).total_seconds()
    count = len(reading.trace.times)
    at = kept.rows - count
    kept.times = _room(kept.times, at, count)
    kept.times[at : kept.rows] = reading.trace.times + since
    for name in opening.channels:
        column = _room(kept.channels.get(name, np.empty(0)), at, count)
        column[at : kept.rows] = reading.trace.channels[name]
        kept.channels[name] = column
    kept.last_at = moment_of(text[text.rfind("\n") + 1 :])


def _room(column: Floats, used: int, more: int) -> Floats:
    """The column with room for more; what was handed out before is never written to."""
    if used + more <= len(column):
        return column
    larger = np.full(max(1024, 2 * (used + more)), np.nan)
    larger[:used] = column[:used]
    return larger


def _snapshot(kept: _Kept, live: LiveRecord) -> Grown:
    trace = None
    if kept.first_at is not None and not kept.broken:
        unit = live.layout["temperature_unit"]
        trace = Trace(
            kept.times[: kept.rows],
            {name: column[: kept.rows] for name, column in kept.channels.items()},
            "F" if unit == "F" else "C",
        )
    return Grown(
        kept.rows, trace, kept.first_at, kept.last_at, kept.received_at, broken=kept.broken
    )
