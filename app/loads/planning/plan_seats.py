"""What stands for and against the panels, coupons and sensors of a plan."""

from collections import Counter
from collections.abc import Sequence
from datetime import tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.documents.table import table_from_json
from app.equipment.records import Sensor
from app.judging.verdict import Finding, Outcome
from app.judging.witness.acceptance import Surface, Table
from app.judging.witness.coupon import Coupon as CouponOfTable
from app.judging.witness.coupons import find_entry, nearest_entries
from app.loads import queries
from app.loads.evidence import sensor_span_findings
from app.loads.planning.checked_plan import CheckedPlan
from app.loads.planning.planned import Plan, PlannedCoupon, PlannedPanel
from app.loads.records import LotException, SensorRole
from app.loads.rules import accepted_words, judge_lots, judge_treatments
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot, Panel
from app.people.records import Signature
from app.requirements.queries import Revision


def check_panels(session: Session, plan: Plan, checked: CheckedPlan) -> None:
    """Whether the panels may be aged now, and have an entry in their table."""
    if not plan.panels:
        checked.fails("plan.panels", "The plan has no panel; name at least one.")
    codes = [place.panel for place in plan.panels]
    _refuse_twice("panel", codes, checked)
    rows = session.execute(
        select(Panel, MaterialLot)
        .join(MaterialLot, MaterialLot.id == Panel.lot_id)
        .where(Panel.code.in_(codes))
    )
    checked.panels = {panel.code: (panel, lot) for panel, lot in rows}
    keys = [panel.id for panel, _ in checked.panels.values()]
    still_in = queries.unfinished_loads(session, keys)
    before = queries.loads_of_panels(session, keys)
    for place in plan.panels:
        if place.panel not in checked.panels:
            checked.fails("plan.unknown", f"No panel {place.panel} is on record.")
            continue
        panel, lot = checked.panels[place.panel]
        earlier = [load for load in before[panel.id] if not checked.is_own(load.code)]
        number = panel.treatments_before + len(earlier) + 1
        checked.treatment_numbers[panel.code] = number
        if panel.decided not in (Decided.OPEN, Decided.REWORK, Decided.REPAIR):
            checked.fails(
                "plan.decided", f"Panel {panel.code} is decided already: {panel.decided.value}."
            )
        if panel.id in still_in and not checked.is_own(still_in[panel.id]):
            checked.fails(
                "plan.elsewhere",
                f"Panel {panel.code} is still in load {still_in[panel.id]}, not yet unwrapped.",
            )
        most = panel.treatments_most
        checked.findings.append(judge_treatments(panel.code, number=number, most=most))
        _entry(place, panel, lot, checked)


def _entry(place: PlannedPanel, panel: Panel, lot: MaterialLot, checked: CheckedPlan) -> None:
    """Whether the table holds an entry for the panel's material and temper."""
    revision = checked.tables.get(place.panel)
    if revision is None:
        return
    table = table_from_json(revision.paper, filename=revision.code)
    wanted = as_the_table_looks(lot, panel, thickness_mm=lot.thickness_mm, surface=lot.surface)
    entry = find_entry(wanted, table)
    if entry is None:
        checked.fails("plan.entry", _no_entry(f"panel {panel.code}", wanted, table, revision))
        return
    checked.findings.append(
        Finding(
            "plan.entry",
            Outcome.CONFORMS,
            f"Panel {panel.code} is judged by {revision.code} revision {revision.revision}, "
            f"{entry.key}.",
            source=entry.source,
        )
    )


def as_the_table_looks(
    lot: MaterialLot, panel: Panel, *, thickness_mm: Decimal, surface: str
) -> CouponOfTable:
    """A coupon as a table looks it up."""
    return CouponOfTable(
        alloy=lot.alloy,
        temper=panel.target_temper,
        form=lot.form,
        thickness_mm=thickness_mm,
        surface=Surface(surface),
        readings=(),
    )


def _no_entry(thing: str, wanted: CouponOfTable, table: Table, revision: Revision) -> str:
    nearest = "; ".join(str(entry.key) for entry in nearest_entries(wanted, table))
    return (
        f"{revision.code} revision {revision.revision} has no entry for {thing} ({wanted}); "
        f"nearest: {nearest}."
    )


def _coupon_entry(place: PlannedCoupon, plan: Plan, checked: CheckedPlan) -> None:
    """Whether its panel's table holds an entry for the coupon as it was cut."""
    seat = next((one for one in plan.panels if one.panel == place.panel), None)
    revision = checked.tables.get(seat.panel) if seat is not None else None
    if revision is None or place.panel not in checked.panels:
        return
    coupon, lot = checked.coupons[place.coupon]
    table = table_from_json(revision.paper, filename=revision.code)
    wanted = as_the_table_looks(
        lot,
        checked.panels[place.panel][0],
        thickness_mm=coupon.thickness_mm,
        surface=coupon.surface,
    )
    if find_entry(wanted, table) is None:
        checked.fails(
            "plan.coupon_entry", _no_entry(f"coupon {coupon.code}", wanted, table, revision)
        )


