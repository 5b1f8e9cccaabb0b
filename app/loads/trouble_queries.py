"""What is read about coupons that are missing, unmarked or doubled."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, exists, or_, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFound
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon
from app.loads.trouble_records import CouponTrouble, TroubleAnswer, TroubleKind, TroubleOutcome
from app.loads.trouble_rules import Ridden
from app.panels.queries import custody_of
from app.panels.records import Coupon, Panel
from app.people.records import Person, Signature

_OUT = (TroubleOutcome.NO_EVIDENCE, TroubleOutcome.SPARE)


@dataclass(frozen=True, slots=True)
class Trouble:
    """A report about a coupon, with the answer where there is one."""

    id: int
    load_id: int
    load: str
    panel_id: int
    panel: str
    coupon_id: int | None
    coupon: str | None
    other_id: int | None
    other: str | None
    kind: TroubleKind
    found: str
    reported_by_id: int
    reported_by: str
    reported_at: datetime
    outcome: TroubleOutcome | None
    spare: str | None
    named: str | None
    reason: str | None
    answered_by: str | None
    answered_at: datetime | None

    @property
    def is_open(self) -> bool:
        """Whether nobody has decided about it."""
        return self.outcome is None

    @property
    def takes_out(self) -> bool:
        """Whether its coupon is no evidence any more."""
        return self.outcome in _OUT

    @property
    def about(self) -> str | None:
        """The coupon in doubt: of one without a mark, the one at whose place it lay."""
        return self.other if self.kind is TroubleKind.UNMARKED else self.coupon

    @property
    def about_id(self) -> int | None:
        """Its key."""
        return self.other_id if self.kind is TroubleKind.UNMARKED else self.coupon_id

    @property
    def words(self) -> str:
        """What is wrong, as a sentence begins."""
        if self.kind is TroubleKind.UNMARKED:
            place = f" at the place of {self.other}" if self.other else ""
            return f"A coupon found without a mark{place}"
        return f"Coupon {self.coupon}: {self.kind.value}"

    @property
    def ended(self) -> str | None:
        """How it ended, as a phrase; None while it is open."""
        if self.outcome is TroubleOutcome.SPARE:
            return f"spare {self.spare} stands in"
        if self.outcome is TroubleOutcome.IDENTIFIED:
            return f"shown to be {self.named}"
        return None if self.outcome is None else self.outcome.value


def _troubles() -> Any:
    other, spare, named = aliased(Coupon), aliased(Coupon), aliased(Coupon)
    return (
        select(
            CouponTrouble.id,
            Load.id,
            Load.code,
            Panel.id,
            Panel.code,
            Coupon.id,
            Coupon.code,
            other.id,
            other.code,
            CouponTrouble.kind,
            CouponTrouble.found,
            CouponTrouble.reported_by_id,
            Person.full_name,
            CouponTrouble.reported_at,
            TroubleAnswer.outcome,
            spare.code,
            named.code,
            TroubleAnswer.reason,
            Signature.printed_name,
            TroubleAnswer.answered_at,
        )
        .join(Load, Load.id == CouponTrouble.load_id)
        .join(Panel, Panel.id == CouponTrouble.panel_id)
        .join(Person, Person.id == CouponTrouble.reported_by_id)
        .outerjoin(Coupon, Coupon.id == CouponTrouble.coupon_id)
        .outerjoin(other, other.id == CouponTrouble.other_id)
        .outerjoin(TroubleAnswer, TroubleAnswer.trouble_id == CouponTrouble.id)
        .outerjoin(Signature, Signature.id == TroubleAnswer.signature_id)
        .outerjoin(spare, spare.id == TroubleAnswer.spare_id)
        .outerjoin(named, named.id == TroubleAnswer.named_id)
        .order_by(CouponTrouble.id)
    )


def trouble(session: Session, key: int) -> Trouble:
    """The report of that number.

    Raises:
        NotFound: there is none.
    """
    row = session.execute(_troubles().where(CouponTrouble.id == key)).one_or_none()
    if row is None:
        raise NotFound(f"No report {key} about a coupon is on record; find it on its load's page.")
    return Trouble(*row)


def troubles_of_load(session: Session, load_id: int) -> list[Trouble]:
    """Every report about the load's coupons, oldest first; one query."""
    return [Trouble(*row) for row in session.execute(_troubles().where(Load.id == load_id))]


