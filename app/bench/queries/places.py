"""Which test of a coupon a new reading belongs to: the first, or a further one of a retest."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files
from app.bench.queries.sessions import BenchAtWork
from app.bench.queries.waiting import Seat, expected_file
from app.bench.records import Retest
from app.bench.rules.coupon_file import (
    CouponFile,
    RetestFile,
    assemble,
    counting,
    still_needed,
)
from app.bench.rules.plausibility import readings_needed
from app.bench.rules.retest_plan import serves, why_not_in_plan
from app.bench.rules.verdict import failing
from app.errors import NotAllowed, Refusal
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
    session: Session,
    file: CouponFile,
    quantity: Quantity,
    unit: str,
    zone: tzinfo,
    *,
    operator_id: int | None = None,
) -> Place:
    """The test that a new reading of the coupon belongs to.

    ``operator_id`` is who measures, where it is known already.

    Raises:
        NotAllowed: the plan of the retest asks for another person.
        Refusal: the table's number of readings has been taken, or the plan of the retest has no
            place for them. A result is not improved by measuring until it fits; only a void or a
            retest makes room.
    """
    missing = still_needed(file, zone, quantity=quantity, unit=unit)
    if missing:
        return Place(_served_by(session, file, quantity, operator_id), None, missing)
    first = judge_coupon(assemble(file, zone).first, file.table)
    rule = first.entry.retest if first.entry is not None else None
    by_sets = rule is not None and rule.of is RetestOf.SETS
    if file.retest is not None and by_sets and quantity in failing(first):
        _refuse_unplanned(file.retest.plan, file, quantity, operator_id)
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


def _refuse_unplanned(
    plan: Mapping[str, Any] | None, file: CouponFile, quantity: Quantity, operator_id: int | None
) -> None:
    unplanned = why_not_in_plan(plan, file.code, quantity, operator_id)
    if unplanned is None:
        return
    if why_not_in_plan(plan, file.code, quantity, None) is None:
        raise NotAllowed(unplanned)  # It is the person alone that does not fit.
    raise Refusal(unplanned)


_retest, _seat = Retest.__table__.c, LoadCoupon.__table__.c
_ON_PANEL = (
    select(_retest.id, _retest.coupon_id)
    .join(LoadCoupon.__table__, _seat.coupon_id == _retest.coupon_id)
    .where(_seat.load_id == bindparam("load"), _seat.panel_id == bindparam("panel"))
    .order_by(_retest.id)
)


def _served_by(
    session: Session, file: CouponFile, quantity: Quantity, operator_id: int | None
) -> int | None:
    """The retest of a neighbour on the same panel for which this coupon is a further one.

    Where the retest has a plan, the plan says so; what it does not repeat is the coupon's own.
    """
    if not file.near_retest or file.retest is not None:
        return None
    opened = session.execute(_ON_PANEL, {"load": file.load_id, "panel": file.panel_id}).all()
    others = [row.coupon_id for row in opened if row.coupon_id != file.id]
    neighbours = coupon_files(session, others)
    for coupon_id in others:
        neighbour = neighbours[coupon_id]
        entry, retest = neighbour.entry(), neighbour.retest
        rule = entry.retest if entry is not None else None
        if rule is None or retest is None or rule.of is not RetestOf.COUPONS:
            continue
        if retest.plan is None:
            if _serves_without_plan(file, retest):
                return retest.id
        elif serves(retest.plan, file.code) and quantity.value in retest.plan["quantities"]:
            _refuse_unplanned(retest.plan, file, quantity, operator_id)
            return retest.id
    return None


def _serves_without_plan(file: CouponFile, retest: RetestFile) -> bool:
    """Whether a coupon serves a retest opened before plans were kept: the next ones measured do."""
    if file.id in retest.coupons:
        return True
    return not file.readings and len(retest.coupons) < retest.further


@dataclass(frozen=True, slots=True)
class Offer:
    """A scanned coupon that may be measured, its file, and the test its readings would belong to.

    ``place`` is None where its form is shown again with what was typed.
    """

    seat: Seat
    file: CouponFile
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
    seat, file = expected_file(session, code)
    if again:
        return Offer(seat, file, None)
    quantity = Quantity(bench.quantity)
    place = place_for(session, file, quantity, bench.unit, zone, operator_id=bench.operator_id)
    return Offer(seat, file, place)
