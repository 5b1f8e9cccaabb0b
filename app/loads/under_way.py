"""Loads with something to do at the furnace: before the door closes, and until they are out."""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from app.equipment.records import Furnace
from app.loads.lists import standings
from app.loads.queries import goes_ahead
from app.loads.records import FurnaceRecord, Load, LoadEnd
from app.loads.rules import Standing

AHEAD = timedelta(hours=36)
"""A load is made ready the day before."""
_BEHIND = timedelta(days=3)
"""One that was planned for so long ago is not waited for any more: its record is."""
_MOST = 50


@dataclass(frozen=True, slots=True)
class UnderWay:
    """A load with what is to be done next at the furnace, in a sentence, and where."""

    code: str
    sentence: str
    step: str
    """The last part of the address below the load's own."""
    since: datetime
    standing: str


def loads_under_way(session: Session, *, now: datetime, zone: tzinfo) -> list[UnderWay]:
    """Loads planned until tomorrow that are not out yet, by planned start; a few queries."""
    rows = session.execute(
        select(Load.id, Load.code, Load.planned_start, Load.planned_end, Furnace.code.label("in_"))
        .join(Furnace, Furnace.id == Load.furnace_id)
        .where(Load.planned_start.between(now - _BEHIND, now + AHEAD), goes_ahead(Load.id))
        .where(~exists().where(FurnaceRecord.load_id == Load.id))
        .where(~exists().where(LoadEnd.load_id == Load.id))
        .order_by(Load.planned_start)
        .limit(_MOST)
    ).all()
    stands = standings(session, [row.id for row in rows])
    found = []
    for row in rows:
        start, end = (
            None if at is None else at.astimezone(zone).strftime("%Y-%m-%d %H:%M")
            for at in (row.planned_start, row.planned_end)
        )
        if stands[row.id] == Standing.PLANNED:
            sentence, step = f"Planned in {row.in_} for {start}: check its bags.", "leak-check"
        elif stands[row.id] == Standing.CHECKED:
            sentence = f"Planned in {row.in_} for {start}, its bags are checked: record the start."
            step = "start"
        else:
            out = end or "at a time nobody stated"
            sentence = f"In {row.in_}, expected out {out}: record when it is taken out."
            step = "end"
        since = row.planned_end or row.planned_start if step == "end" else row.planned_start
        found.append(UnderWay(row.code, sentence, step, since, stands[row.id]))
    return found
