"""A load as it is planned: what is typed, and the same read back from a load on record."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.records import Furnace, VacuumGauge
from app.loads import queries
from app.loads.records import Load, SensorRole
from app.requirements import queries as requirements


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPanel:
    """A panel on its former, and the acceptance table that will judge its coupons.

    ``x_mm`` and ``y_mm`` place its lower left corner in the furnace's surveyed zone; ``turned``
    where its length lies across the zone. ``table_revision`` is the revision that the planner asks
    for; None: whichever governs.
    """

    panel: str
    former: str
    table: str
    x_mm: Decimal | None = None
    y_mm: Decimal | None = None
    turned: bool = False
    table_revision: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedCoupon:
    """A coupon's station on a panel: x along the length, y across, 0 to 1."""

    coupon: str
    panel: str
    station: str
    x: Decimal
    y: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSensor:
    """A sensor's logger channel and station; a control sensor may sit on no panel."""

    sensor: str
    channel: str
    role: SensorRole
    station: str
    panel: str | None = None
    x: Decimal | None = None
    y: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A load as planned. Furnace, cycle, gauge, panels, tables, coupons, sensors by identity.

    ``planned_end`` is the planned start with the declared length, door closed to taken out;
    ``vacuum_gauge`` the gauge on the logger's vacuum channel. ``cycle_revision`` is the revision
    that the planner asks for; None: whichever governs.
    """

    code: str
    furnace: str
    cycle: str
    planned_start: datetime
    planned_end: datetime | None
    vacuum_gauge: str | None
    panels: tuple[PlannedPanel, ...]
    coupons: tuple[PlannedCoupon, ...]
    sensors: tuple[PlannedSensor, ...]
    cycle_revision: str | None = None


def plan_of_load(session: Session, load: Load) -> Plan:
    """The plan that a load was kept with, its revisions named; excluded sensors are in it too."""
    seats = queries.seats(session, load.id)
    panel_codes = {panel.id: panel.code for panel in seats.panels}
    tables = {
        key: requirements.revision(session, key)
        for key in dict.fromkeys(panel.table_revision_id for panel in seats.panels)
    }
    cycle = requirements.revision(session, load.cycle_revision_id)
    gauge = None
    if load.vacuum_gauge_id is not None:
        gauge = session.scalars(
            select(VacuumGauge.code).where(VacuumGauge.id == load.vacuum_gauge_id)
        ).one()
    return Plan(
        code=load.code,
        furnace=session.get_one(Furnace, load.furnace_id).code,
        cycle=cycle.code,
        cycle_revision=cycle.revision,
        planned_start=load.planned_start,
        planned_end=load.planned_end,
        vacuum_gauge=gauge,
        panels=tuple(
            PlannedPanel(
                panel=panel.code,
                former=panel.former,
                table=tables[panel.table_revision_id].code,
                table_revision=tables[panel.table_revision_id].revision,
                x_mm=panel.x_mm,
                y_mm=panel.y_mm,
                turned=bool(panel.turned),
            )
            for panel in seats.panels
        ),
        coupons=tuple(
            PlannedCoupon(
                coupon=coupon.code,
                panel=panel_codes[coupon.panel_id],
                station=coupon.station,
                x=coupon.x,
                y=coupon.y,
            )
            for coupon in seats.coupons
        ),
        sensors=tuple(
            PlannedSensor(
                sensor=sensor.code,
                channel=sensor.channel,
                role=sensor.role,
                station=sensor.station,
                panel=panel_codes.get(sensor.panel_id) if sensor.panel_id is not None else None,
                x=sensor.x,
                y=sensor.y,
            )
            for sensor in seats.sensors
        ),
    )
