"""What is read about lots, panels, coupons and custody."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFound
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot, Panel


def panel(session: Session, code: str) -> Panel:
    """The panel of that identity.

    Raises:
        NotFound: there is none.
    """
    found = session.scalars(select(Panel).where(Panel.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No panel {code} is on record. Check the mark and scan it again.")
    return found


def coupon(session: Session, code: str) -> Coupon:
    """The coupon of that identity.

    Raises:
        NotFound: there is none.
    """
    found = find_coupon(session, code)
    if found is None:
        raise NotFound(f"No coupon {code} is on record. Check the mark and scan it again.")
    return found


def find_coupon(session: Session, code: str) -> Coupon | None:
    """The coupon of that identity, or None."""
    return session.scalars(select(Coupon).where(Coupon.code == code)).one_or_none()


def lot(session: Session, code: str) -> MaterialLot:
    """The material lot of that identity.

    Raises:
        NotFound: there is none.
    """
    found = session.scalars(select(MaterialLot).where(MaterialLot.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No material lot {code} is on record. Check the certificate's number.")
    return found


def custody(session: Session, coupon_id: int) -> Sequence[CustodyStep]:
    """The coupon's hand-overs in the order they were recorded."""
    return session.scalars(
        select(CustodyStep).where(CustodyStep.coupon_id == coupon_id).order_by(CustodyStep.id)
    ).all()


@dataclass(frozen=True, slots=True)
class LastStep:
    """Where a coupon is: its last hand-over."""

    coupon_id: int
    code: str
    step: Custody
    place: str
    by_id: int
    taken_at: datetime


def last_steps(session: Session, codes: Collection[str]) -> list[LastStep]:
    """Where coupons are, those of them on record, by code; one query."""
    step = aliased(CustodyStep)
    newest = select(func.max(step.id)).where(step.coupon_id == Coupon.id).scalar_subquery()
    rows = session.execute(
        select(
            Coupon.id,
            Coupon.code,
            CustodyStep.step,
            CustodyStep.place,
            CustodyStep.by_id,
            CustodyStep.taken_at,
        )
        .join(CustodyStep, CustodyStep.id == newest)
        .where(Coupon.code.in_(codes))
        .order_by(Coupon.code)
    )
    return [LastStep(*row) for row in rows]


def custody_of(session: Session, coupon_ids: Collection[int]) -> dict[int, list[CustodyStep]]:
    """The hand-overs of coupons in the order recorded, by coupon; one query."""
    found: dict[int, list[CustodyStep]] = {key: [] for key in coupon_ids}
    for row in session.scalars(
        select(CustodyStep).where(CustodyStep.coupon_id.in_(coupon_ids)).order_by(CustodyStep.id)
    ):
        found[row.coupon_id].append(row)
    return found


def last_step(session: Session, coupon_id: int) -> CustodyStep | None:
    """The coupon's last hand-over, or None before it is cut."""
    return session.scalars(
        select(CustodyStep)
        .where(CustodyStep.coupon_id == coupon_id)
        .order_by(CustodyStep.id.desc())
        .limit(1)
    ).one_or_none()


@dataclass(frozen=True, slots=True)
class LotLine:
    """A lot in a list, with how many panels and coupons were cut from it."""

    id: int
    code: str
    alloy: str
    incoming_temper: str
    form: str
    thickness_mm: Decimal
    received_on: date
    panels: int
    coupons: int


def lots(session: Session, *, before: int | None = None, most: int = 50) -> list[LotLine]:
    """Up to ``most`` lots, newest entry first, from before the key ``before``; one query."""
    panels = select(func.count()).where(Panel.lot_id == MaterialLot.id).scalar_subquery()
    coupons = select(func.count()).where(Coupon.lot_id == MaterialLot.id).scalar_subquery()
    query = (
        select(
            MaterialLot.id,
            MaterialLot.code,
            MaterialLot.alloy,
            MaterialLot.incoming_temper,
            MaterialLot.form,
            MaterialLot.thickness_mm,
            MaterialLot.received_on,
            panels,
            coupons,
        )
        .order_by(MaterialLot.id.desc())
        .limit(most)
    )
    if before is not None:
        query = query.where(MaterialLot.id < before)
    return [LotLine(*row) for row in session.execute(query)]


@dataclass(frozen=True, slots=True)
class PanelLine:
    """A panel in its lot's list."""

    id: int
    code: str
    drawing: str
    target_temper: str
    decided: Decided


def lot_panels(
    session: Session, lot_id: int, *, after: int = 0, most: int = 100
) -> list[PanelLine]:
    """Up to ``most`` panels of a lot in the order registered, from behind the key ``after``."""
    rows = session.execute(
        select(Panel.id, Panel.code, Panel.drawing, Panel.target_temper, Panel.decided)
        .where(Panel.lot_id == lot_id, Panel.id > after)
        .order_by(Panel.id)
        .limit(most)
    )
    return [PanelLine(*row) for row in rows]


@dataclass(frozen=True, slots=True)
class CouponLine:
    """A coupon in its lot's list, with its last step and place; None before it is cut."""

    id: int
    code: str
    thickness_mm: Decimal
    surface: str
    step: Custody | None
    place: str | None


def lot_coupons(
    session: Session, lot_id: int, *, after: int = 0, most: int = 100
) -> list[CouponLine]:
    """Up to ``most`` coupons of a lot in the order registered, from behind the key ``after``."""
    step = aliased(CustodyStep)
    newest = select(func.max(step.id)).where(step.coupon_id == Coupon.id).scalar_subquery()
    rows = session.execute(
        select(
            Coupon.id,
            Coupon.code,
            Coupon.thickness_mm,
            Coupon.surface,
            CustodyStep.step,
            CustodyStep.place,
        )
        .outerjoin(CustodyStep, CustodyStep.id == newest)
        .where(Coupon.lot_id == lot_id, Coupon.id > after)
        .order_by(Coupon.id)
        .limit(most)
    )
    return [CouponLine(*row) for row in rows]
