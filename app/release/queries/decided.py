"""Panels in use that an act on the trail may concern."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.bench.queries.papers_since import SPEAKS_OF_COUPONS
from app.equipment.records import Furnace, Sensor, VacuumGauge
from app.loads.records import LeakCheck, Load, LoadCoupon, LoadPanel, LoadSensor
from app.panels.records import IN_USE, Coupon, Hold, MaterialLot, Panel
from app.people.queries import one_person
from app.release.records import Decision, HoldLift, TrailSeen

CHANGING = (
    Tag.PERSON_ADDED,
    Tag.PERSON_CHANGED,
    Tag.REPORT_REVIEWED,
    Tag.FURNACE_CHECK_RECORDED,
    Tag.FURNACE_QUALIFIED,
    Tag.MAINTENANCE_RECORDED,
    Tag.SENSOR_CERTIFICATE_RECORDED,
    Tag.GAUGE_CERTIFICATE_RECORDED,
    Tag.PROCEDURE_VERIFIED,
    Tag.PROCEDURE_WITHDRAWN,
    Tag.LEAK_CHECKED,
    Tag.RECORD_IMPORTED,
    Tag.LAYOUT_CONFIRMED,
    Tag.SENSOR_EXCLUDED,
    Tag.UNWRAPPED,
    Tag.TROUBLE_REPORTED,
    Tag.TROUBLE_ANSWERED,
    Tag.CUSTODY_RECORDED,
    Tag.VOID_ASKED,
    Tag.VALUES_KEYED_AGAIN,
    Tag.NONCONFORMANCE_OPENED,
    Tag.LOT_CORRECTION_DECIDED,
)
"""Acts that can change what panels rest on without the act itself looking after them.

