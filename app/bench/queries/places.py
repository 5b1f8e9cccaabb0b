"""Which test of a coupon a new reading belongs to: the first, or a further one of a retest."""

from dataclasses import dataclass
from datetime import tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files
from app.bench.queries.sessions import BenchAtWork
from app.bench.queries.waiting import Seat, expected_coupon
from app.bench.records import Retest
from app.bench.rules.coupon_file import CouponFile, counting, first_test, still_needed
from app.bench.rules.plausibility import readings_needed
from app.bench.rules.verdict import failing
from app.errors import Refusal
from app.judging.units import Quantity
from app.judging.witness.acceptance import RetestOf
from app.judging.witness.coupons import judge_coupon
from app.loads.records import LoadCoupon


@dataclass(frozen=True, slots=True)
class Place:
    """Which test a new reading belongs to, and how many more that test needs.

    ``retest_id`` and ``set_number`` are None for the first test; a further coupon of another one's
    retest carries that retest's number and no set.
    """

    retest_id: int | None
    set_number: int | None
    missing: int


def place_for(
    session: Session, file: CouponFile, quantity: Quantity, unit: str, zone: tzinfo
) -> Place:
    """The test that a new reading of the coupon belongs to.

    Raises:
        Refusal: the table's number of readings has been taken. A result is not improved by
            measuring until it fits; only a void or a retest makes room.
    """
    missing = still_needed(file, zone, quantity=quantity, unit=unit)
    if missing:
        return Place(_served_by(session, file), None, missing)
    first = judge_coupon(first_test(file, zone), file.table)
    rule = first.entry.retest if first.entry is not None else None
    by_sets = rule is not None and rule.of is RetestOf.SETS
    if file.retest is not None and by_sets and quantity in failing(first):
        needed = readings_needed(first.entry, quantity, unit)
        for number in range(1, file.retest.further + 1):
            taken = counting(file, zone, quantity=quantity, unit=unit, set_number=number)
            if taken < needed:
                return Place(file.retest.id, number, needed - taken)
    taken = counting(file, zone, quantity=quantity, unit=unit)
    raise Refusal(
        f"Coupon {file.code} has its {taken} counting {quantity.words} "
        f"reading{'' if taken == 1 else 's'}; more would not decide anything. If one is wrong, ask "
        "on the coupon's page for it to be corrected or voided; if the result does not conform, a "
        "supervisor may open the table's retest."
    )


def _served_by(session: Session, file: CouponFile) -> int | None:
    """The retest of a neighbour on the same panel for which this coupon is a further one."""
    own = file.retest.id if file.retest is not None else None
    serving = [one.retest_id for one in file.readings if one.retest_id not in {None, own}]
    if serving:
        return serving[0]
    if file.readings or file.retest is not None:
        return None
    opened = session.execute(
        select(Retest.id, Retest.coupon_id)
        .join(LoadCoupon, LoadCoupon.coupon_id == Retest.coupon_id)
        .where(LoadCoupon.load_id == file.load_id, LoadCoupon.panel_id == file.panel_id)
        .order_by(Retest.id)
    ).all()
    neighbours = coupon_files(session, [row.coupon_id for row in opened])
    for row in opened:
        neighbour = neighbours[row.coupon_id]
        entry, retest = neighbour.entry(), neighbour.retest
        rule = entry.retest if entry is not None else None
        if rule is None or retest is None or rule.of is not RetestOf.COUPONS:
            continue
        if len(retest.coupons) < retest.further:
            return retest.id
    return None


@dataclass(frozen=True, slots=True)
class Offer:
    """A scanned coupon that may be measured, and the test its readings would belong to."""

    seat: Seat
    place: Place | None


def offer_for(
    session: Session, code: str, bench: BenchAtWork, *, zone: tzinfo, again: bool
) -> Offer:
    """What the bench offers for a scanned coupon.

    ``again``: its form is shown again with what was typed, so the place is not asked for.

    Raises:
        NotFound: no coupon has that identity.
        Refusal: it is not expected here, or has all its readings.
    """
    seat = expected_coupon(session, code)
    if again:
        return Offer(seat, None)
    file = coupon_files(session, [seat.coupon_id])[seat.coupon_id]
    return Offer(seat, place_for(session, file, Quantity(bench.quantity), bench.unit, zone))
