"""What was read on coupons before the furnace, and which coupons can still be read so.

A baseline decides nothing: it shows what the furnace changed on a coupon.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from sqlalchemy import and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.bench.queries.sessions import BenchAtWork, bench_sessions
from app.bench.records import Baseline, CouponVerdict
from app.bench.rules.bracketing import bracket
from app.judging.rounding import mean, shown
from app.judging.units import Quantity
from app.loads.queries import goes_ahead
from app.loads.records import FurnaceRecord, Load, LoadCoupon, LoadStart
from app.panels.records import Coupon, Custody, CustodyStep, Panel

MOST_LISTED = 60
"""Coupons listed at once that can be read before the furnace."""


@dataclass(frozen=True, slots=True)
class BaselineLine:
    """One form of readings before the furnace, in the order taken and in the tester's unit.

    ``why_not`` is why its checks do not prove it, None where they do; ``provisional`` until its
    session is closed. A later form of the same quantity and unit stands in its place.
    """

    id: int
    coupon_id: int
    quantity: Quantity
    unit: str
    readings: tuple[Decimal, ...]
    coupon_c: Decimal | None
    block_c: Decimal | None
    session_id: int
    tester: str
    by: str
    taken_at: datetime
    why_not: str | None
    provisional: bool
    overtaken: bool

    @property
    def mean(self) -> Fraction:
        """The mean of the readings as read, unrounded."""
        return mean(tuple(Fraction(one) for one in self.readings))

    @property
    def words(self) -> str:
        """Readings and mean, as spoken."""
        read = ", ".join(str(one) for one in self.readings)
        return f"{read} {self.unit}, mean {shown(self.mean)}"

    @property
    def standing(self) -> str:
        """What its checks say of it."""
        if self.why_not is not None:
            return f"does not count: {self.why_not}"
        if self.overtaken:
            return "a later one stands in its place"
        return "provisional until the closing check" if self.provisional else "between good checks"


def baselines(session: Session, coupon_ids: Collection[int]) -> dict[int, tuple[BaselineLine, ...]]:
    """Every baseline of the coupons, oldest first, by coupon; three queries. None: not there."""
    rows = session.scalars(
        select(Baseline).where(Baseline.coupon_id.in_(coupon_ids)).order_by(Baseline.id)
    ).all()
    sessions = bench_sessions(session, {row.session_id for row in rows}) if rows else {}
    newest = {(row.coupon_id, row.quantity, row.unit): row.id for row in rows}
    found: dict[int, tuple[BaselineLine, ...]] = {}
    for row in rows:
        bench = sessions[row.session_id]
        why_not, provisional = bracket(row.taken_at, bench.bracketing)
        line = BaselineLine(
            id=row.id,
            coupon_id=row.coupon_id,
            quantity=Quantity(row.quantity),
            unit=row.unit,
            readings=row.readings,
            coupon_c=row.coupon_c,
            block_c=row.block_c,
            session_id=row.session_id,
            tester=bench.tester,
            by=bench.operator,
            taken_at=row.taken_at,
            why_not=why_not,
            provisional=provisional,
            overtaken=newest[row.coupon_id, row.quantity, row.unit] != row.id,
        )
        found[row.coupon_id] = (*found.get(row.coupon_id, ()), line)
    return found


@dataclass(frozen=True, slots=True)
class BaselineOffer:
    """A coupon that has not been in the furnace, so that its baseline can be read.

    ``panel``, ``load`` and ``station`` are where it is planned, None where it is not.
    ``taken`` is what was read on it before, in the quantity and unit of the session.
    """

    coupon_id: int
    coupon: str
    place: str
    panel: str | None
    load: str | None
    station: str | None
    taken: tuple[BaselineLine, ...] = ()


def baseline_offer(session: Session, code: str, bench: BenchAtWork) -> BaselineOffer | None:
    """What the bench offers for a scanned coupon that can be read before the furnace; else None.

    It is cut and marked, or it is placed and its load has not been started.
    """
    found = _before(session, code=code)
    return next(iter(_with_taken(session, found, bench)), None)


def baseline_offers(
    session: Session, bench: BenchAtWork, *, most: int = MOST_LISTED
) -> list[BaselineOffer]:
    """The coupons of which that is so, those planned into a load first, then the newest."""
    return _with_taken(session, _before(session, most=most), bench)


def _with_taken(
    session: Session, found: list[BaselineOffer], bench: BenchAtWork
) -> list[BaselineOffer]:
    taken = baselines(session, [one.coupon_id for one in found])
    return [
        BaselineOffer(
            one.coupon_id,
            one.coupon,
            one.place,
            one.panel,
            one.load,
            one.station,
            tuple(
                line
                for line in taken.get(one.coupon_id, ())
                if (line.quantity.value, line.unit) == (bench.quantity, bench.unit)
            ),
        )
        for one in found
    ]


def _before(session: Session, *, code: str | None = None, most: int = 1) -> list[BaselineOffer]:
    last = aliased(CustodyStep)
    newest = select(func.max(last.id)).where(last.coupon_id == Coupon.id).scalar_subquery()
    began = exists().where(LoadStart.load_id == Load.id)
    recorded = exists().where(FurnaceRecord.load_id == Load.id)
    on_its_panel_before_the_start = and_(
        CustodyStep.step == Custody.PLACED, Load.id.is_not(None), ~began, ~recorded
    )
    query = (
        select(
            Coupon.id,
            Coupon.code,
            CustodyStep.place,
            Panel.code,
            Load.code,
            LoadCoupon.station,
        )
        .select_from(Coupon)
        .join(CustodyStep, CustodyStep.id == newest)
        .outerjoin(LoadCoupon, (LoadCoupon.coupon_id == Coupon.id) & goes_ahead(LoadCoupon.load_id))
        .outerjoin(Panel, Panel.id == LoadCoupon.panel_id)
        .outerjoin(Load, Load.id == LoadCoupon.load_id)
        .where(or_(CustodyStep.step == Custody.CUT, on_its_panel_before_the_start))
        .order_by(Load.id.is_(None), Load.id, LoadCoupon.station, Coupon.id.desc())
        .limit(most)
    )
    if code is not None:
        query = query.where(Coupon.code == code)
    return [BaselineOffer(*row) for row in session.execute(query)]


def judged_with_baselines(session: Session, session_id: int) -> set[int]:
    """Coupons with a verdict that were read before the furnace in that session; one statement."""
    judged = select(CouponVerdict.id).where(CouponVerdict.coupon_id == Baseline.coupon_id).exists()
    read = select(Baseline.coupon_id).where(Baseline.session_id == session_id, judged)
    return set(session.scalars(read))
