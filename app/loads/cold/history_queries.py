"""What a furnace's last loads saw, place by place; a fixed number of queries however many loads."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from statistics import fmean
from typing import Any

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from app.errors import Refusal
from app.loads.cold.place_history import LoadSeen, PlaceHistory, Seen, place_histories
from app.loads.cold.survey_pattern import Placed
from app.loads.judged import cycle_as_judged
from app.loads.planning.positions import in_zone
from app.loads.queries import goes_ahead
from app.loads.records import (
    FurnaceRecord,
    Load,
    LoadPanel,
    LoadSensor,
    RecordSummary,
    RecordVerdict,
    SensorRole,
)
from app.panels.records import Panel

SPANS = (10, 20, 50, 100)
"""How many loads back the page offers to look."""
SQUARE_MM = 500
"""Edge of the squares that places in the zone are told apart by: about what loads are laid to."""


class Grouping(StrEnum):
    """By what sensors of different loads are held to be at one place."""

    STATION = "station"
    ZONE = "zone"


def grouping_named(name: str) -> Grouping:
    """The grouping of an address; none named is by station.

    Raises:
        Refusal: there is no such grouping.
    """
    if not name:
        return Grouping.STATION
    try:
        return Grouping(name)
    except ValueError:
        raise Refusal(f"Places are told apart by station or by zone, not by {name}.") from None


def span_named(loads: int) -> int:
    """How many loads to look back over.

    Raises:
        Refusal: it is none of those offered.
    """
    if loads not in SPANS:
        offered = ", ".join(map(str, SPANS))
        raise Refusal(f"The history reads the last {offered} loads, not {loads}; choose one.")
    return loads


@dataclass(frozen=True, slots=True)
class LoadLine:
    """A load that the history rests on."""

    code: str
    at: datetime
    verdict: str


@dataclass(frozen=True, slots=True)
class FurnaceHistory:
    """The last loads, oldest first, and every place, coldest first.

    ``without_summary`` are loads whose sensors' figures were not kept with the verdict, and
    ``unplaced`` counts sensors left out because their place is not on record. ``placed`` are the
    places whose position in the zone is known, with their mean distance from their loads' means.
    ``set_c`` is the set temperature of the newest load's longest stage; None without loads.
    """

    loads: tuple[LoadLine, ...]
    places: list[PlaceHistory]
    without_summary: tuple[str, ...]
    unplaced: int
    placed: tuple[Placed, ...]
    set_c: float | None


@dataclass(frozen=True, slots=True)
class _Seat:
    """Where a required sensor sat in a load."""

    station: str
    zone: tuple[float, float] | None


def furnace_history(
    session: Session, furnace_id: int, *, loads: int, by: Grouping
) -> FurnaceHistory:
    """The furnace's last loads that have a verdict and were not cancelled; two queries.

    A load counts by the verdict that stands on its record that stands.
    """
    rows = _verdicts(session, furnace_id, loads)
    kept = [row for row in rows if row.paper is not None]
    seats = _seats(session, [row.id for row in kept])
    gathered = _Gathered(by)
    seen = [gathered.load(row.code, row.paper, seats[row.id]) for row in kept]
    places = place_histories(seen)
    return FurnaceHistory(
        loads=tuple(LoadLine(row.code, row.at, row.verdict) for row in rows),
        places=places,
        without_summary=tuple(row.code for row in rows if row.paper is None),
        unplaced=gathered.unplaced,
        placed=gathered.placed(places),
        set_c=_longest_set_c(rows[-1].cycle_as_judged) if rows else None,
    )


def _longest_set_c(cycle_paper: dict[str, Any]) -> float:
    return max(cycle_as_judged(cycle_paper).stages, key=lambda stage: stage.soak_min_s).set_c


class _Gathered:
    """Sensors gathered by place, load after load, with where each place was in the zone."""

    def __init__(self, by: Grouping) -> None:
        self._by = by
        self._where: dict[str, list[tuple[float, float]]] = defaultdict(list)
        self.unplaced = 0

    def load(
        self, code: str, summary: Sequence[Mapping[str, Any]], seats: Mapping[str, _Seat]
    ) -> LoadSeen:
        """One load's sensors; those without a place are counted and left out."""
        sensors = []
        for one in summary:
            seat = seats.get(one["channel"])
            place = None if seat is None else _place(seat, self._by)
            if seat is None or place is None:
                self.unplaced += 1
                continue
            if seat.zone is not None:
                self._where[place].append(seat.zone)
            sensors.append(Seen(place, one["arrival_s"], one["mean_c"]))
        return LoadSeen(code, tuple(sensors))

    def placed(self, places: Sequence[PlaceHistory]) -> tuple[Placed, ...]:
        """The places at the middle of where they were in the zone, as far as that is known."""
        return tuple(
            Placed(
                one.place,
                fmean(x for x, _ in self._where[one.place]),
                fmean(y for _, y in self._where[one.place]),
                one.offset_c,
            )
            for one in places
            if one.offset_c is not None and self._where[one.place]
        )


