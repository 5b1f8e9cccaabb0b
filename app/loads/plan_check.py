"""Look up what a plan names and say now what would fail in the morning."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.documents.table import table_from_json
from app.equipment.records import Furnace, Sensor
from app.judging.acceptance import Surface, Table
from app.judging.coupon import Coupon as CouponOfTable
from app.judging.coupons import find_entry, nearest_entries
from app.judging.verdict import Finding, Outcome
from app.loads import queries
from app.loads.evidence import furnace_day_findings, sensor_day_finding
from app.loads.records import SensorRole
from app.loads.rules import judge_count, judge_lots, judge_treatments
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot, Panel
from app.requirements import queries as requirements
from app.requirements.queries import Revision
from app.requirements.records import RequirementKind

_LATE_ENTRY = timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPanel:
    """A panel on its former, and the acceptance table that will judge its coupons."""

    panel: str
    former: str
    table: str


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
    """A load as planned. Furnace, cycle, panels, tables, coupons and sensors by identity."""

    code: str
    furnace: str
    cycle: str
    planned_start: datetime
    panels: tuple[PlannedPanel, ...]
    coupons: tuple[PlannedCoupon, ...]
    sensors: tuple[PlannedSensor, ...]


@dataclass
class CheckedPlan:
    """The rows that a plan names, as far as they are on record, and every finding."""

    findings: list[Finding] = field(default_factory=list)
    furnace: Furnace | None = None
    cycle: Revision | None = None
    tables: dict[str, Revision] = field(default_factory=dict)
    panels: dict[str, tuple[Panel, MaterialLot]] = field(default_factory=dict)
    treatment_numbers: dict[str, int] = field(default_factory=dict)
    coupons: dict[str, tuple[Coupon, MaterialLot]] = field(default_factory=dict)
    sensors: dict[str, Sensor] = field(default_factory=dict)

    def fails(self, code: str, text: str) -> None:
        """Add a finding that stands against the plan."""
        self.findings.append(Finding(code, Outcome.DOES_NOT_CONFORM, text))


def check_plan(session: Session, plan: Plan, *, at: datetime, zone: tzinfo) -> CheckedPlan:
    """Everything that stands for and against the plan; ``at`` is when it is made.

    Unverified or withdrawn requirements, overdue papers, too coarse a furnace, too few coupons or
    sensors, a coupon of another lot, too many treatments, and names that are not on record.
    """
    checked = CheckedPlan()
    _requirements(session, plan, checked)
    _furnace(session, plan, checked, zone)
    _panels(session, plan, checked)
    _coupons(session, plan, checked)
    _sensors(session, plan, checked, zone)
    _counts(plan, checked)
    if plan.planned_start < at - _LATE_ENTRY:
        late = plan.planned_start.astimezone(zone).strftime("%Y-%m-%d %H:%M")
        says = f"The planned start, {late}, is past: this is a late entry."
        checked.findings.append(Finding("plan.late", Outcome.NOTE, says))
    return checked


def _requirements(session: Session, plan: Plan, checked: CheckedPlan) -> None:
    """The cycle's and the tables' revisions in force at the planned start."""
    checked.cycle = _in_force(session, RequirementKind.CYCLE, plan.cycle, plan, checked)
    for code in dict.fromkeys(place.table for place in plan.panels):
        found = _in_force(session, RequirementKind.ACCEPTANCE_TABLE, code, plan, checked)
        if found is not None:
            checked.tables[code] = found


def _in_force(
    session: Session, kind: RequirementKind, code: str, plan: Plan, checked: CheckedPlan
) -> Revision | None:
    known = requirements.revisions(session, kind=kind, code=code)
    if not known:
        checked.fails("plan.unknown", f"No {kind.value} {code} is on record.")
        return None
    in_force = [revision for revision in known if revision.in_force(plan.planned_start)]
    if not in_force:
        newest = known[-1]
        why = "nobody has verified it" if newest.verified_at is None else "it is not in force then"
        checked.fails(
            f"plan.{kind.name.lower()}",
            f"The {kind.value} {code} has no revision in force at the planned start: its newest is "
            f"{newest.revision}, and {why}. A supervisor who did not write it can verify it.",
        )
        return None
    checked.findings.append(
        Finding(
            f"plan.{kind.name.lower()}",
            Outcome.CONFORMS,
            f"The {kind.value} {code} revision {in_force[-1].revision} is verified and in force.",
            source=in_force[-1].source_document,
        )
    )
    return in_force[-1]


def _furnace(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    checked.furnace = session.scalars(
        select(Furnace).where(Furnace.code == plan.furnace)
    ).one_or_none()
    if checked.furnace is None:
        checked.fails("plan.unknown", f"No furnace {plan.furnace} is on record.")
    elif checked.cycle is not None:
        day = plan.planned_start.astimezone(zone).date()
        checked.findings += furnace_day_findings(
            session, checked.furnace, day=day, cycle_paper=checked.cycle.paper
        )


def _panels(session: Session, plan: Plan, checked: CheckedPlan) -> None:
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
        number = panel.treatments_before + len(before[panel.id]) + 1
        checked.treatment_numbers[panel.code] = number
        if panel.decided not in (Decided.OPEN, Decided.REWORK, Decided.REPAIR):
            checked.fails(
                "plan.decided", f"Panel {panel.code} is decided already: {panel.decided.value}."
            )
        if panel.id in still_in:
            checked.fails(
                "plan.elsewhere",
                f"Panel {panel.code} is still in load {still_in[panel.id]}, not yet unwrapped.",
            )
        most = panel.treatments_most
        checked.findings.append(judge_treatments(panel.code, number=number, most=most))
        _entry(place, panel, lot, checked)


def _entry(place: PlannedPanel, panel: Panel, lot: MaterialLot, checked: CheckedPlan) -> None:
    """Whether the table holds an entry for the panel's material and temper."""
    revision = checked.tables.get(place.table)
    if revision is None:
        return
    table = table_from_json(revision.paper, filename=revision.code)
    wanted = _for_table(lot, panel, thickness_mm=lot.thickness_mm, surface=lot.surface)
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


