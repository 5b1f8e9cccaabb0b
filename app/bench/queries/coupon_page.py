"""What the page of one coupon shows besides its readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.entry import hidden_for_now
from app.bench.queries.evidence import coupon_files
from app.bench.queries.waiting import latest_coupon_verdicts
from app.bench.records import CouponVerdict
from app.bench.rules.coupon_file import CouponFile
from app.equipment.records import Sensor
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon, LoadSensor
from app.panels.records import Coupon, MaterialLot, Panel


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
    diameter_mm: Decimal | None


def coupon_place(session: Session, coupon_id: int) -> CouponPlace:
    """Where the coupon belongs."""
    # More columns than the typed select knows.
    row: Any = session.execute(
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
            Coupon.diameter_mm,
        )
        .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
        .outerjoin(LoadCoupon, (LoadCoupon.coupon_id == Coupon.id) & goes_ahead(LoadCoupon.load_id))
        .outerjoin(Panel, Panel.id == LoadCoupon.panel_id)
        .outerjoin(Load, Load.id == LoadCoupon.load_id)
        .where(Coupon.id == coupon_id)
    ).one()
    return CouponPlace(*row)


def verdicts(session: Session, coupon_id: int) -> Sequence[CouponVerdict]:
    """Every verdict on the coupon, newest first."""
    return session.scalars(
        select(CouponVerdict)
        .where(CouponVerdict.coupon_id == coupon_id)
        .order_by(CouponVerdict.id.desc())
    ).all()


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


def panel_plan(session: Session, file: CouponFile, *, zone: tzinfo) -> PanelPlan:
    """The coupon's panel as it was loaded, the coupons with their newest verdicts.

    One that is measured blind shows none until its readings are in.
    """
    panel = session.execute(
        select(Panel.length_mm, Panel.width_mm).where(Panel.id == file.panel_id)
    ).one()
    coupons = session.execute(
        select(Coupon.id, Coupon.code, LoadCoupon.station, LoadCoupon.x, LoadCoupon.y)
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .where(LoadCoupon.load_id == file.load_id, LoadCoupon.panel_id == file.panel_id)
        .order_by(LoadCoupon.station)
    ).all()
    keys = [row.id for row in coupons]
    judged = latest_coupon_verdicts(session, keys)
    if file.table.blind:
        for key in hidden_for_now(session, keys, zone=zone):
            judged.pop(key, None)
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


def file_of(session: Session, coupon_id: int) -> CouponFile | None:
    """The coupon's file, or None where it rides in no load."""
    return coupon_files(session, [coupon_id]).get(coupon_id)
