"""Coupons whose conductivity does not conform, and the moves that are left for each."""

from dataclasses import dataclass
from datetime import tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.entry import hidden_for_now
from app.bench.queries.evidence import coupon_files
from app.bench.queries.sessions import BenchAtWork, running_sessions
from app.bench.queries.waiting import latest_coupon_verdicts
from app.bench.records import Reading
from app.bench.rules.coupon_file import CouponFile, judge_file
from app.bench.rules.moves import Move, moves, next_move
from app.bench.rules.verdict import Judged, verdict_on
from app.judging.units import Quantity
from app.judging.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Walk:
    """The moves for one coupon, in order.

    ``hardness_session`` is the open session in which the person who looks measures hardness.
    """

    coupon: str
    made: tuple[Move, ...]
    hardness_session: int | None

    @property
    def next(self) -> Move | None:
        """The move that comes next."""
        return next_move(self.made)

    def meter_in(self, session_id: int) -> bool:
        """Whether the next move is to check the meter of that session again."""
        return self.next is not None and self.next.session_id == session_id


def walk_for(
    session: Session, file: CouponFile, judged: Judged, *, person_id: int, zone: tzinfo
) -> Walk | None:
    """The moves for a coupon; None where its conductivity does not speak against it."""
    made = moves(file, judged, zone)
    if not made:
        return None
    return Walk(file.code, made, _hardness_session(session, person_id))


def walks_in(session: Session, bench: BenchAtWork, *, person_id: int, zone: tzinfo) -> list[Walk]:
    """The coupons measured in a session that have a move left, in the order first measured.

    One that is measured blind comes once all its readings are in, as before that nothing may tell
    how it stands.
    """
    measured = session.scalars(
        select(Reading.coupon_id).where(Reading.session_id == bench.id).order_by(Reading.id)
    )
    keys = list(dict.fromkeys(measured))
    latest = latest_coupon_verdicts(session, keys)
    failed = [
        key
        for key in keys
        if key in latest
        and verdict_on(latest[key].paper, Quantity.CONDUCTIVITY.value) is Verdict.DOES_NOT_CONFORM
    ]
    hidden = hidden_for_now(session, failed, zone=zone) if failed else set()
    failed = [key for key in failed if key not in hidden]
    if not failed:
        return []
    files = coupon_files(session, failed)
    hardness_session = _hardness_session(session, person_id)
    walks = [
        Walk(files[key].code, moves(files[key], judge_file(files[key], files, zone), zone), None)
        for key in failed
    ]
    return [Walk(one.coupon, one.made, hardness_session) for one in walks if one.next is not None]


def _hardness_session(session: Session, person_id: int) -> int | None:
    own = [
        one.id
        for one in running_sessions(session)
        if one.operator_id == person_id and one.quantity == Quantity.HARDNESS.value
    ]
    return own[0] if own else None