def _place(seat: _Seat, by: Grouping) -> str | None:
    """The place a seat stands for; None where its position in the zone is asked and not known."""
    if by is Grouping.STATION:
        return seat.station
    if seat.zone is None:
        return None
    x, y = (int(at // SQUARE_MM) * SQUARE_MM for at in seat.zone)
    return f"x {x} to {x + SQUARE_MM} mm, y {y} to {y + SQUARE_MM} mm"


def _verdicts(session: Session, furnace_id: int, most: int) -> Sequence[Any]:
    """The last loads with their standing verdicts and summaries, oldest first."""
    record = (
        select(func.max(FurnaceRecord.id))
        .where(FurnaceRecord.load_id == Load.id)
        .correlate(Load)
        .scalar_subquery()
    )
    verdict = (
        select(func.max(RecordVerdict.id))
        .where(RecordVerdict.record_id == FurnaceRecord.id)
        .correlate(FurnaceRecord)
        .scalar_subquery()
    )
    at = func.coalesce(FurnaceRecord.starts_at, Load.planned_start)
    # Chosen first by keys and times alone: to sort every load's papers would be slow.
    last = (
        select(Load.id.label("load_id"), FurnaceRecord.id.label("record_id"), at.label("at"))
        .join(FurnaceRecord, FurnaceRecord.id == record)
        .where(
            Load.furnace_id == furnace_id,
            goes_ahead(Load.id),
            exists().where(RecordVerdict.record_id == FurnaceRecord.id),
        )
        .order_by(at.desc(), Load.id.desc())
        .limit(most)
        .subquery()
    )
    # More columns than the typed select knows, here and below.
    rows: Any = session.execute(
        select(
            Load.id,
            Load.code,
            last.c.at,
            RecordVerdict.verdict,
            RecordVerdict.cycle_as_judged,
            RecordSummary.paper,
        )
        .select_from(last)
        .join(Load, Load.id == last.c.load_id)
        .join(FurnaceRecord, FurnaceRecord.id == last.c.record_id)
        .join(RecordVerdict, RecordVerdict.id == verdict)
        .outerjoin(RecordSummary, RecordSummary.verdict_id == RecordVerdict.id)
        .order_by(last.c.at.desc(), Load.id.desc())
    )
    return list(rows)[::-1]


def _seats(session: Session, load_ids: Sequence[int]) -> dict[int, dict[str, _Seat]]:
    """The load sensors' seats by load and channel; one query.

    A station counts on its panel's place among those with sensors: station T1 of a load's second
    panel is another place than T1 of its first.
    """
    rows: Any = session.execute(
        select(
            LoadSensor.load_id,
            LoadSensor.channel,
            LoadSensor.station,
            LoadSensor.x,
            LoadSensor.y,
            LoadPanel.id.label("seat"),
            LoadPanel.x_mm,
            LoadPanel.y_mm,
            LoadPanel.turned,
            Panel.length_mm,
            Panel.width_mm,
        )
        .join(
            LoadPanel,
            (LoadPanel.load_id == LoadSensor.load_id) & (LoadPanel.panel_id == LoadSensor.panel_id),
        )
        .join(Panel, Panel.id == LoadPanel.panel_id)
        .where(LoadSensor.load_id.in_(load_ids), LoadSensor.role == SensorRole.LOAD)
        .order_by(LoadPanel.id, LoadSensor.id)
    )
    found: dict[int, dict[str, _Seat]] = {key: {} for key in load_ids}
    panels: dict[int, list[int]] = defaultdict(list)
    for row in rows:
        own = panels[row.load_id]
        if row.seat not in own:
            own.append(row.seat)
        station = f"panel {own.index(row.seat) + 1}, {row.station}"
        found[row.load_id][row.channel] = _Seat(station, _in_zone(row))
    return found


def _in_zone(row: Any) -> tuple[float, float] | None:
    """Where a sensor of a panel lay in the furnace, in mm; None where it is not on record."""
    if row.x is None or row.y is None:
        return None
    at = in_zone(row, length_mm=row.length_mm, width_mm=row.width_mm, along=row.x, across=row.y)
    return None if at is None else (float(at[0]), float(at[1]))
