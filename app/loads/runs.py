"""What is read about loads as they ran, for the evidence around them; many loads at once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import BindParameter, bindparam, func, select
from sqlalchemy.orm import Session

from app.loads import queries
from app.loads.records import (
    FurnaceRecord,
    Load,
    LoadEnd,
    LoadPanel,
    LoadSensor,
    LoadStart,
    SensorExclusion,
    SensorRole,
)
from app.panels.records import Panel
from app.requirements.records import RequirementRevision

Uses = Mapping[int, tuple[int, datetime]]
"""By sensor: which use of it a load is, counting from 1, and the start of the first."""


@dataclass(frozen=True, slots=True)
class PanelLaid:
    """A panel of a load and where it lay in the furnace's zone; None: not on record."""

    id: int
    code: str
    length_mm: Decimal
    width_mm: Decimal
    x_mm: Decimal | None
    y_mm: Decimal | None
    turned: bool | None


@dataclass(frozen=True, slots=True)
class SensorRun:
    """A load sensor of a load, and whether it was excluded later."""

    sensor_id: int
    channel: str
    panel_id: int | None
    excluded: bool


@dataclass(frozen=True, slots=True)
class Run:
    """A load with what its evidence is asked for."""

    id: int
    furnace_id: int
    gauge_id: int | None
    cycle_paper: dict[str, Any]
    shop_rules: dict[str, str]
    planned_start: datetime
    recorded_start: datetime | None
    starts_at: datetime
    """The record's first sample; else when the start was entered; else as planned."""
    ends_at: datetime | None
    """The record's last sample; else when the end was entered; else as planned; else None."""
    panels: tuple[PanelLaid, ...]
    sensors: tuple[SensorRun, ...]

    @property
    def required(self) -> dict[int, str]:
        """The sensors that decide the soak: key to channel."""
        return {one.sensor_id: one.channel for one in self.sensors if not one.excluded}


def runs(session: Session, load_ids: Iterable[int]) -> dict[int, Run]:
    """Loads as they ran, by key; four queries however many loads."""
    keys = sorted(set(load_ids))
    if not keys:
        return {}
    rows = _rows(session, keys)
    papers = _papers(session, {row.cycle_revision_id for row in rows})
    panels, sensors = _panels(session, keys), _sensors(session, keys)
    return {
        row.id: _run(row, *papers[row.cycle_revision_id], panels[row.id], sensors[row.id])
        for row in rows
    }


def sensor_uses(session: Session, load_ids: Iterable[int]) -> dict[int, Uses]:
    """Which use of each sensor each load was, and when the first was; by load; one query."""
    found: dict[int, dict[int, tuple[int, datetime]]] = {key: {} for key in load_ids}
    if found:
        for row in session.execute(_USES, {"keys": list(found)}):
            found[row.load_id][row.sensor_id] = (row.uses, row.first)
    return dict(found)


def planned_uses(session: Session, sensor_ids: Iterable[int], *, start: datetime) -> Uses:
    """Which use of each sensor a load planned for ``start`` would be, and when the first was.

    Loads that start then are counted as used before; cancelled ones are not counted.
    """
    query = (
        select(
            LoadSensor.sensor_id,
            func.count().label("uses"),
            func.min(Load.planned_start).label("first"),
        )
        .join(Load, Load.id == LoadSensor.load_id)
        .where(LoadSensor.sensor_id.in_(sorted(set(sensor_ids))), queries.goes_ahead(Load.id))
        .where(Load.planned_start <= start)
        .group_by(LoadSensor.sensor_id)
    )
    return {row.sensor_id: (row.uses + 1, row.first) for row in session.execute(query)}