def check_coupons(session: Session, plan: Plan, checked: CheckedPlan) -> None:
    """Whether the coupons are at hand, unused, and of their panels' lots."""
    codes = [place.coupon for place in plan.coupons]
    _refuse_twice("coupon", codes, checked)
    rows = session.execute(
        select(Coupon, MaterialLot)
        .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
        .where(Coupon.code.in_(codes))
    )
    checked.coupons = {coupon.code: (coupon, lot) for coupon, lot in rows}
    keys = [coupon.id for coupon, _ in checked.coupons.values()]
    seated = queries.seated_coupons(session, keys)
    missing = _missing(session, keys)
    accepted = _accepted(session, keys)
    for place in plan.coupons:
        if place.panel not in {panel.panel for panel in plan.panels}:
            checked.fails(
                "plan.coupon_panel",
                f"Coupon {place.coupon} is put on panel {place.panel}, which is not in this load.",
            )
        if place.coupon not in checked.coupons:
            checked.fails("plan.unknown", f"No coupon {place.coupon} is on record.")
            continue
        coupon = checked.coupons[place.coupon][0]
        if coupon.id in seated and not checked.is_own(seated[coupon.id]):
            checked.fails(
                "plan.coupon_used",
                f"Coupon {coupon.code} rode in load {seated[coupon.id]}; a coupon rides once.",
            )
        if coupon.id in missing:
            checked.fails("plan.coupon_missing", f"Coupon {coupon.code} is recorded as missing.")
        if place.panel in checked.panels:
            _judge_pair(place, checked, accepted)
            _coupon_entry(place, plan, checked)


def _judge_pair(
    place: PlannedCoupon, checked: CheckedPlan, accepted: dict[tuple[int, int], str]
) -> None:
    """Whether a coupon is of its panel's lot, or accepted for it."""
    coupon, lot = checked.coupons[place.coupon]
    panel, panel_lot = checked.panels[place.panel]
    said = accepted.get((coupon.id, panel.id))
    if lot.id != panel_lot.id and said is None:
        checked.foreign.append((coupon.code, panel.code))
    checked.findings.append(
        judge_lots(
            coupon.code,
            panel.code,
            coupon_lot=lot.code,
            panel_lot=panel_lot.code,
            accepted=said,
        )
    )


def _accepted(session: Session, coupon_ids: Sequence[int]) -> dict[tuple[int, int], str]:
    """Signed lot exceptions, by coupon and panel; one query."""
    rows = session.execute(
        select(
            LotException.coupon_id,
            LotException.panel_id,
            LotException.reason,
            Signature.printed_name,
        )
        .join(Signature, Signature.id == LotException.signature_id)
        .where(LotException.coupon_id.in_(coupon_ids))
    )
    return {
        (row.coupon_id, row.panel_id): accepted_words(row.printed_name, row.reason) for row in rows
    }


def _missing(session: Session, coupon_ids: Sequence[int]) -> set[int]:
    """The coupons whose last hand-over says missing; one query."""
    last: dict[int, Custody] = {}
    for row in session.execute(
        select(CustodyStep.coupon_id, CustodyStep.step)
        .where(CustodyStep.coupon_id.in_(coupon_ids))
        .order_by(CustodyStep.id)
    ):
        last[row.coupon_id] = row.step
    return {key for key, step in last.items() if step is Custody.MISSING}


def check_sensors(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    """Whether the sensors are on record, in calibration through the end, and on their channels."""
    codes = [place.sensor for place in plan.sensors]
    _refuse_twice("sensor", codes, checked)
    _refuse_twice("channel", [place.channel for place in plan.sensors], checked)
    rows = session.scalars(select(Sensor).where(Sensor.code.in_(codes)))
    checked.sensors = {sensor.code: sensor for sensor in rows}
    vacuum = checked.paper.get("vacuum") or {}
    panels = {panel.panel for panel in plan.panels}
    for place in plan.sensors:
        if place.sensor not in checked.sensors:
            checked.fails("plan.unknown", f"No sensor {place.sensor} is on record.")
        if place.channel == vacuum.get("column"):
            checked.fails(
                "plan.channel",
                f"Channel {place.channel} carries the bag's vacuum in this cycle; sensor "
                f"{place.sensor} needs a channel of its own.",
            )
        if place.role is SensorRole.LOAD and place.panel not in panels:
            checked.fails(
                "plan.sensor_panel",
                f"Load sensor {place.sensor} sits on no panel of this load; say which.",
            )
    deciding = {
        checked.sensors[place.sensor].id: place.sensor
        for place in plan.sensors
        if place.role is SensorRole.LOAD and place.sensor in checked.sensors
    }
    if not deciding:
        checked.fails("plan.sensors", "The plan has no load sensor on record; name at least one.")
    else:
        start, end = plan.planned_start, plan.planned_end
        checked.findings += sensor_span_findings(
            session, deciding, furnace=checked.furnace, start=start, end=end, zone=zone
        )


def _refuse_twice(thing: str, names: Sequence[str], checked: CheckedPlan) -> None:
    for name, times in Counter(names).items():
        if times > 1:
            checked.fails("plan.twice", f"The {thing} {name} stands in the plan {times} times.")