Verdicts of coupons are not among them: judging a coupon again recalls its panel by itself.
"""
_CHANGING = frozenset(tag.value for tag in CHANGING)
_LOOKED_AT = [tag.value for tag in dict.fromkeys((*CHANGING, *SPEAKS_OF_COUPONS))]
_PEOPLE = {Tag.PERSON_ADDED.value, Tag.PERSON_CHANGED.value}
_NARROW = {"furnace", "sensor", "vacuum_gauge", "load", "coupon", "panel", "material_lot"}
_ASIDE = {"tester", "reference_block", "thermometer"}
"""What a coupon was measured with speaks through its verdict, for which the coupon is judged again.
"""
MOST_NAMED = 400
"""With more things than this every panel in use is looked at."""


class Seen(NamedTuple):
    """An entry that may concern panels."""

    number: int
    by: str
    tag: str
    kind: str
    code: str
    at: datetime


def entries_since(session: Session, number: int | None) -> list[Seen]:
    """The entries behind ``number`` (None: behind those looked at before) that may concern panels.

    One query.
    """
    kept = select(TrailSeen.number).where(TrailSeen.id == 1).scalar_subquery()
    behind = func.coalesce(kept, 0) if number is None else number
    entry = TrailEntry
    rows = session.execute(
        select(entry.number, entry.by, entry.tag, entry.about_kind, entry.about_code, entry.at)
        .where(entry.number > behind, entry.tag.in_(_LOOKED_AT))
        .order_by(entry.number)
    )
    return [Seen(*row) for row in rows]


def in_use_concerned(session: Session, entries: Sequence[Seen]) -> dict[int, str]:
    """Panels in use without an open hold that the entries concern, each with whose act it was."""
    by_kind: dict[str, dict[str, str]] = defaultdict(dict)
    named, everywhere = 0, None
    for entry in entries:
        if entry.tag not in _CHANGING:
            continue
        if entry.kind in _NARROW and entry.tag not in _PEOPLE:
            by_kind[entry.kind][entry.code] = entry.by
            named += 1
        elif entry.kind not in _ASIDE and (entry.tag not in _PEOPLE or one_person(session)):
            everywhere = entry.by
    if named > MOST_NAMED:
        everywhere = everywhere or entries[-1].by
    if everywhere is not None:
        return dict.fromkeys(session.scalars(_in_use(select(Panel.id))), everywhere)
    found: dict[int, str] = {}
    for kind, codes in by_kind.items():
        found |= {key: codes[code] for key, code in session.execute(_of_kind(kind, codes))}
    return found


def last_hold(session: Session) -> int:
    """The key of the hold of a panel that was placed last; 0 where there is none."""
    return session.scalar(select(func.max(Hold.id))) or 0


def held_after(session: Session, hold_id: int) -> list[str]:
    """Panels with a hold that was placed after that one, in the order placed."""
    codes = session.scalars(
        select(Panel.code)
        .join(Hold, Hold.panel_id == Panel.id)
        .where(Hold.id > hold_id)
        .order_by(Hold.id)
    )
    return list(dict.fromkeys(codes))


def held_in_use(session: Session) -> list[int]:
    """Panels in use with an open hold, the one that was held first in front."""
    return list(
        session.scalars(
            select(Panel.id)
            .join(Hold, Hold.panel_id == Panel.id)
            .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
            .where(Panel.decided.in_(IN_USE), HoldLift.id.is_(None))
            .group_by(Panel.id)
            .order_by(func.min(Hold.id))
        )
    )


def still_in_use(session: Session, panel_ids: Collection[int]) -> list[int]:
    """Those of the panels that are in use without an open hold."""
    return list(session.scalars(_in_use(select(Panel.id).where(Panel.id.in_(panel_ids)))))


def _in_use(query: Any) -> Any:
    held = (
        select(Hold.id)
        .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
        .where(Hold.panel_id == Panel.id, HoldLift.id.is_(None))
        .correlate(Panel)
    )
    return query.where(Panel.decided.in_(IN_USE), ~held.exists()).order_by(Panel.id)


def _of_kind(kind: str, codes: Collection[str]) -> Any:
    """Panels in use and the code of the thing of that kind that they rest on."""
    thing: Any = {
        "furnace": Furnace,
        "sensor": Sensor,
        "vacuum_gauge": VacuumGauge,
        "load": Load,
        "coupon": Coupon,
        "panel": Panel,
        "material_lot": MaterialLot,
    }[kind]
    query: Select[Any] = select(Panel.id, thing.code)
    if kind == "coupon":
        query = query.join(LoadCoupon, LoadCoupon.panel_id == Panel.id).join(
            Coupon, Coupon.id == LoadCoupon.coupon_id
        )
    elif kind == "material_lot":
        rode = select(LoadCoupon.id).join(Coupon, Coupon.id == LoadCoupon.coupon_id)
        of_lot = (LoadCoupon.panel_id == Panel.id) & (Coupon.lot_id == MaterialLot.id)
        query = query.join(
            MaterialLot, (MaterialLot.id == Panel.lot_id) | rode.where(of_lot).exists()
        )
    elif kind != "panel":
        query = query.join(LoadPanel, LoadPanel.panel_id == Panel.id).join(
            Load, Load.id == LoadPanel.load_id
        )
    if kind == "furnace":
        query = query.join(Furnace, Furnace.id == Load.furnace_id)
    elif kind == "sensor":
        query = query.join(LoadSensor, LoadSensor.load_id == Load.id).join(
            Sensor, Sensor.id == LoadSensor.sensor_id
        )
    elif kind == "vacuum_gauge":
        read = (LeakCheck.load_id == Load.id) & (LeakCheck.panel_id == Panel.id)
        query = query.outerjoin(LeakCheck, read).join(
            VacuumGauge,
            (VacuumGauge.id == Load.vacuum_gauge_id) | (VacuumGauge.id == LeakCheck.gauge_id),
        )
    return _in_use(query.where(thing.code.in_(list(codes))))


def last_evidence(session: Session, panel_ids: Collection[int]) -> dict[int, dict[str, Any]]:
    """What each panel's last decision was made on, by panel; one query."""
    later = aliased(Decision)
    last = (
        select(func.max(later.number))
        .where(later.panel_id == Decision.panel_id)
        .correlate(Decision)
        .scalar_subquery()
    )
    rows = session.execute(
        select(Decision.panel_id, Decision.evidence).where(
            Decision.panel_id.in_(panel_ids), Decision.number == last
        )
    )
    return {row.panel_id: row.evidence for row in rows}
