"""The decision to run a load: its plan is kept with its seats."""

from datetime import datetime, tzinfo

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database
from app.errors import Refusal
from app.judging.verdict import Finding
from app.loads.planning.checked_plan import CheckedPlan
from app.loads.planning.plan_check import check_plan
from app.loads.planning.planned import Plan, PlannedCoupon, PlannedSensor
from app.loads.records import Load, LoadCoupon, LoadPanel, LoadSensor
from app.loads.rules import blocking, supplier
from app.panels.records import Custody, CustodyStep
from app.people.rights import Act, require


def plan_load(
    database: Database, plan: Plan, *, by: Actor, at: datetime, zone: tzinfo
) -> list[Finding]:
    """Keep the plan, place its coupons, and hand back the findings it was kept with.

    ``zone`` is the shop's, in which papers fall due.

    Raises:
        NotAllowed: the person plans no loads.
        Refusal: something would fail in the morning; one sentence for each such thing.
        Conflict: the load's identity is taken.
    """
    require(by, Act.PLAN_LOAD)
    code = as_code(plan.code)
    with database.write() as session:
        checked = check_plan(session, plan, at=at, zone=zone)
        against = blocking(checked.findings)
        if against:
            raise Refusal(
                "The load cannot be planned so: "
                + " ".join(f"{one.text} ({supplier(one)})" for one in against)
            )
        identity = claim(session, code, kind="load", at=at)
        assert checked.furnace is not None and checked.cycle is not None  # noqa: S101, PT018 - else it is blocked
        load = Load(
            code=code,
            furnace_id=checked.furnace.id,
            cycle_revision_id=checked.cycle.id,
            planned_start=plan.planned_start,
            planned_end=plan.planned_end,
            vacuum_gauge_id=checked.gauge.id if checked.gauge is not None else None,
            planned_by_id=by.id,
            planned_at=at,
        )
        session.add_all([identity, load])
        session.flush()
        rows = [identity, load, *_seats(plan, checked, load)]
        rows += [_placed(place, checked, by=by, at=at) for place in plan.coupons]
        session.add_all(rows)
        append(session, Tag.LOAD_PLANNED, by=by, at=at, about=("load", code), rows=rows)
    return checked.findings


def _seats(plan: Plan, checked: CheckedPlan, load: Load) -> list[Base]:
    """The load's panels, coupons and sensors as rows."""
    panel_ids = {code: panel.id for code, (panel, _) in checked.panels.items()}
    rows: list[Base] = [
        LoadPanel(
            load_id=load.id,
            panel_id=panel_ids[place.panel],
            table_revision_id=checked.tables[place.panel].id,
            former=place.former,
            treatment_number=checked.treatment_numbers[place.panel],
            x_mm=place.x_mm,
            y_mm=place.y_mm,
            turned=place.turned,
            governed=checked.governed[place.panel],
        )
        for place in plan.panels
    ]
    rows += [
        LoadCoupon(
            load_id=load.id,
            panel_id=panel_ids[place.panel],
            coupon_id=checked.coupons[place.coupon][0].id,
            station=place.station,
            x=place.x,
            y=place.y,
        )
        for place in plan.coupons
    ]
    return rows + [_sensor_seat(place, checked, load, panel_ids) for place in plan.sensors]


def _sensor_seat(
    place: PlannedSensor, checked: CheckedPlan, load: Load, panel_ids: dict[str, int]
) -> LoadSensor:
    return LoadSensor(
        load_id=load.id,
        sensor_id=checked.sensors[place.sensor].id,
        panel_id=panel_ids[place.panel] if place.panel is not None else None,
        channel=place.channel,
        role=place.role,
        station=place.station,
        x=place.x,
        y=place.y,
    )


def _placed(place: PlannedCoupon, checked: CheckedPlan, *, by: Actor, at: datetime) -> CustodyStep:
    return CustodyStep(
        coupon_id=checked.coupons[place.coupon][0].id,
        step=Custody.PLACED,
        place=f"{place.panel}, {place.station}"[:80],
        note="",
        by_id=by.id,
        taken_at=at,
        entered_at=at,
    )
