"""Decisions on a load outside the furnace: its plan, its bags' leak checks, its unwrapping."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from decimal import Decimal

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database
from app.errors import Refusal
from app.judging.verdict import Finding
from app.loads import queries
from app.loads.plan_check import CheckedPlan, Plan, PlannedCoupon, PlannedSensor, check_plan
from app.loads.records import LeakCheck, Load, LoadCoupon, LoadPanel, LoadSensor, Unwrapping
from app.loads.rules import HIGHEST_LEVEL_KPA, LeakReading, blocking, judge_leak
from app.panels import queries as panels
from app.panels.records import Custody, CustodyStep
from app.people.rights import Act, require
from app.requirements import queries as requirements

_CLOCKS_DIFFER = timedelta(minutes=5)


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
            raise Refusal("The load cannot be planned so: " + " ".join(one.text for one in against))
        identity = claim(session, code, kind="load", at=at)
        assert checked.furnace is not None and checked.cycle is not None  # noqa: S101, PT018 - else it is blocked
        load = Load(
            code=code,
            furnace_id=checked.furnace.id,
            cycle_revision_id=checked.cycle.id,
            planned_start=plan.planned_start,
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
            table_revision_id=checked.tables[place.table].id,
            former=place.former,
            treatment_number=checked.treatment_numbers[place.panel],
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


def record_leak_check(
    database: Database,
    load_code: str,
    panel_code: str,
    reading: LeakReading,
    *,
    taken_at: datetime,
    by: Actor,
    at: datetime,
) -> Finding:
    """Keep a bag's leak check, judged by the cycle's shop rules; a later one for the panel stands.

    Raises:
        NotAllowed: the person checks no bags.
        NotFound: no such load, or the panel is not in it.
        Refusal: the reading cannot be, or the cycle states no limit.
    """
    require(by, Act.CHECK_BAG)
    _refuse_impossible(reading)
    _refuse_future(taken_at, at)
    with database.write() as session:
        load = queries.load(session, load_code)
        panel = _panel_in(session, load, panel_code)
        rules = requirements.revision(session, load.cycle_revision_id).shop_rules
        if not {"leak_limit_kpa", "leak_minutes"} <= set(rules):
            raise Refusal(
                "The load's cycle states no leak limit and time in its shop rules, so there is "
                "nothing to judge the bag by. An engineer can write a revision that does."
            )
        limit = Decimal(rules["leak_limit_kpa"])
        finding = judge_leak(reading, limit_kpa=limit, minutes=Decimal(rules["leak_minutes"]))
        row = LeakCheck(
            load_id=load.id,
            panel_id=panel.id,
            start_kpa=reading.start_kpa,
            end_kpa=reading.end_kpa,
            minutes=reading.minutes,
            limit_kpa=limit,
            outcome=finding.outcome.value,
            by_id=by.id,
            taken_at=taken_at,
            entered_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.LEAK_CHECKED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=[row],
            note=f"{panel.code}: {finding.text}",
        )
    return finding


def _refuse_impossible(reading: LeakReading) -> None:
    """Refuse levels no bag shows and a time that is none."""
    problems = {}
    for name, words, level in (
        ("start_kpa", "The level at the start", reading.start_kpa),
        ("end_kpa", "The level at the end", reading.end_kpa),
    ):
        if not 0 <= level <= HIGHEST_LEVEL_KPA:
            problems[name] = (
                f"{words} is {level} kPa; give it as kPa below ambient, 0 to {HIGHEST_LEVEL_KPA}."
            )
    if reading.minutes <= 0:
        problems["minutes"] = f"The time is {reading.minutes} min; give how long you waited."
    if not problems and reading.end_kpa > reading.start_kpa:
        problems["end_kpa"] = (
            f"The level rose from {reading.start_kpa} to {reading.end_kpa} kPa: was the pump still "
            "connected, or were the two levels swapped?"
        )
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unwrapped:
    """What was found when a panel was unwrapped. Every coupon on it is recovered or missing."""

    bag_intact: bool
    surface_clear: bool | None
    """True nothing found, False something found, None not searched yet."""
    findings: str
    recovered: frozenset[str]
    missing: frozenset[str]


def record_unwrapping(
    database: Database,
    load_code: str,
    panel_code: str,
    found: Unwrapped,
    *,
    taken_at: datetime,
    by: Actor,
    at: datetime,
) -> None:
    """Keep what was found; a later one for the same panel corrects it.

    Each coupon's custody goes on to recovered or missing; one that has gone further stays there.

    Raises:
        NotAllowed: the person unwraps no panels.
        NotFound: no such load, or the panel is not in it.
        Refusal: a coupon is not accounted for, or a burst bag or a find is not described.
    """
    require(by, Act.UNWRAP)
    _refuse_future(taken_at, at)
    if not found.findings.strip() and not (found.bag_intact and found.surface_clear is not False):
        sentence = "Say what was found: where the bag burst, or what the surface search showed."
        raise Refusal(sentence, fields={"findings": sentence})
    with database.write() as session:
        load = queries.load(session, load_code)
        panel = _panel_in(session, load, panel_code)
        coupons = [
            coupon
            for coupon in queries.seats(session, load.id).coupons
            if coupon.panel_id == panel.id
        ]
        _refuse_unaccounted(found, coupons)
        row = Unwrapping(
            load_id=load.id,
            panel_id=panel.id,
            bag_intact=found.bag_intact,
            surface_clear=found.surface_clear,
            findings=found.findings.strip(),
            by_id=by.id,
            taken_at=taken_at,
            entered_at=at,
        )
        steps = _custody_after(session, found, coupons, row)
        session.add_all([row, *steps])
        append(
            session,
            Tag.UNWRAPPED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=[row, *steps],
            note=_in_words(panel.code, found),
        )


def _refuse_unaccounted(found: Unwrapped, coupons: Sequence[queries.CouponPlace]) -> None:
    """Refuse unless each coupon on the panel is either recovered or missing."""
    problems = {}
    for coupon in coupons:
        both = coupon.code in found.recovered and coupon.code in found.missing
        if both or coupon.code not in found.recovered | found.missing:
            problems[f"coupon:{coupon.code}"] = (
                f"Say whether coupon {coupon.code} at {coupon.station} was recovered or is missing."
            )
    strangers = (found.recovered | found.missing) - {coupon.code for coupon in coupons}
    if strangers:
        problems["form"] = f"{', '.join(sorted(strangers))}: not on this panel in this load."
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def _custody_after(
    session: Session, found: Unwrapped, coupons: Sequence[queries.CouponPlace], row: Unwrapping
) -> list[CustodyStep]:
    """The hand-overs that follow; none for a coupon that is there already or has gone further."""
    steps = []
    for coupon in coupons:
        chain = panels.custody(session, coupon.id)
        last = chain[-1].step if chain else None
        now = Custody.RECOVERED if coupon.code in found.recovered else Custody.MISSING
        open_ends = (None, Custody.CUT, Custody.PLACED, Custody.RECOVERED, Custody.MISSING)
        if now is last or last not in open_ends:
            continue
        steps.append(
            CustodyStep(
                coupon_id=coupon.id,
                step=now,
                place=coupon.station,
                note="",
                by_id=row.by_id,
                taken_at=row.taken_at,
                entered_at=row.entered_at,
            )
        )
    return steps


def _in_words(panel_code: str, found: Unwrapped) -> str:
    bag = "bag intact" if found.bag_intact else "bag burst"
    surface = {
        True: "surface clear",
        False: "surface search found something",
        None: "surface not searched yet",
    }[found.surface_clear]
    missing = f"; missing: {', '.join(sorted(found.missing))}" if found.missing else ""
    return f"{panel_code}: {bag}, {surface}{missing}"


def _panel_in(session: Session, load: Load, panel_code: str) -> queries.PanelPlace:
    """The panel's place in the load.

    Raises:
        Refusal: the panel is not in the load.
    """
    for place in queries.seats(session, load.id).panels:
        if place.code == panel_code:
            return place
    sentence = f"Panel {panel_code} is not in load {load.code}; choose one of its panels."
    raise Refusal(sentence, fields={"panel": sentence})


def _refuse_future(taken_at: datetime, at: datetime) -> None:
    """Refuse a time that has not come yet; clocks may differ by a few minutes."""
    if taken_at > at + _CLOCKS_DIFFER:
        sentence = "The time lies in the future; give when it was done."
        raise Refusal(sentence, fields={"taken_at": sentence})
