"""What the page of one coupon shows, and who had a hand in its readings."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files
from app.bench.queries.waiting import latest_coupon_verdicts
from app.bench.records import (
    BenchSession,
    CouponVerdict,
    Reading,
    Retest,
    VoidAnswer,
    VoidCause,
    VoidRequest,
)
from app.bench.rules.coupon_file import CouponFile, why_not_counted
from app.equipment.records import Sensor, Tester
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon, LoadSensor
from app.panels.records import Coupon, MaterialLot, Panel
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class VoidLine:
    """A request to void a reading, with its answer where there is one."""

    id: int
    reading_id: int
    cause: VoidCause
    evidence: str
    asked_by_id: int
    asked_by: str
    asked_at: datetime
    approved: bool | None
    answer: str | None
    answered_by_id: int | None
    answered_at: datetime | None


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """A reading as the coupon's page shows it. ``why_not`` is None where it counts."""

    id: int
    number: int
    quantity: str
    unit: str
    value: Decimal
    coupon_c: Decimal | None
    block_c: Decimal | None
    tester: str | None
    session_id: int | None
    report: str | None
    taken_by_id: int
    taken_by: str
    username: str
    taken_at: datetime
    entered_at: datetime
    set_number: int | None
    replaces: int | None
    reason: str | None
    struck: bool
    why_not: str | None
    provisional: bool
    void: VoidLine | None


@dataclass(frozen=True, slots=True)
class CouponPlace:
    """The coupon, its lot, and the load and panel it rode on (None before it was planned)."""

    id: int
    code: str
    thickness_mm: Decimal
    surface: str
    lot: str
    alloy: str
    form: str
    panel: str | None
    load: str | None
    station: str | None
    target_temper: str | None


def coupon_place(session: Session, coupon_id: int) -> CouponPlace:
    """Where the coupon belongs."""
    row = session.execute(
        select(
            Coupon.id,
            Coupon.code,
            Coupon.thickness_mm,
            Coupon.surface,
            MaterialLot.code,
            MaterialLot.alloy,
            MaterialLot.form,
            Panel.code,
            Load.code,
            LoadCoupon.station,
            Panel.target_temper,
        )
        .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
        .outerjoin(LoadCoupon, (LoadCoupon.coupon_id == Coupon.id) & goes_ahead(LoadCoupon.load_id))
        .outerjoin(Panel, Panel.id == LoadCoupon.panel_id)
        .outerjoin(Load, Load.id == LoadCoupon.load_id)
        .where(Coupon.id == coupon_id)
    ).one()
    return CouponPlace(*row)


def void_requests(session: Session, coupon_id: int) -> list[VoidLine]:
    """Requests to void readings of the coupon, in the order asked."""
    return [
        VoidLine(*row)
        for row in session.execute(
            _voids().where(Reading.coupon_id == coupon_id).order_by(VoidRequest.id)
        )
    ]


def _voids() -> Any:
    return (
        select(
            VoidRequest.id,
            VoidRequest.reading_id,
            VoidRequest.cause,
            VoidRequest.evidence,
            VoidRequest.asked_by_id,
            Person.full_name,
            VoidRequest.asked_at,
            VoidAnswer.approved,
            VoidAnswer.reason,
            VoidAnswer.answered_by_id,
            VoidAnswer.answered_at,
        )
        .join(Reading, Reading.id == VoidRequest.reading_id)
        .join(Person, Person.id == VoidRequest.asked_by_id)
        .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
    )


@dataclass(frozen=True, slots=True)
class VoidToAnswer:
    """A void that waits for a supervisor's answer."""

    request_id: int
    coupon: str
    cause: str
    asked_by_id: int
    asked_by: str
    asked_at: datetime


def voids_to_answer(session: Session) -> list[VoidToAnswer]:
    """Void requests without an answer, oldest first; one query."""
    return [
        VoidToAnswer(row[0], row[1], row[2].value, *row[3:])
        for row in session.execute(
            select(
                VoidRequest.id,
                Coupon.code,
                VoidRequest.cause,
                VoidRequest.asked_by_id,
                Person.full_name,
                VoidRequest.asked_at,
            )
            .join(Reading, Reading.id == VoidRequest.reading_id)
            .join(Coupon, Coupon.id == Reading.coupon_id)
            .join(Person, Person.id == VoidRequest.asked_by_id)
            .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
            .where(VoidAnswer.id.is_(None))
            .order_by(VoidRequest.id)
        )
    ]


