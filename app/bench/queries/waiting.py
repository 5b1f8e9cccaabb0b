"""Which coupons the bench waits for, and what each still needs."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from sqlalchemy import and_, bindparam, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.audit.records import Identity
from app.bench.queries.evidence import files_of
from app.bench.queries.seats import SeatRow, seat_by_code, seats_in
from app.bench.queries.unmoved import Unmoved
from app.bench.records import CouponVerdict
from app.bench.rules.coupon_file import CouponFile, still_needed
from app.errors import NotFound, Refusal
from app.judging.units import Quantity
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon
from app.loads.trouble_queries import free_of_trouble, troubled
from app.panels.queries.descent import came_of, came_to, lives_on
from app.panels.records import ENDED, UNDECIDED, Coupon, Custody, CustodyStep, Decided, Panel
from app.panels.service.final import why_final

AT_HAND = (Custody.RECOVERED, Custody.AT_BENCH)
"""Custody in which a coupon can be brought to the bench."""
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
    """Where a coupon rode and where it is now; whether anything keyed for it is not recorded."""

    coupon_id: int
    coupon: str
    panel: str
    load: str
    station: str
    custody: Custody
    has_drafts: bool = False
    replaced_by: tuple[str, ...] = ()
    """The panels that came of its panel; filled for one scanned, whose readings are theirs."""


@dataclass(frozen=True, slots=True)
class Expected:
    """A coupon of a waiting load, with how many readings of the session's quantity it needs."""

    seat: Seat
    needed: int
    at_hand: bool


_step, _last, _its, _newest = (
    aliased(CustodyStep),
    aliased(CustodyStep),
    aliased(CouponVerdict),
    aliased(CouponVerdict),
)
_AWAITING = (
    select(
        Coupon.id,
        Coupon.code,
        Panel.code,
        Load.code,
        LoadCoupon.station,
        _step.taken_at,
        _step.step,
        _its.verdict,
        _its.provisional,
    )
    .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
    .join(Panel, Panel.id == LoadCoupon.panel_id)
    .join(Load, Load.id == LoadCoupon.load_id)
    .join(
        _step,
        _step.id
        == select(func.max(_last.id)).where(_last.coupon_id == Coupon.id).scalar_subquery(),
    )
    .outerjoin(
        _its,
        _its.id
        == select(func.max(_newest.id)).where(_newest.coupon_id == Coupon.id).scalar_subquery(),
    )
    .where(
        or_(
            Panel.decided.in_(UNDECIDED),
            # What came of a replaced panel rests on its coupons.
            and_(Panel.decided == Decided.REPLACED, Panel.id.in_(came_to(UNDECIDED))),
        )
    )
    .where(_step.step.in_(AT_HAND), goes_ahead(Load.id))
    .where(free_of_trouble(Coupon.id))
    .where(or_(_its.id.is_(None), _its.provisional, _its.verdict == "not_proven"))
    .order_by(_step.taken_at, Coupon.id)
    .limit(bindparam("most"))
)


def awaiting(session: Session, *, most: int = MOST_WAITING) -> list[Waiting]:
    """Coupons waiting for the bench, longest first; one query.

    Recovered, of a panel that is not settled, nor replaced by panels that are, and without a final
    verdict: none yet, a provisional one, or one that is not proven. A missing coupon does not wait,
    nor one in doubt.
    """
    rows = session.execute(_AWAITING, {"most": most})
    return [Waiting(*row[:8], provisional=bool(row[8])) for row in rows]


def expected_coupons(
    session: Session, *, quantity: Quantity, unit: str, zone: tzinfo
) -> dict[str, list[Expected]]:
    """Every coupon of the loads that wait for the bench, by load, in the order of its stations.

    What each still needs is of the given quantity. Coupons of panels with which nothing more is
    done are left out. The number of queries does not depend on how many there are.
    """
    loads = list(dict.fromkeys(one.load for one in awaiting(session)))
    rows = _not_ended(session, seats_in(session, loads))
    files = files_of(session, rows)
    by_load: dict[str, list[Expected]] = {load: [] for load in loads}
    for row in rows:
        seat = _seat(row)
        needed = still_needed(files[seat.coupon_id], zone, quantity=quantity, unit=unit)
        at_hand = seat.custody in AT_HAND and row.free
        by_load[seat.load].append(Expected(seat, needed, at_hand))
    return by_load


def expected_coupon(session: Session, code: str) -> Seat:
    """The coupon of that identity, if the bench may measure it now.

    Raises:
        NotFound: no coupon has the identity; says what else has it.
        Refusal: it rode in no load, is not recovered yet, is missing, in doubt or shelved, or
            nothing more is done with its panel.
    """
    return _expected(session, code)[0]


def expected_file(
    session: Session, code: str, *, known: Unmoved | None = None
) -> tuple[Seat, CouponFile]:
    """The same, with the coupon's file; ``known`` has sessions that need not be read again.

    Raises:
        NotFound: as `expected_coupon`.
        Refusal: as `expected_coupon`.
    """
    seat, row = _expected(session, code)
    return seat, files_of(session, [row], known=known)[seat.coupon_id]


def _expected(session: Session, code: str) -> tuple[Seat, SeatRow]:
    row = seat_by_code(session, code)
    if row is None or row.custody is None:
        raise _why_not_expected(session, code)
    seat = _seat(row)
    if row.panel_decided in ENDED:
        became = came_of(session, row.panel_id)
        if not _not_ended(session, [row]):
            raise _ended(seat, row, [f"{one.code} ({one.decided.value})" for one in became])
        seat = replace(seat, replaced_by=tuple(one.code for one in became))
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
    if not row.free:
        raise Refusal(troubled(session, [seat.coupon_id])[seat.coupon_id])
    return seat, row


def _not_ended(session: Session, rows: Sequence[SeatRow]) -> list[SeatRow]:
    """Those of a panel with which something is still done, by itself or by what came of it."""
    replaced = {row.panel_id for row in rows if row.panel_decided is Decided.REPLACED}
    left = lives_on(session, replaced)
    return [row for row in rows if row.panel_decided not in ENDED or row.panel_id in left]


def _ended(seat: Seat, row: SeatRow, became: Sequence[str]) -> Refusal:
    """The refusal of a coupon whose panel, with all that came of it, is ended; says how."""
    told = why_final(seat.panel, row.panel_decided)
    if became:
        told = (
            f"Panel {seat.panel} was replaced by {', '.join(became)}: nothing more is done with "
            "any of them."
        )
    return Refusal(f"Coupon {seat.coupon} is not measured any more. {told}")


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


def _seat(row: SeatRow) -> Seat:
    return Seat(row.id, row.code, row.panel, row.load, row.station, row.custody, row.has_drafts)


_verdict = CouponVerdict.__table__.c
_NEWEST = (
    select(func.max(_verdict.id))
    .where(_verdict.coupon_id.in_(bindparam("keys", expanding=True)))
    .group_by(_verdict.coupon_id)
)
_LATEST = select(CouponVerdict).where(CouponVerdict.id.in_(_NEWEST))


def latest_coupon_verdicts(
    session: Session, coupon_ids: Collection[int]
) -> dict[int, CouponVerdict]:
    """The newest verdict of each coupon, by coupon id; one query. None: not there."""
    found = session.scalars(_LATEST, {"keys": list(coupon_ids)})
    return {row.coupon_id: row for row in found}