def _for_table(
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
    revision = checked.tables.get(seat.table) if seat is not None else None
    if revision is None or place.panel not in checked.panels:
        return
    coupon, lot = checked.coupons[place.coupon]
    table = table_from_json(revision.paper, filename=revision.code)
    wanted = _for_table(
        lot,
        checked.panels[place.panel][0],
        thickness_mm=coupon.thickness_mm,
        surface=coupon.surface,
    )
    if find_entry(wanted, table) is None:
        checked.fails(
            "plan.coupon_entry", _no_entry(f"coupon {coupon.code}", wanted, table, revision)
        )


def _coupons(session: Session, plan: Plan, checked: CheckedPlan) -> None:
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
    for place in plan.coupons:
        if place.panel not in {panel.panel for panel in plan.panels}:
            checked.fails(
                "plan.coupon_panel",
                f"Coupon {place.coupon} is put on panel {place.panel}, which is not in this load.",
            )
        if place.coupon not in checked.coupons:
            checked.fails("plan.unknown", f"No coupon {place.coupon} is on record.")
            continue
        coupon, lot = checked.coupons[place.coupon]
        if coupon.id in seated:
            checked.fails(
                "plan.coupon_used",
                f"Coupon {coupon.code} rode in load {seated[coupon.id]}; a coupon rides once.",
            )
        if coupon.id in missing:
            checked.fails("plan.coupon_missing", f"Coupon {coupon.code} is recorded as missing.")
        if place.panel in checked.panels:
            panel_lot = checked.panels[place.panel][1]
            checked.findings.append(
                judge_lots(coupon.code, place.panel, coupon_lot=lot.code, panel_lot=panel_lot.code)
            )
            _coupon_entry(place, plan, checked)


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


def _sensors(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    codes = [place.sensor for place in plan.sensors]
    _refuse_twice("sensor", codes, checked)
    _refuse_twice("channel", [place.channel for place in plan.sensors], checked)
    rows = session.scalars(select(Sensor).where(Sensor.code.in_(codes)))
    checked.sensors = {sensor.code: sensor for sensor in rows}
    vacuum = (checked.cycle.paper.get("vacuum") or {}) if checked.cycle is not None else {}
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
        day = plan.planned_start.astimezone(zone).date()
        checked.findings.append(sensor_day_finding(session, deciding, day=day))


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


def _refuse_twice(thing: str, names: Sequence[str], checked: CheckedPlan) -> None:
    for name, times in Counter(names).items():
        if times > 1:
            checked.fails("plan.twice", f"The {thing} {name} stands in the plan {times} times.")


def choices(session: Session, *, at: datetime) -> dict[str, list[tuple[str, str]]]:
    """What a plan can choose among: furnaces, and the cycles and tables in force, with words."""
    furnaces = session.execute(select(Furnace.code, Furnace.name).order_by(Furnace.code))
    in_force = [one for one in requirements.revisions(session) if one.in_force(at)]
    words = {
        kind: {
            one.code: f"{one.code}, {one.name}, revision {one.revision}"
            for one in in_force
            if one.kind is kind
        }
        for kind in RequirementKind
    }
    return {
        "furnaces": [(row.code, f"{row.code}, {row.name}") for row in furnaces],
        "cycles": list(words[RequirementKind.CYCLE].items()),
        "tables": list(words[RequirementKind.ACCEPTANCE_TABLE].items()),
    }