def reading_lines(session: Session, file: CouponFile, *, zone: tzinfo) -> list[ReadingLine]:
    """The coupon's readings in the order recorded, each with whether it counts and why not."""
    standing = {one.id: (one, *why_not_counted(one, file, zone)) for one in file.readings}
    voids = {void.reading_id: void for void in void_requests(session, file.id)}
    rows = session.execute(
        select(
            Reading.id,
            Reading.session_id,
            Reading.report,
            Reading.taken_by_id,
            Person.full_name,
            Person.username,
            Reading.entered_at,
            Reading.replaces_id,
            Reading.reason,
            Tester.code.label("tester"),
        )
        .join(Person, Person.id == Reading.taken_by_id)
        .outerjoin(BenchSession, BenchSession.id == Reading.session_id)
        .outerjoin(Tester, Tester.id == BenchSession.tester_id)
        .where(Reading.coupon_id == file.id)
        .order_by(Reading.id)
    )
    lines = []
    for row in rows:
        one, why_not, provisional = standing[row.id]
        lines.append(
            ReadingLine(
                id=one.id,
                number=one.number,
                quantity=one.quantity.words,
                unit=one.unit,
                value=one.value,
                coupon_c=one.coupon_c,
                block_c=one.block_c,
                tester=row.tester,
                session_id=row.session_id,
                report=row.report,
                taken_by_id=row.taken_by_id,
                taken_by=row.full_name,
                username=row.username,
                taken_at=one.taken_at,
                entered_at=row.entered_at,
                set_number=one.set_number,
                replaces=standing[row.replaces_id][0].number if row.replaces_id else None,
                reason=row.reason,
                struck=one.voided is not None or one.replaced,
                why_not=why_not,
                provisional=provisional,
                void=voids.get(one.id),
            )
        )
    return lines


def verdicts(session: Session, coupon_id: int) -> Sequence[CouponVerdict]:
    """Every verdict on the coupon, newest first."""
    return session.scalars(
        select(CouponVerdict)
        .where(CouponVerdict.coupon_id == coupon_id)
        .order_by(CouponVerdict.id.desc())
    ).all()


def retest_of(session: Session, coupon_id: int) -> Retest | None:
    """The retest opened for the coupon, or None; a coupon has at most one."""
    return session.scalars(select(Retest).where(Retest.coupon_id == coupon_id)).one_or_none()


@dataclass(frozen=True, slots=True)
class PlanMark:
    """A coupon or sensor on the panel in plan view."""

    kind: str
    code: str
    label: str
    x: Decimal
    y: Decimal
    verdict: str | None
    href: str | None


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """The panel in plan view with everything that sat on it in one load."""

    length_mm: Decimal
    width_mm: Decimal
    marks: tuple[PlanMark, ...]


def panel_plan(session: Session, file: CouponFile) -> PanelPlan:
    """The coupon's panel as it was loaded, the coupons with their newest verdicts."""
    panel = session.execute(
        select(Panel.length_mm, Panel.width_mm).where(Panel.id == file.panel_id)
    ).one()
    coupons = session.execute(
        select(Coupon.id, Coupon.code, LoadCoupon.station, LoadCoupon.x, LoadCoupon.y)
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .where(LoadCoupon.load_id == file.load_id, LoadCoupon.panel_id == file.panel_id)
        .order_by(LoadCoupon.station)
    ).all()
    judged = latest_coupon_verdicts(session, [row.id for row in coupons])
    sensors = session.execute(
        select(Sensor.code, LoadSensor.station, LoadSensor.x, LoadSensor.y)
        .join(LoadSensor, LoadSensor.sensor_id == Sensor.id)
        .where(LoadSensor.load_id == file.load_id, LoadSensor.panel_id == file.panel_id)
        .where(LoadSensor.x.is_not(None), LoadSensor.y.is_not(None))
        .order_by(LoadSensor.station)
    ).all()
    marks = [
        PlanMark(
            "coupon",
            row.code,
            row.station,
            row.x,
            row.y,
            judged[row.id].verdict if row.id in judged else None,
            f"/coupons/{row.code}",
        )
        for row in coupons
    ]
    marks += [
        PlanMark("sensor", row.code, row.station, row.x, row.y, None, f"/sensors/{row.code}")
        for row in sensors
    ]
    return PanelPlan(panel.length_mm, panel.width_mm, tuple(marks))


def readers(session: Session, coupon_ids: Collection[int]) -> set[int]:
    """Ids of everybody who took, corrected or voided a reading of these coupons; two queries.

    The further coupons of their retests are included. Whoever took a reading that was later voided
    or corrected is included too: they had a hand in the result.
    """
    own = select(Retest.id).where(Retest.coupon_id.in_(coupon_ids))
    concerned = Reading.coupon_id.in_(coupon_ids) | Reading.retest_id.in_(own)
    people = set(session.scalars(select(Reading.taken_by_id).where(concerned).distinct()))
    for row in session.execute(
        select(VoidRequest.asked_by_id, VoidAnswer.answered_by_id)
        .join(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
        .join(Reading, Reading.id == VoidRequest.reading_id)
        .where(concerned, VoidAnswer.approved)
    ):
        people |= {row.asked_by_id, row.answered_by_id}
    return people


def file_of(session: Session, coupon_id: int) -> CouponFile | None:
    """The coupon's file, or None where it rides in no load."""
    return coupon_files(session, [coupon_id]).get(coupon_id)
