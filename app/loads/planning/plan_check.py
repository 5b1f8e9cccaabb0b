"""Look up what a plan names and say now what would fail in the morning.

The same gates are judged again when the door closes (:mod:`app.loads.service.run`), then of the
load as it is on record and through its expected end.
"""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.records import Furnace, VacuumGauge
from app.judging.verdict import Finding, Outcome
from app.loads import queries
from app.loads.evidence import furnace_span_findings, gauge_span_findings, zone_findings
from app.loads.planning.checked_plan import CheckedPlan
from app.loads.planning.plan_governing import check_extras, check_governing
from app.loads.planning.plan_holds import check_holds
from app.loads.planning.plan_seats import check_coupons, check_panels, check_sensors
from app.loads.planning.planned import Plan, PlannedCoupon, PlannedPanel, PlannedSensor
from app.loads.planning.positions import corners, overlaps
from app.loads.records import Load, SensorRole
from app.loads.rules import judge_count, judge_length, soak_time
from app.loads.run_queries import furnace_taken

__all__ = ["CheckedPlan", "Plan", "PlannedCoupon", "PlannedPanel", "PlannedSensor", "check_plan"]
_LATE_ENTRY = timedelta(hours=12)


def check_plan(
    session: Session, plan: Plan, *, at: datetime, zone: tzinfo, own: Load | None = None
) -> CheckedPlan:
    """Everything that stands for and against the plan; ``at`` is when it is made.

    Unverified or withdrawn requirements, papers not in date through the planned end, too coarse a
    furnace, too few coupons or sensors, a coupon of another lot, places outside the surveyed zone,
    too many treatments, and names that are not on record. ``own`` as in :class:`CheckedPlan`.
    """
    checked = CheckedPlan(own=own)
    checked.furnace = session.scalars(
        select(Furnace).where(Furnace.code == plan.furnace)
    ).one_or_none()
    check_governing(session, plan, checked, zone)
    if own is not None:
        _pinned(session, plan, checked, own)
    _length(plan, checked)
    check_panels(session, plan, checked)
    check_extras(session, plan, checked, zone)
    check_coupons(session, plan, checked)
    check_sensors(session, plan, checked, zone)
    check_holds(session, plan, checked)
    _furnace(session, plan, checked, zone)
    _counts(plan, checked)
    if own is None and plan.planned_start < at - _LATE_ENTRY:
        late = plan.planned_start.astimezone(zone).strftime("%Y-%m-%d %H:%M")
        says = f"The planned start, {late}, is past: this is a late entry."
        checked.findings.append(Finding("plan.late", Outcome.NOTE, says))
    return checked


def _pinned(session: Session, plan: Plan, checked: CheckedPlan, own: Load) -> None:
    """Whether the revisions the load was planned with are still those that govern it."""
    seated = queries.seats(session, own.id).panels
    pairs = [(plan.cycle, own.cycle_revision_id, checked.cycle)]
    pairs += [
        (place.table, seat.table_revision_id, checked.tables.get(place.panel))
        for place, seat in zip(plan.panels, seated, strict=True)
    ]
    moved = {
        (code, now.revision)
        for code, planned, now in pairs
        if now is not None and now.id != planned
    }
    for code, revision in sorted(moved):
        checked.fails(
            "plan.revision",
            f"{code} revision {revision} governs now, and the load was planned with another; "
            "cancel the load and plan it anew.",
        )


def _length(plan: Plan, checked: CheckedPlan) -> None:
    """Whether the declared length leaves room for the soaks."""
    if plan.planned_end is None:
        checked.fails(
            "plan.length",
            "The plan does not say how long the load takes; give the hours from door closed to "
            "taken out, so that papers can be checked through the end.",
        )
    elif checked.cycle is not None:
        soaks = soak_time(checked.paper)
        checked.findings.append(judge_length(plan.planned_start, plan.planned_end, soaks=soaks))


def _furnace(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    """The furnace's and the gauge's papers through the end, and where everything lies in it."""
    _gauge(session, plan, checked, zone)
    if checked.furnace is None:
        checked.fails("plan.unknown", f"No furnace {plan.furnace} is on record.")
        return
    start, end = plan.planned_start, plan.planned_end
    if checked.cycle is not None:
        checked.findings += furnace_span_findings(
            session, checked.furnace, start=start, end=end, cycle_paper=checked.paper, zone=zone
        )
    checked.findings += _positions(session, plan, checked, zone)
    taken = furnace_taken(session, checked.furnace.id, start=start, end=end)
    others = [code for code in taken if not checked.is_own(code)]
    if others:
        says = f"Furnace {plan.furnace} is planned for {', '.join(others)} at that time too."
        checked.findings.append(Finding("plan.furnace_taken", Outcome.NOTE, says))


def _gauge(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    if plan.vacuum_gauge is not None:
        checked.gauge = session.scalars(
            select(VacuumGauge).where(VacuumGauge.code == plan.vacuum_gauge)
        ).one_or_none()
        if checked.gauge is None:
            checked.fails("plan.unknown", f"No vacuum gauge {plan.vacuum_gauge} is on record.")
            return
    checked.findings += gauge_span_findings(
        session,
        checked.gauge.id if checked.gauge is not None else None,
        furnace=checked.furnace,
        start=plan.planned_start,
        end=plan.planned_end,
        zone=zone,
        wanted=bool(checked.paper.get("vacuum")),
    )


def _positions(
    session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo
) -> Sequence[Finding]:
    """Whether panels, coupons and sensors lie in the surveyed zone; overlaps are a note."""
    places = []
    laid = {}
    for place in plan.panels:
        if place.panel in checked.panels:
            panel = checked.panels[place.panel][0]
            size = {"length_mm": panel.length_mm, "width_mm": panel.width_mm}
            ends = corners(place.panel, place, **size)
            places += ends
            near, far = ends
            sides = (near.x_mm, near.y_mm, far.x_mm, far.y_mm)
            known = tuple(side for side in sides if side is not None)
            if len(known) == len(sides):
                laid[place.panel] = known
    assert checked.furnace is not None  # noqa: S101 - the caller has looked
    found = list(
        zone_findings(session, checked.furnace, places, start=plan.planned_start, zone=zone)
    )
    for one, other in overlaps(list(laid.items())):
        says = f"Panels {one} and {other} lie over one another in plan; make sure that they may."
        found.append(Finding("plan.overlap", Outcome.NOTE, says))
    return found


def _counts(plan: Plan, checked: CheckedPlan) -> None:
    """Coupons and load sensors of each panel against the cycle's shop rules."""
    rules = checked.cycle.shop_rules if checked.cycle is not None else {}
    coupons = Counter(place.panel for place in plan.coupons)
    sensors = Counter(place.panel for place in plan.sensors if place.role is SensorRole.LOAD)
    for panel in dict.fromkeys(place.panel for place in plan.panels):
        for thing, counted, rule in (
            ("coupon", coupons, "coupons_per_panel"),
            ("load sensor", sensors, "sensors_per_panel"),
        ):
            least = int(rules[rule]) if rule in rules else None
            found = counted[panel]
            checked.findings.append(judge_count(panel, thing, found=found, least=least))