# Built once: putting a statement together takes longer than running it for one load.
_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_RUNS: Any = (
    select(
        Load.id,
        Load.furnace_id,
        Load.vacuum_gauge_id,
        Load.cycle_revision_id,
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
    .where(Load.id.in_(_KEYS), queries.in_use())
    .order_by(FurnaceRecord.id)
)
_PAPERS = select(
    RequirementRevision.id, RequirementRevision.paper, RequirementRevision.shop_rules
).where(RequirementRevision.id.in_(_KEYS))
_PANELS: Any = (
    select(
        LoadPanel.load_id,
        Panel.id,
        Panel.code,
        Panel.length_mm,
        Panel.width_mm,
        LoadPanel.x_mm,
        LoadPanel.y_mm,
        LoadPanel.turned,
    )
    .join(Panel, Panel.id == LoadPanel.panel_id)
    .where(LoadPanel.load_id.in_(_KEYS))
    .order_by(LoadPanel.id)
)
_SENSORS = (
    select(
        LoadSensor.load_id,
        LoadSensor.sensor_id,
        LoadSensor.channel,
        LoadSensor.panel_id,
        SensorExclusion.id.is_not(None).label("excluded"),
    )
    .outerjoin(SensorExclusion, SensorExclusion.load_sensor_id == LoadSensor.id)
    .where(LoadSensor.load_id.in_(_KEYS), LoadSensor.role == SensorRole.LOAD)
    .order_by(LoadSensor.id)
)


def _uses() -> Any:
    own = select(LoadSensor.sensor_id).where(LoadSensor.load_id.in_(_KEYS))
    counted = (
        select(
            LoadSensor.load_id,
            LoadSensor.sensor_id,
            func.row_number()
            .over(partition_by=LoadSensor.sensor_id, order_by=(Load.planned_start, Load.id))
            .label("uses"),
            func.min(Load.planned_start).over(partition_by=LoadSensor.sensor_id).label("first"),
        )
        .join(Load, Load.id == LoadSensor.load_id)
        .where(LoadSensor.sensor_id.in_(own), queries.goes_ahead(Load.id))
        .subquery()
    )
    return select(counted).where(counted.c.load_id.in_(_KEYS))


_USES = _uses()


def _rows(session: Session, keys: Sequence[int]) -> Sequence[Any]:
    return list({row.id: row for row in session.execute(_RUNS, {"keys": keys})}.values())


def _papers(
    session: Session, revision_ids: Iterable[int]
) -> dict[int, tuple[dict[str, Any], dict[str, str]]]:
    found = session.execute(_PAPERS, {"keys": list(revision_ids)})
    return {row.id: (row.paper, row.shop_rules) for row in found}


def _panels(session: Session, keys: Sequence[int]) -> dict[int, list[PanelLaid]]:
    found: dict[int, list[PanelLaid]] = {key: [] for key in keys}
    for load_id, *laid in session.execute(_PANELS, {"keys": keys}):
        found[load_id].append(PanelLaid(*laid))
    return found


def _sensors(session: Session, keys: Sequence[int]) -> dict[int, list[SensorRun]]:
    found: dict[int, list[SensorRun]] = {key: [] for key in keys}
    for load_id, sensor_id, channel, panel_id, excluded in session.execute(
        _SENSORS, {"keys": keys}
    ):
        found[load_id].append(SensorRun(sensor_id, channel, panel_id, bool(excluded)))
    return found


def _run(
    row: Any,
    cycle_paper: dict[str, Any],
    shop_rules: dict[str, str],
    panels: Sequence[PanelLaid],
    sensors: Sequence[SensorRun],
) -> Run:
    starts_at = row.starts_at or row.started_at or row.planned_start
    ends_at = row.ended_at or row.planned_end
    if row.length_s is not None:
        ends_at = starts_at + timedelta(seconds=float(row.length_s))
    return Run(
        id=row.id,
        furnace_id=row.furnace_id,
        gauge_id=row.vacuum_gauge_id,
        cycle_paper=cycle_paper,
        shop_rules=shop_rules,
        planned_start=row.planned_start,
        recorded_start=row.starts_at,
        starts_at=starts_at,
        ends_at=ends_at,
        panels=tuple(panels),
        sensors=tuple(sensors),
    )
