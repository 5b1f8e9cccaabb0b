"""Which coupons the bench waits for, and what each still needs."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, aliased

from app.audit.records import Identity
from app.bench.queries.evidence import coupon_files
from app.bench.records import CouponVerdict
from app.bench.rules.coupon_file import still_needed
from app.errors import NotFound, Refusal
from app.judging.units import Quantity
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon
from app.panels.records import Coupon, Custody, CustodyStep, Decided, Panel

AT_HAND = (Custody.RECOVERED, Custody.AT_BENCH)
"""Custody in which a coupon can be brought to the bench."""
_SETTLED = (Decided.RELEASED, Decided.USE_AS_IS, Decided.RETURNED, Decided.SCRAPPED)
MOST_WAITING = 200


@dataclass(frozen=True, slots=True)
class Waiting:
    """A coupon that has been recovered and has no final verdict yet."""

    coupon_id: int
    coupon: str
    panel: str
    load: str
    station: str
    since: datetime
    custody: Custody
    verdict: str | None
    provisional: bool


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a coupon rode and where it is now."""

    coupon_id: int
    coupon: str
    panel: str
    load: str
    station: str
    custody: Custody


@dataclass(frozen=True, slots=True)
class Expected:
    """A coupon of a waiting load, with how many readings of the session's quantity it needs."""

    seat: Seat
    needed: int
    at_hand: bool


def awaiting(session: Session, *, most: int = MOST_WAITING) -> list[Waiting]:
    """Coupons waiting for the bench, longest first; one query.

    Recovered, of a panel that is not settled, and without a final verdict: none yet, a provisional
    one, or one that is not proven. A missing coupon does not wait.
    """
    step, last, verdict, newest = (
        aliased(CustodyStep),
        aliased(CustodyStep),
        aliased(CouponVerdict),
        aliased(CouponVerdict),
    )
    last_step = select(func.max(last.id)).where(last.coupon_id == Coupon.id).scalar_subquery()
    last_verdict = (
        select(func.max(newest.id)).where(newest.coupon_id == Coupon.id).scalar_subquery()
    )
    rows = session.execute(
        select(
            Coupon.id,
            Coupon.code,
            Panel.code,
            Load.code,
            LoadCoupon.station,
            step.taken_at,
            step.step,
            verdict.verdict,
            verdict.provisional,
        )
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .join(Panel, Panel.id == LoadCoupon.panel_id)
        .join(Load, Load.id == LoadCoupon.load_id)
        .join(step, step.id == last_step)
        .outerjoin(verdict, verdict.id == last_verdict)
        .where(Panel.decided.not_in(_SETTLED), step.step.in_(AT_HAND), goes_ahead(Load.id))
        .where(or_(verdict.id.is_(None), verdict.provisional, verdict.verdict == "not_proven"))
        .order_by(step.taken_at, Coupon.id)
        .limit(most)
    )
    return [Waiting(*row[:8], provisional=bool(row[8])) for row in rows]


def expected_coupons(
    session: Session, *, quantity: Quantity, unit: str, zone: tzinfo
) -> dict[str, list[Expected]]:
    """Every coupon of the loads that wait for the bench, by load, in the order of its stations.

    What each still needs is of the given quantity. The number of queries does not depend on how
    many there are.
    """
    loads = list(dict.fromkeys(one.load for one in awaiting(session)))
    seats = [_seat(row) for row in session.execute(_seats().where(Load.code.in_(loads)))]
    files = coupon_files(session, [seat.coupon_id for seat in seats])
    by_load: dict[str, list[Expected]] = {load: [] for load in loads}
    for seat in seats:
        needed = still_needed(files[seat.coupon_id], zone, quantity=quantity, unit=unit)
        by_load[seat.load].append(Expected(seat, needed, seat.custody in AT_HAND))
    return by_load


def expected_coupon(session: Session, code: str) -> Seat:
    """The coupon of that identity, if the bench may measure it now.

    Raises:
        NotFound: no coupon has the identity; says what else has it.
        Refusal: it rode in no load, is not recovered yet, is missing or is shelved.
    """
    row = session.execute(_seats().where(Coupon.code == code)).one_or_none()
    if row is None:
        raise _why_not_expected(session, code)
    seat = _seat(row)
    if seat.custody is Custody.SHELVED:
        raise Refusal(
            f"Coupon {code} from load {seat.load} is shelved. Record its hand-over to the bench "
            "on the page Custody, then scan it again."
        )
    if seat.custody is Custody.MISSING:
        raise Refusal(
            f"Coupon {code} from load {seat.load} is recorded as missing; it is no evidence any "
            "more and is not measured."
        )
    if seat.custody not in AT_HAND:
        raise Refusal(
            f"Coupon {code} is not expected here: it has not been recovered from panel "
            f"{seat.panel} (load {seat.load}). Record the unwrapping first."
        )
    return seat


def _why_not_expected(session: Session, code: str) -> Refusal:
    if session.scalar(select(Coupon.id).where(Coupon.code == code)) is not None:
        return Refusal(
            f"Coupon {code} is not expected here: it rode in no load. Check the mark on the "
            "coupon and scan it again."
        )
    kind = session.scalar(select(Identity.kind).where(Identity.code == code))
    if kind is not None:
        return NotFound(f"{code} is a {kind.replace('_', ' ')}, not a coupon. Scan the coupon.")
    return NotFound(f"No coupon {code} is on record. Check the mark and scan it again.")


def _seats() -> Any:
    step, last = aliased(CustodyStep), aliased(CustodyStep)
    last_step = select(func.max(last.id)).where(last.coupon_id == Coupon.id).scalar_subquery()
    return (
        select(
            Coupon.id,
            Coupon.code,
            Panel.code.label("panel"),
            Load.code.label("load"),
            LoadCoupon.station,
            step.step,
        )
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .join(Panel, Panel.id == LoadCoupon.panel_id)
        .join(Load, Load.id == LoadCoupon.load_id)
        .join(step, step.id == last_step)
        .where(goes_ahead(Load.id))
        .order_by(Load.id, Panel.code, LoadCoupon.station, Coupon.id)
    )


def _seat(row: Any) -> Seat:
    return Seat(row.id, row.code, row.panel, row.load, row.station, row.step)


def latest_coupon_verdicts(
    session: Session, coupon_ids: Collection[int]
) -> dict[int, CouponVerdict]:
    """The newest verdict of each coupon, by coupon id; one query. None: not there."""
    newest = (
        select(func.max(CouponVerdict.id))
        .where(CouponVerdict.coupon_id.in_(coupon_ids))
        .group_by(CouponVerdict.coupon_id)
    )
    return {
        row.coupon_id: row
        for row in session.scalars(select(CouponVerdict).where(CouponVerdict.id.in_(newest)))
    }
