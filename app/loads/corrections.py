"""Whether records were judged with the corrections that count; many loads at once."""

import json
from collections.abc import Mapping
from datetime import tzinfo
from functools import lru_cache
from typing import Any

from sqlalchemy import BindParameter, Text, bindparam, func, select, type_coerce
from sqlalchemy.orm import Session

from app.equipment import queries as equipment
from app.equipment.queries import Corrected
from app.judging.furnace.intervals import day_in_zone
from app.loads.judged import cycle_for_load
from app.loads.queries import in_use
from app.loads.records import FurnaceRecord, RecordVerdict
from app.loads.runs import Run, runs

_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_last = (
    select(func.max(RecordVerdict.id))
    .where(RecordVerdict.record_id == FurnaceRecord.id)
    .correlate(FurnaceRecord)
    .scalar_subquery()
)
_JUDGED = (
    select(FurnaceRecord.load_id, type_coerce(RecordVerdict.cycle_as_judged, Text).label("cycle"))
    .join(RecordVerdict, RecordVerdict.id == _last)
    .where(FurnaceRecord.load_id.in_(_KEYS), in_use())
)


def corrected_otherwise(session: Session, load_id: int, *, zone: tzinfo) -> list[str]:
    """The channels whose readings were judged with other corrections than those that count now."""
    ran = runs(session, [load_id])
    papers = equipment.sensor_corrections(session, ran[load_id].required)
    return other_corrections(session, ran, papers, zone=zone).get(load_id, [])


def other_corrections(
    session: Session,
    ran: Mapping[int, Run],
    papers: Mapping[int, list[Corrected]],
    *,
    zone: tzinfo,
) -> dict[int, list[str]]:
    """The same by load, for loads whose record is judged; one query however many."""
    found = {}
    for load_id, cycle in session.execute(_JUDGED, {"keys": list(ran)}):
        run, judged = ran[load_id], _corrections(cycle)
        counting = _counting(run, papers, zone)
        channels = [
            name for name in run.required.values() if judged.get(name) != counting.get(name)
        ]
        if channels:
            found[load_id] = channels
    return found


def _counting(
    run: Run, papers: Mapping[int, list[Corrected]], zone: tzinfo
) -> dict[str, list[list[str]]]:
    """The corrections that count on the day of the record, by channel, in the cycle's unit."""
    day = day_in_zone(run.recorded_start or run.planned_start, zone)
    corrections = {
        channel: equipment.corrections_on(papers[key], day) for key, channel in run.required.items()
    }
    cycle = cycle_for_load(run.cycle_paper, channels=list(corrections), corrections=corrections)
    counted: dict[str, list[list[str]]] = cycle["corrections"]
    return counted


@lru_cache(maxsize=1024)
def _corrections(cycle: str) -> dict[str, list[list[str]]]:
    judged: dict[str, list[list[str]]] = json.loads(cycle).get("corrections") or {}
    return judged
