"""Decisions on records that grow: to open one, and to take rows.

Each batch is one short transaction that is on disk before the logger is told so.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.loads import queries, run_queries
from app.loads.errors import RowsOutOfStep
from app.loads.importing.record_wanted import wanted_of
from app.loads.live import live_queries
from app.loads.live.live_queries import Logger, Tail
from app.loads.live.live_records import LiveAnchor, LiveRecord, LiveRows
from app.loads.live.live_rows import (
    CLOCK_AHEAD,
    Batch,
    Opening,
    chain_next,
    lines_of,
    moment_of,
)
from app.loads.records import Load

ANCHORED_EVERY = timedelta(hours=1)
MOST_ROWS = 250_000
"""Nearly three days at one row a second."""


def open_live(
    database: Database, load_code: str, opening: Opening, *, logger: Logger, at: datetime
) -> int:
    """Begin a load's growing record; hands back the number of the row expected next.

    Opening it again in the same way changes nothing.

    Raises:
        NotFound: no such load.
        NotAllowed: the token is another furnace's.
        Refusal: a channel is not planned, or a required one is missing.
        Conflict: the load is cancelled, has its record, or was opened differently.
    """
    with database.write() as session:
        load, live = _load_for(session, load_code, logger)
        if live is not None:
            _refuse_closed(session, live)
            if live.layout != opening.paper():
                raise Conflict(
                    f"The record of load {load.code} was opened with other channels or another "
                    f"unit: {', '.join(live.layout['channels'])} in "
                    f"{live.layout['temperature_unit']}. Send the same opening again."
                )
            return live_queries.row_count(session, live.id)
        _refuse_channels(session, load, opening)
        live = LiveRecord(
            load_id=load.id, token_id=logger.token_id, layout=opening.paper(), opened_at=at
        )
        session.add(live)
        append(
            session,
            Tag.LIVE_OPENED,
            by=logger.on_trail,
            at=at,
            about=("load", load.code),
            rows=[live],
            note=f"{len(opening.channels)} channels",
        )
        return 0


def _load_for(session: Session, load_code: str, logger: Logger) -> tuple[Load, LiveRecord | None]:
    """The load and its growing record, where this logger may send rows of it."""
    load = queries.load(session, load_code)
    if load.furnace_id != logger.furnace_id:
        raise NotAllowed(
            f"The token of {logger.name} is for furnace {logger.furnace}, and load {load.code} is "
            "planned for another."
        )
    if run_queries.cancellation(session, load.id) is not None:
        raise Conflict(f"Load {load.code} is cancelled; no record of it is taken.")
    if queries.current_record(session, load.id) is not None:
        raise Conflict(f"Load {load.code} has its furnace record already; no more rows are taken.")
    return load, live_queries.live_of(session, load.id)


def _refuse_closed(session: Session, live: LiveRecord) -> None:
    closing = live_queries.closing_of(session, live.id)
    if closing is not None:
        raise Conflict(
            f"The growing record was closed at {closing.closed_at.isoformat()}; no more rows are "
            "taken."
        )


def _refuse_channels(session: Session, load: Load, opening: Opening) -> None:
    """Refuse channels that nobody planned, and a required one or the vacuum left out."""
    wanted = wanted_of(session, load)
    planned = [sensor.channel for sensor in wanted.channels]
    needed = [sensor.channel for sensor in wanted.required]
    if wanted.vacuum is not None:
        planned.append(wanted.vacuum)
        needed.append(wanted.vacuum)
    unknown = [name for name in opening.channels if name not in planned]
    missing = [name for name in needed if name not in opening.channels]
    if unknown:
        raise Refusal(
            f"Load {load.code} has no channel {', '.join(unknown)}; it is planned with "
            f"{', '.join(planned)}."
        )
    if missing:
        raise Refusal(
            f"The channel {', '.join(missing)} decides on load {load.code} and is not in the "
            "opening; send it too."
        )


def take_rows(
    database: Database, load_code: str, batch: Batch, *, logger: Logger, at: datetime
) -> int:
    """Keep a batch's rows; hands back the number of the row expected next.

    Rows that are there already must be the same, and nothing happens to them.

    Raises:
        NotFound, NotAllowed, Conflict: as :func:`open_live`, or the record was never opened.
        RowsOutOfStep: a row is there already and different, or rows before these are missing.
        Refusal: a cell cannot be read, or a time does not rise or is ahead of the clock.
    """
    with database.read() as session:
        live = open_for(session, load_code, logger)
        channels = list(live.layout["channels"])
    lines = lines_of(batch, channels)
    ahead = moment_of(lines[-1]) - at
    if ahead > CLOCK_AHEAD:
        raise Refusal(
            f"Row {batch.first + len(lines) - 1} is from {ahead.total_seconds():.0f} s after now; "
            f"set the logger's clock. At most {CLOCK_AHEAD.total_seconds():.0f} s are taken. "
            "Nothing was kept."
        )
    with database.write() as session:
        live = open_for(session, load_code, logger)
        tail = live_queries.tail_of(session, live)
        new = _beyond(session, live, tail, batch.first, lines)
        if tail.rows + len(new) > MOST_ROWS:
            raise Refusal(
                f"A record holds at most {MOST_ROWS} rows; set the logger to a longer interval and "
                "import its own file for this run."
            )
        if new:
            _keep(session, live, tail, new, load_code=load_code, logger=logger, at=at)
        return tail.rows + len(new)


def open_for(session: Session, load_code: str, logger: Logger) -> LiveRecord:
    """The load's growing record, where it takes rows.

    Raises:
        Conflict: it was not opened, or is closed.
    """
    load, live = _load_for(session, load_code, logger)
    if live is None:
        raise Conflict(f"The record of load {load.code} is not opened yet; open it first.")
    _refuse_closed(session, live)
    return live


def _beyond(
    session: Session, live: LiveRecord, tail: Tail, first: int, lines: Sequence[str]
) -> list[str]:
    """The lines that are not there yet.

    Raises:
        RowsOutOfStep: they do not join what is there.
        Refusal: the first new one is not later than the last one kept.
    """
    if first > tail.rows:
        raise RowsOutOfStep(
            f"Row {tail.rows} is expected next, and these begin with row {first}; send the rows "
            "between as well. Nothing was kept.",
            next_row=tail.rows,
        )
    again = min(tail.rows - first, len(lines))
    kept = live_queries.lines_from(session, live.id, first=first, most=again) if again else []
    for number, (there, sent) in enumerate(zip(kept, lines, strict=False), start=first):
        if there != sent:
            raise RowsOutOfStep(
                f"Row {number} is on record as {there[:200]!r} and was now sent as {sent[:200]!r}. "
                "What was kept stays; nothing of this was taken.",
                next_row=tail.rows,
            )
    new = list(lines[again:])
    if new and tail.last_line is not None and moment_of(new[0]) <= moment_of(tail.last_line):
        raise Refusal(
            f"Row {first + again} is not later than the row before it, "
            f"{tail.last_line.split(',', 1)[0]}. Nothing was kept."
        )
    return new


def _keep(
    session: Session,
    live: LiveRecord,
    tail: Tail,
    new: Sequence[str],
    *,
    load_code: str,
    logger: Logger,
    at: datetime,
) -> None:
    """Add the lines as a batch; about hourly put the chain on the trail."""
    text = "\n".join(new)
    chain = chain_next(tail.chain, text)
    session.add(
        LiveRows(
            live_id=live.id,
            first_row=tail.rows,
            rows=len(new),
            content=live_queries.packed(text),
            chain_sha256=chain,
            received_at=at,
        )
    )
    since = live_queries.last_anchored_at(session, live.id) or live.opened_at
    if at - since >= ANCHORED_EVERY:
        anchor = anchor_of(live, tail.rows + len(new), chain, at)
        session.add(anchor)
        append(
            session,
            Tag.LIVE_ANCHORED,
            by=logger.on_trail,
            at=at,
            about=("load", load_code),
            rows=[anchor],
            note=f"{anchor.rows} rows so far",
        )


def anchor_of(live: LiveRecord, rows: int, chain: str, at: datetime) -> LiveAnchor:
    """The chain's digest over the first ``rows`` rows, to be put on the trail."""
    return LiveAnchor(live_id=live.id, rows=rows, chain_sha256=chain, anchored_at=at)
