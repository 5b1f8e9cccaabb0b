"""How loads ran, for the ledger of what a panel was exposed to."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import BindParameter, bindparam, func, select
from sqlalchemy.orm import Session

from app.loads.queries import in_use
from app.loads.records import FurnaceRecord, Load, LoadEnd, LoadStart, RecordVerdict
from app.release.rules.exposure import RunOnRecord

_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_last = (
    select(func.max(RecordVerdict.id))
    .where(RecordVerdict.record_id == FurnaceRecord.id)
    .correlate(FurnaceRecord)
    .scalar_subquery()
)
_RUNS: Any = (
    select(
        Load.id,
        LoadStart.started_at,
        LoadEnd.ended_at,
        Load.planned_end,
        FurnaceRecord.length_s,
        RecordVerdict.paper,
    )
    .outerjoin(LoadStart, LoadStart.load_id == Load.id)
    .outerjoin(LoadEnd, LoadEnd.load_id == Load.id)
    .outerjoin(FurnaceRecord, FurnaceRecord.load_id == Load.id)
    .outerjoin(RecordVerdict, RecordVerdict.id == _last)
    .where(Load.id.in_(_KEYS), in_use())
    .order_by(FurnaceRecord.id)
)


def runs_on_record(session: Session, load_ids: Collection[int]) -> dict[int, RunOnRecord]:
    """How loads ran, by key, with the verdict of the record in use; one query."""
    if not load_ids:
        return {}
    return {
        key: RunOnRecord(
            started_at, ended_at, planned_end, None if length is None else float(length), paper
        )
        for key, started_at, ended_at, planned_end, length, paper in session.execute(
            _RUNS, {"keys": list(load_ids)}
        )
    }