def troubles_of_coupons(session: Session, coupon_ids: Collection[int]) -> list[Trouble]:
    """Every report about the coupons, oldest first; one query."""
    found = _troubles().where(_is_about(coupon_ids))
    return [Trouble(*row) for row in session.execute(found)]


def _is_about(coupon_ids: Collection[int]) -> ColumnElement[bool]:
    by_place = (CouponTrouble.kind == TroubleKind.UNMARKED) & CouponTrouble.other_id.in_(coupon_ids)
    return CouponTrouble.coupon_id.in_(coupon_ids) | by_place


def open_troubles(session: Session) -> list[Trouble]:
    """Reports that nobody has answered, oldest first; one query."""
    return [Trouble(*row) for row in session.execute(_troubles().where(TroubleAnswer.id.is_(None)))]


def troubled(session: Session, coupon_ids: Collection[int]) -> dict[int, str]:
    """Why coupons are not to be measured, by key; those without such a reason are not there.

    A coupon is in doubt while a report about it is open, and is no evidence once that was decided.
    One query.
    """
    return {
        one.about_id: _why_not_measured(one)
        for one in troubles_of_coupons(session, coupon_ids)
        if one.about_id is not None and (one.is_open or one.takes_out)
    }


def _why_not_measured(one: Trouble) -> str:
    if one.is_open:
        return (
            f"Coupon {one.about} from load {one.load} is not measured: it is reported ("
            f"{one.kind.value}), and a supervisor has not decided about it yet."
        )
    return (
        f"Coupon {one.about} from load {one.load} is not measured: {one.answered_by} decided "
        f"that it is no evidence ({one.ended})."
    )


def free_of_trouble(coupon_id: Any) -> ColumnElement[bool]:
    """Condition that the coupon of that key is not in doubt, nor decided to be no evidence."""
    return ~exists(
        select(CouponTrouble.id)
        .outerjoin(TroubleAnswer, TroubleAnswer.trouble_id == CouponTrouble.id)
        .where(
            (CouponTrouble.coupon_id == coupon_id)
            | (
                (CouponTrouble.kind == TroubleKind.UNMARKED) & (CouponTrouble.other_id == coupon_id)
            ),
            or_(TroubleAnswer.id.is_(None), TroubleAnswer.outcome.in_(_OUT)),
        )
        .correlate_except(CouponTrouble, TroubleAnswer)
    )


def ridden(session: Session, load_id: int, panel_id: int) -> dict[str, tuple[int, Ridden]]:
    """The coupons that rode on a panel in a load, with their keys, by code; three queries."""
    rows = session.execute(
        select(Coupon.id, Coupon.code, Panel.code, Load.code, LoadCoupon.station, LoadCoupon.x)
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .join(Panel, Panel.id == LoadCoupon.panel_id)
        .join(Load, Load.id == LoadCoupon.load_id)
        .where(LoadCoupon.load_id == load_id, LoadCoupon.panel_id == panel_id, goes_ahead(Load.id))
        .order_by(LoadCoupon.x, Coupon.code)
    ).all()
    steps = custody_of(session, [row[0] for row in rows])
    reports = troubles_of_coupons(session, [row[0] for row in rows])
    doubts = {
        one.about_id: one.words if one.is_open else f"it was decided: {one.ended}"
        for one in reports
        if one.is_open or one.takes_out
    }
    stands_for = {one.spare: one.about for one in reports if one.spare is not None}
    return {
        row[1]: (
            row[0],
            Ridden(
                *row[1:],
                steps=tuple(step.step for step in steps[row[0]]),
                doubt=doubts.get(row[0]),
                stands_for=stands_for.get(row[1]),
            ),
        )
        for row in rows
    }
