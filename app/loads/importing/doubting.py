"""What looks odd about a record as it comes in, beside what earlier loads of its furnace showed.

Notes only: they decide nothing, and no verdict waits for them.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, pstdev
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.database import Database
from app.judging.doubt import DoubtContext, SeenBefore, Usual, doubts, marks_of
from app.judging.record.cycle import Cycle
from app.judging.record.trace import Trace
from app.judging.verdict import Finding
from app.loads.queries import goes_ahead
from app.loads.records import (
    FurnaceRecord,
    Load,
    LoadPanel,
    LoadSensor,
    RecordSummary,
    RecordVerdict,
    TraceMark,
)

EARLIER_LOADS = 20
"""How many earlier loads of a furnace say what is usual: enough for a spread, none too old."""

Marks = Mapping[str, tuple[int, ...]]
"""By channel: the marks by which a trace is known again."""


@dataclass(frozen=True, slots=True)
class Noticed:
    """What was noticed about a record, and the marks of its channels."""

    findings: tuple[Finding, ...]
    marks: Marks


def notice(database: Database, load: Load, trace: Trace, cycle: Cycle) -> Noticed:
    """The doubts a record of the load raises, beside all earlier loads on record."""
    vacuum = None if cycle.vacuum is None else cycle.vacuum.column
    marks = {
        name: marks_of(trace.times, values)
        for name, values in trace.channels.items()
        if name != vacuum
    }
    with database.read() as session:
        context = _context(session, load, marks)
    return Noticed(doubts(trace, cycle, context), marks)


def _context(session: Session, load: Load, marks: Marks) -> DoubtContext:
    earlier = _earlier_summaries(session, load)
    places = _places(session, [load.id, *earlier])
    own = places[load.id]
    lags: dict[tuple[int, str], list[float]] = defaultdict(list)
    noise: dict[str, list[float]] = defaultdict(list)
    for load_id, sensors in earlier.items():
        for one in sensors:
            place = places[load_id].get(one["channel"])
            if place is not None and one.get("lag_s") is not None:
                lags[place].append(one["lag_s"])
            if one.get("noise_c") is not None:
                noise[one["channel"]].append(one["noise_c"])
    return DoubtContext(
        seen=_seen_before(session, load.id, marks),
        usual_lag_s={
            channel: _usual(lags[place]) for channel, place in own.items() if place in lags
        },
        usual_noise_c={name: _usual(figures) for name, figures in noise.items() if name in own},
    )


def _usual(figures: Sequence[float]) -> Usual:
    return Usual(fmean(figures), pstdev(figures), len(figures))


def _earlier_summaries(session: Session, load: Load) -> dict[int, list[dict[str, Any]]]:
    """What the sensors of the furnace's last loads with a record saw, by load; newest records."""
    last = (
        select(func.max(RecordVerdict.id).label("id"))
        .join(FurnaceRecord, FurnaceRecord.id == RecordVerdict.record_id)
        .join(Load, Load.id == FurnaceRecord.load_id)
        .where(Load.furnace_id == load.furnace_id, Load.id != load.id, goes_ahead(Load.id))
        .group_by(Load.id)
        .order_by(func.max(RecordVerdict.id).desc())
        .limit(EARLIER_LOADS)
        .subquery()
    )
    rows = session.execute(
        select(FurnaceRecord.load_id, RecordSummary.paper)
        .join(RecordVerdict, RecordVerdict.record_id == FurnaceRecord.id)
        .join(RecordSummary, RecordSummary.verdict_id == RecordVerdict.id)
        .join(last, last.c.id == RecordVerdict.id)
    )
    return {row.load_id: row.paper for row in rows}


def _places(session: Session, load_ids: Iterable[int]) -> dict[int, dict[str, tuple[int, str]]]:
    """Each load's channels with the place of the panel among the load's, and the station on it."""
    found: dict[int, dict[str, tuple[int, str]]] = {key: {} for key in load_ids}
    panels: dict[int, list[int]] = defaultdict(list)
    for load_id, panel_id in session.execute(
        select(LoadPanel.load_id, LoadPanel.panel_id)
        .where(LoadPanel.load_id.in_(found))
        .order_by(LoadPanel.id)
    ):
        panels[load_id].append(panel_id)
    for sensor in session.scalars(
        select(LoadSensor)
        .where(LoadSensor.load_id.in_(found))
        .where(LoadSensor.panel_id.is_not(None))
    ):
        if sensor.panel_id is not None:
            place = panels[sensor.load_id].index(sensor.panel_id)
            found[sensor.load_id][sensor.channel] = (place, sensor.station)
    return found


def _seen_before(session: Session, load_id: int, marks: Marks) -> tuple[SeenBefore, ...]:
    """Other loads' channels that share marks with this record's."""
    channels: dict[int, list[str]] = defaultdict(list)
    for channel, own in marks.items():
        for mark in own:
            channels[mark].append(channel)
    shared: dict[tuple[str, str, str], set[int]] = defaultdict(set)
    for mark, earlier, code in session.execute(
        select(TraceMark.mark, TraceMark.channel, Load.code)
        .join(FurnaceRecord, FurnaceRecord.id == TraceMark.record_id)
        .join(Load, Load.id == FurnaceRecord.load_id)
        .where(TraceMark.mark.in_(list(channels)), Load.id != load_id)
    ):
        for channel in channels[mark]:
            shared[channel, code, earlier].add(mark)
    return tuple(
        SeenBefore(channel, len(marks[channel]), code, earlier, len(found))
        for (channel, code, earlier), found in sorted(shared.items())
    )
