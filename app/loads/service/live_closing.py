"""Decisions on records that grow: to close one, and to bring it in as the furnace record.

Closing comes first and for good: from then on no row is taken. The import follows; where the
program was stopped between the two, closing again goes on with it.
"""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from hashlib import sha256

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database
from app.errors import Conflict, NotAllowed, Refusal
from app.loads import queries
from app.loads.errors import RowsOutOfStep
from app.loads.importing.record_wanted import plain_layout, wanted_of
from app.loads.importing.sources import Source
from app.loads.live import live_queries
from app.loads.live.live_queries import Logger, Whole
from app.loads.live.live_records import LiveClosing, LiveRecord
from app.loads.live.live_rows import TIME_COLUMN, Opening
from app.loads.service.live import anchor_of, open_for
from app.loads.service.record import import_record
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class Closed:
    """A growing record that is closed. ``verdict`` is its furnace record's, None without one.

    ``why_not`` says why no furnace record was made of it.
    """

    rows: int
    verdict: str | None
    why_not: str | None


def close_live(
    database: Database,
    load_code: str,
    *,
    rows: int,
    logger: Logger,
    at: datetime,
    zone: tzinfo,
) -> Closed:
    """The logger says that the run is over and how many rows it sent: judge and keep the record.

    The record is imported in the name of the person who answers for the logger. Closing again
    changes nothing, and brings the record in where that failed before.

    Raises:
        NotFound, NotAllowed, Conflict: as :func:`take_rows`, or rows are not as they came.
        RowsOutOfStep: not so many rows are here.
    """
    with database.read() as session:
        load = queries.load(session, load_code)
        live = live_queries.live_of(session, load.id)
        closed = None if live is None else live_queries.closing_of(session, live.id)
        if closed is None:
            live = open_for(session, load_code, logger)
        elif load.furnace_id != logger.furnace_id:
            raise NotAllowed(f"The token of {logger.name} is for furnace {logger.furnace} only.")
        found = live_queries.row_count(session, live.id) if live is not None else 0
        answering = live_queries.actor_of(session, logger.answers_id)
    if found != rows:
        raise RowsOutOfStep(
            f"{found} rows are here, and the run is said to have {rows}; send the rest first.",
            next_row=found,
        )
    if closed is None:
        note = "the logger said that the run is over"
        _close(database, load_code, reason=note, by=logger.on_trail, person_id=None, at=at)
    if answering is None:
        return Closed(found, None, "Nobody with an open account answers for this logger.")
    return _bring_in(database, load_code, by=answering, at=at, zone=zone)


def close_by_hand(
    database: Database,
    load_code: str,
    *,
    reason: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Closed:
    """A person says that the run is over, and why the logger did not; judge and keep the record.

    Where it is closed already and no furnace record was made of it, that is tried again.

    Raises:
        NotAllowed: the person imports no records.
        Refusal: nothing grows here, or no reason.
        Conflict: rows are not as they came.
    """
    require(by, Act.IMPORT_RECORD)
    with database.read() as session:
        load = queries.load(session, load_code)
        live = live_queries.live_of(session, load.id)
        closed = None if live is None else live_queries.closing_of(session, live.id)
    if live is None:
        raise Refusal(f"No logger has opened a record for load {load_code}.")
    if closed is None:
        reason = reason.strip()
        if not reason:
            sentence = "Say how you know that the run is over, and why the logger did not say so."
            raise Refusal(sentence, fields={"reason": sentence})
        _close(database, load_code, reason=reason, by=by, person_id=by.id, at=at)
    return _bring_in(database, load_code, by=by, at=at, zone=zone)


def _close(
    database: Database,
    load_code: str,
    *,
    reason: str,
    by: Actor | str,
    person_id: int | None,
    at: datetime,
) -> None:
    """End the growing record: its chain is computed anew, compared, and put on the trail."""
    with database.read() as session:
        live, whole = _whole(session, load_code)
    if whole.problems:
        raise Conflict(
            f"The growing record of load {load_code} was changed from outside: "
            f"{'; '.join(whole.problems)}. It is not closed. Tell whoever looks after the program, "
            "and import the logger's own file instead."
        )
    with database.write() as session:
        load = queries.load(session, load_code)
        if live_queries.closing_of(session, live.id) is not None:
            return  # Somebody else closed it at this very moment.
        tail = live_queries.tail_of(session, live)
        if (tail.rows, tail.chain) != (whole.rows, whole.chain):
            raise Conflict("Rows came in while the record was being closed. Try again.")
        anchor = anchor_of(live, whole.rows, whole.chain, at)
        closing = LiveClosing(
            live_id=live.id,
            file_sha256=sha256(_file(live, whole)).hexdigest() if whole.rows else None,
            reason=reason,
            closed_by_id=person_id,
            closed_at=at,
        )
        rows: list[Base] = [anchor, closing]
        session.add_all(rows)
        append(
            session,
            Tag.LIVE_CLOSED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=rows,
            note=f"{whole.rows} rows; {reason}",
        )


def _whole(session: Session, load_code: str) -> tuple[LiveRecord, Whole]:
    load = queries.load(session, load_code)
    live = live_queries.live_of(session, load.id)
    if live is None:
        raise Conflict(f"The record of load {load_code} is not opened yet.")
    return live, live_queries.whole_of(session, live)


def _file(live: LiveRecord, whole: Whole) -> bytes:
    """The rows as the one CSV file that is imported and kept."""
    opening = Opening(tuple(live.layout["channels"]), live.layout["temperature_unit"])
    return f"{opening.header}\n{whole.text}\n".encode()


def _bring_in(
    database: Database,
    load_code: str,
    *,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Closed:
    """Import the closed record's rows as the load's furnace record, unless that was done.

    A refusal of the import is told in ``why_not``; the growing record stays closed.
    """
    with database.read() as session:
        load = queries.load(session, load_code)
        vacuum = wanted_of(session, load).vacuum
        live, whole = _whole(session, load_code)
        record = queries.current_record(session, load.id)
        verdict = queries.latest_verdict(session, record.id) if record is not None else None
    if not whole.rows:
        return Closed(0, None, "No row ever came, so there is nothing to judge.")
    content = _file(live, whole)
    if record is not None:
        own = record.file_sha256 == sha256(content).hexdigest()
        said = None if own else f"The load has another furnace record, {record.file_name}."
        return Closed(whole.rows, verdict.verdict if verdict and own else None, said)
    channels = list(live.layout["channels"])
    try:
        judged = import_record(
            database,
            load_code,
            [Source(f"live-{load.code.replace('/', '-')}.csv", content)],
            plain_layout(
                dict(zip(channels, channels, strict=True)),
                vacuum=vacuum,
                time_column=TIME_COLUMN,
                temperature_unit="F" if live.layout["temperature_unit"] == "F" else "C",
            ),
            by=by,
            at=at,
            zone=zone,
        )
    except Refusal as refusal:
        return Closed(whole.rows, None, refusal.sentence)
    return Closed(whole.rows, judged.verdict, None)
