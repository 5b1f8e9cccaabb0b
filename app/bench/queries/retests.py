"""What a retest of a coupon would be: the table's rule, the coupons that could serve, and who."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, aliased

from app.bench.records import Reading, Retest
from app.bench.rules.coupon_file import CouponFile, judge_file
from app.bench.rules.moves import moves, why_not_decided_yet
from app.bench.rules.retest_plan import compose_plan, serves
from app.bench.rules.verdict import Judged, failing
from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.judging.witness.acceptance import RetestOf, RetestRule
from app.judging.witness.coupons import all_criteria
from app.loads.records import LoadCoupon
from app.loads.trouble_queries import troubled
from app.panels.records import Coupon, Custody, CustodyStep
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class Candidate:
    """Another coupon of the panel in its load, and why it cannot serve; None where it can."""

    code: str
    station: str
    why_not: str | None


@dataclass(frozen=True, slots=True)
class RetestOffer:
    """A retest that may be opened: the rule, what is repeated, which coupons, and who may not."""

    rule: RetestRule
    quantities: frozenset[Quantity]
    candidates: tuple[Candidate, ...]
    not_by: Mapping[int, str]

    def plan(self, positions: Sequence[tuple[str, str]]) -> dict[str, Any]:
        """The plan with these coupons, each with its station."""
        return compose_plan(
            self.rule, quantities=self.quantities, positions=positions, not_by=self.not_by
        )

    @property
    def repeated(self) -> str:
        """What is measured again, in words."""
        return ", ".join(one.words for one in Quantity if one in self.quantities)

    @property
    def of_coupons(self) -> bool:
        """Whether further coupons serve; else further sets of readings on the coupon itself."""
        return self.rule.of is RetestOf.COUPONS


def retest_of(session: Session, coupon_id: int) -> Retest | None:
    """The retest opened for the coupon, or None; a coupon has at most one."""
    return session.scalars(select(Retest).where(Retest.coupon_id == coupon_id)).one_or_none()


def retest_offer(session: Session, file: CouponFile, zone: tzinfo) -> RetestOffer | str:
    """The retest that may be opened for a coupon without one, or the sentence why none may."""
    first = judge_file(file, {}, zone)
    reason = _why_none(session, file, first, zone)
    rule = first.entry.retest if first.entry is not None else None
    if reason is not None or rule is None or first.entry is None:
        return reason or "The table's entry permits no retest."
    failed = failing(first.first)
    of_coupons = rule.of is RetestOf.COUPONS
    asked = frozenset(one.quantity for one in all_criteria(first.entry.criteria))
    offer = RetestOffer(
        rule=rule,
        # A further coupon is judged whole; a further set repeats what did not conform.
        quantities=asked if of_coupons else failed,
        candidates=tuple(_candidates(session, file)) if of_coupons else (),
        not_by=_takers(session, file, failed) if rule.by_another else {},
    )
    free = sum(one.why_not is None for one in offer.candidates)
    if of_coupons and free < rule.further:
        return (
            f"The table asks for {rule.further} further "
            f"{'coupon' if rule.further == 1 else 'coupons'} of the panel, and {free} can serve. "
            "The result stands; the panel goes to a supervisor for its disposition."
        )
    return offer


def _why_none(session: Session, file: CouponFile, first: Judged, zone: tzinfo) -> str | None:
    if first.verdict is not Verdict.DOES_NOT_CONFORM:
        stands = "conforms" if first.verdict is Verdict.CONFORMS else "is not proven"
        return (
            f"Coupon {file.code} {stands}; a retest is for one that does not conform. Readings "
            "that are not proven because a check failed are taken again without one."
        )
    if first.provisional:
        return f"The verdict on {file.code} is provisional until the closing check; wait for it."
    if first.entry is None or first.entry.retest is None:
        return (
            f"The table's entry permits no retest for {file.code}: its result stands. If the test "
            "was invalid, ask for the reading to be voided with its cause."
        )
    neighbour = _served(session, file)
    if neighbour is not None:
        return (
            f"{file.code} was measured for the retest of {neighbour}; a retest has no retest of "
            "its own, and its result stands."
        )
    return why_not_decided_yet(moves(file, first, zone))


def _served(session: Session, file: CouponFile) -> str | None:
    """The coupon whose retest this one serves, or None."""
    return session.scalar(
        select(Coupon.code)
        .join(Retest, Retest.coupon_id == Coupon.id)
        .join(Reading, Reading.retest_id == Retest.id)
        .where(Reading.coupon_id == file.id, Retest.coupon_id != file.id)
        .limit(1)
    )


def _candidates(session: Session, file: CouponFile) -> list[Candidate]:
    """The other coupons of the panel in its load, in the order of their stations."""
    step, last = aliased(CustodyStep), aliased(CustodyStep)
    last_step = select(func.max(last.id)).where(last.coupon_id == Coupon.id).scalar_subquery()
    rows = session.execute(
        select(
            Coupon.id,
            Coupon.code,
            LoadCoupon.station,
            step.step,
            select(func.count()).where(Reading.coupon_id == Coupon.id).scalar_subquery(),
        )
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .outerjoin(step, step.id == last_step)
        .where(LoadCoupon.load_id == file.load_id, LoadCoupon.panel_id == file.panel_id)
        .where(Coupon.id != file.id)
        .order_by(LoadCoupon.station, Coupon.id)
    ).all()
    plans = session.scalars(
        select(Retest.plan)
        .join(LoadCoupon, LoadCoupon.coupon_id == Retest.coupon_id)
        .where(LoadCoupon.load_id == file.load_id, LoadCoupon.panel_id == file.panel_id)
    ).all()
    doubted = troubled(session, [row.id for row in rows])
    return [
        Candidate(
            code, station, _why_not_serve(code, custody, taken, plans, doubted=key in doubted)
        )
        for key, code, station, custody, taken in rows
    ]


def _why_not_serve(
    code: str,
    custody: Custody | None,
    taken: int,
    plans: Collection[dict[str, Any] | None],
    *,
    doubted: bool,
) -> str | None:
    if doubted:
        return "it is not measured, for a report about it is open or took it out as evidence"
    if custody is Custody.MISSING:
        return "it is recorded as missing"
    if custody not in {Custody.RECOVERED, Custody.AT_BENCH, Custody.SHELVED}:
        return "it is not recovered yet"
    if taken:
        return "it has been measured already"
    if any(serves(plan, code) for plan in plans):
        return "it serves another retest"
    return None


def _takers(session: Session, file: CouponFile, quantities: Collection[Quantity]) -> dict[int, str]:
    """Who took the first test's readings of these quantities at the bench, by account.

    With every account of each person: two are one's where they have one identity number.
    """
    taker = aliased(Person)
    of_one = or_(Person.id == taker.id, Person.identity_number == taker.identity_number)
    rows = session.execute(
        select(Person.id, Person.full_name)
        .join(taker, of_one)
        .join(Reading, Reading.taken_by_id == taker.id)
        .where(Reading.coupon_id == file.id, Reading.session_id.is_not(None))
        .where(Reading.quantity.in_([one.value for one in quantities]))
        .distinct()
        .order_by(Person.full_name, Person.id)
    )
    return {row.id: row.full_name for row in rows}
