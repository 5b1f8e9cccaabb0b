"""From when to when loads and bench sessions lasted, for a doubt about some time only."""

from collections.abc import Set as AbstractSet
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.bench.records import Baseline, BenchSession, BlockCheck, Reading
from app.loads.queries import in_use
from app.loads.records import FurnaceRecord, Load, LoadEnd, LoadStart
from app.release.queries.links import LOAD, SESSION, AnySelect
from app.release.queries.spoken import read_by_parts
from app.release.rules.spreading import Node


def lasting(session: Session, nodes: AbstractSet[Node]) -> dict[Node, tuple[datetime, datetime]]:
    """The first and last moment of each load and session, as far as is on record.

    Of a load its record's first and last sample; else as entered; else as planned. Of a session
    its opening and the last thing taken in it.
    """
    found = _loads(session, {key for kind, key in nodes if kind == LOAD})
    return found | _sessions(session, {key for kind, key in nodes if kind == SESSION})


def _loads(session: Session, keys: AbstractSet[int]) -> dict[Node, tuple[datetime, datetime]]:
    ran = (
        select(
            Load.id,
            Load.planned_start,
            Load.planned_end,
            LoadStart.started_at,
            LoadEnd.ended_at,
            FurnaceRecord.starts_at,
            FurnaceRecord.length_s,
        )
        .outerjoin(LoadStart, LoadStart.load_id == Load.id)
        .outerjoin(LoadEnd, LoadEnd.load_id == Load.id)
        .outerjoin(FurnaceRecord, FurnaceRecord.load_id == Load.id)
        .where(in_use())
    )
    return {(LOAD, row.id): _load_lasted(row) for row in read_by_parts(session, ran, keys)}


def _load_lasted(row: Any) -> tuple[datetime, datetime]:
    if row.starts_at is not None:
        return row.starts_at, row.starts_at + timedelta(seconds=float(row.length_s))
    first = row.started_at or row.planned_start
    return first, max(first, row.ended_at or row.planned_end or first)


def _sessions(session: Session, keys: AbstractSet[int]) -> dict[Node, tuple[datetime, datetime]]:
    taken: tuple[Any, ...] = (Reading, Baseline, BlockCheck)
    newest = (
        select(func.max(row.taken_at))
        .where(row.session_id == BenchSession.id)
        .correlate(BenchSession)
        .scalar_subquery()
        for row in taken
    )
    opened: AnySelect = select(BenchSession.id, BenchSession.opened_at, *newest)
    return {
        (SESSION, key): (begun, max((begun, *(last for last in lasts if last is not None))))
        for key, begun, *lasts in read_by_parts(session, opened, keys)
    }
