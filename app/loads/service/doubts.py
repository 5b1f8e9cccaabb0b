"""What looks odd about a record is noted once the record and its verdict are kept.

Notes decide nothing, so no import waits for them, and one that fails loses no record.
"""

from dataclasses import asdict
from datetime import datetime

from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session

from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.loads import queries
from app.loads.importing.doubting import Marks, notice
from app.loads.judged import cycle_as_judged
from app.loads.records import FurnaceRecord, Load, RecordDoubts, TraceMark
from app.loads.trace_store import unpack_trace

BY_PROGRAM = "the program"
"""Who notes doubts, on the trail: two words, so that no person's user name is the same."""


def note_doubts(database: Database, load_code: str, *, at: datetime) -> None:
    """Look the load's record over for what is odd, beside earlier loads, and keep the notes.

    Nothing happens where there is no record, or somebody looked already.

    Raises:
        NotFound: there is no such load.
    """
    with database.read() as session:
        load = queries.load(session, load_code)
        record = queries.current_record(session, load.id)
        if record is None or _noted(session, record.id):
            return
        verdict = queries.latest_verdict(session, record.id)
        if verdict is None:
            return
        trace = unpack_trace(queries.trace_content(session, record.id))
    noticed = notice(database, load, trace, cycle_as_judged(verdict.cycle_as_judged))
    with database.write() as session:
        if _noted(session, record.id):
            return  # Another server of the same shop was faster.
        _keep_marks(session, record, noticed.marks)
        kept = RecordDoubts(record_id=record.id, findings=[asdict(one) for one in noticed.findings])
        session.add(kept)
        found = len(noticed.findings) or "nothing"
        append(
            session,
            Tag.RECORD_LOOKED_OVER,
            by=BY_PROGRAM,
            at=at,
            about=("load", load_code),
            rows=[kept],
            note=f"{record.file_name}: {found} noted to look into",
        )


def loads_not_looked_over(database: Database, *, since: datetime) -> list[str]:
    """Loads whose standing record came in since then and was not looked over, oldest first."""
    with database.read() as session:
        return list(
            session.scalars(
                select(Load.code)
                .join(FurnaceRecord, FurnaceRecord.load_id == Load.id)
                .outerjoin(RecordDoubts, RecordDoubts.record_id == FurnaceRecord.id)
                .where(FurnaceRecord.imported_at >= since, RecordDoubts.record_id.is_(None))
                .group_by(Load.code)
                .order_by(func.max(FurnaceRecord.id))
            )
        )


def _noted(session: Session, record_id: int) -> bool:
    return session.get(RecordDoubts, record_id) is not None


def _keep_marks(session: Session, record: FurnaceRecord, found: Marks) -> None:
    """Keep the marks by which the trace is known again."""
    marks = [
        {"record_id": record.id, "channel": channel, "mark": mark}
        for channel, own in found.items()
        for mark in own
    ]
    if marks:
        session.execute(insert(TraceMark), marks)
