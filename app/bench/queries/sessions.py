"""What is read about bench sessions and their checks."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from app.bench.records import Baseline, BenchSession, BlockCheck, Reading
from app.bench.rules.bracketing import (
    OPENING,
    Check,
    Standing,
    next_check_due,
    opening_blocks,
    session_standing,
    still_to_close,
)
from app.equipment.records import ReferenceBlock, Tester, Thermometer
from app.errors import NotFound
from app.panels.records import Coupon
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A check on a reference block, as read and as judged."""

    moment: str
    block: str
    certified: Decimal
    readings: tuple[Decimal, ...]
    block_c: Decimal | None
    outcome: str
    finding: dict[str, Any]
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class BenchAtWork:
    """A bench session with its tester, its checks in the order made, and where it stands."""

    id: int
    tester_id: int
    tester: str
    tester_name: str
    quantity: str
    unit: str
    frequency_khz: Decimal | None
    operator_id: int
    operator: str
    opened_at: datetime
    check_every_min: int | None
    thermometer: str | None
    checks: tuple[CheckLine, ...] = ()

    @property
    def bracketing(self) -> tuple[Check, ...]:
        """The checks as the rules know them."""
        return tuple(
            Check(one.moment, one.outcome == "conforms", one.at, one.block, one.certified)
            for one in self.checks
        )

    @property
    def standing(self) -> Standing:
        """Where the session stands."""
        return session_standing(self.bracketing)

    @property
    def check_due_at(self) -> datetime | None:
        """When its next check is due; None where none is."""
        return next_check_due(self.bracketing, self.check_every_min)

    @property
    def opened_on(self) -> tuple[str, ...]:
        """The blocks of its opening checks, in the order first checked."""
        return opening_blocks(self.bracketing)

    @property
    def to_close(self) -> tuple[str, ...]:
        """The blocks that want a closing check yet."""
        return still_to_close(self.bracketing)


def bench_session(session: Session, session_id: int) -> BenchAtWork:
    """The session of that number.

    Raises:
        NotFound: there is none.
    """
    found = bench_sessions(session, [session_id]).get(session_id)
    if found is None:
        raise NotFound(f"No bench session {session_id} is on record. Open one at the bench page.")
    return found


def bench_sessions(session: Session, session_ids: Collection[int]) -> dict[int, BenchAtWork]:
    """The sessions of those numbers, in their order; two queries."""
    rows: Sequence[Any] = session.execute(
        select(
            BenchSession.id,
            BenchSession.tester_id,
            Tester.code,
            Tester.name,
            Tester.quantity,
            Tester.unit,
            Tester.frequency_khz,
            BenchSession.operator_id,
            Person.full_name,
            BenchSession.opened_at,
            Tester.check_every_min,
            Thermometer.code,
        )
        .join(Tester, Tester.id == BenchSession.tester_id)
        .join(Person, Person.id == BenchSession.operator_id)
        .outerjoin(Thermometer, Thermometer.id == BenchSession.thermometer_id)
        .where(BenchSession.id.in_(session_ids))
        .order_by(BenchSession.id)
    ).all()
    checks: dict[int, list[CheckLine]] = {}
    for check in session.execute(
        select(
            BlockCheck.session_id,
            BlockCheck.moment,
            ReferenceBlock.code,
            ReferenceBlock.certified_value,
            BlockCheck.readings,
            BlockCheck.block_c,
            BlockCheck.outcome,
            BlockCheck.finding,
            Person.full_name,
            BlockCheck.taken_at,
        )
        .join(ReferenceBlock, ReferenceBlock.id == BlockCheck.block_id)
        .join(Person, Person.id == BlockCheck.by_id)
        .where(BlockCheck.session_id.in_(session_ids))
        .order_by(BlockCheck.id)
    ):
        checks.setdefault(check.session_id, []).append(CheckLine(check.moment.value, *check[2:]))
    return {
        row.id: replace(BenchAtWork(*row), checks=tuple(checks.get(row.id, ()))) for row in rows
    }


def running_sessions(session: Session, tester_id: int | None = None) -> list[BenchAtWork]:
    """Sessions that have begun and have not ended, the oldest first; a tester has one at most.

    While one runs, no other session checks its tester, so it is the one of the last check there.
    """
    last = (
        select(func.max(BlockCheck.id))
        .join(BenchSession, BenchSession.id == BlockCheck.session_id)
        .group_by(BenchSession.tester_id)
    )
    if tester_id is not None:
        last = last.where(BenchSession.tester_id == tester_id)
    found = session.scalars(
        select(BlockCheck.session_id).where(
            BlockCheck.id.in_(last), BlockCheck.outcome == "conforms"
        )
    ).all()
    running = {Standing.OPEN, Standing.CLOSING}
    return [one for one in bench_sessions(session, found).values() if one.standing in running]


def is_used(session: Session, bench: BenchAtWork) -> bool:
    """Whether anything but opening checks has been taken in the session."""
    return any(one.moment != OPENING for one in bench.checks) or any(
        session.scalar(select(exists().where(table.session_id == bench.id)))
        for table in (Reading, Baseline)
    )


def latest_session_of(session: Session, *, tester_id: int, operator_id: int) -> int | None:
    """The person's newest session at the tester, or None."""
    return session.scalar(
        select(func.max(BenchSession.id)).where(
            BenchSession.tester_id == tester_id, BenchSession.operator_id == operator_id
        )
    )


@dataclass(frozen=True, slots=True)
class Save:
    """One form of readings recorded in a session, as it stands in the list of the last ones."""

    coupon_id: int
    coupon: str
    values: tuple[Decimal, ...]
    unit: str
    at: datetime


def last_saves(session: Session, session_id: int, *, most: int = 3) -> list[Save]:
    """The last forms of readings recorded in the session, newest first."""
    newest = session.execute(
        select(Reading.submission)
        .where(Reading.session_id == session_id)
        .group_by(Reading.submission)
        .order_by(func.max(Reading.id).desc())
        .limit(most)
    )
    submissions = [row.submission for row in newest]
    saves: dict[str, Save] = {}
    for row in session.execute(
        select(
            Reading.submission,
            Coupon.id,
            Coupon.code,
            Reading.value,
            Reading.unit,
            Reading.entered_at,
        )
        .join(Coupon, Coupon.id == Reading.coupon_id)
        .where(Reading.submission.in_(submissions))
        .order_by(Reading.id)
    ):
        before = saves.get(row.submission)
        values = (*(before.values if before else ()), row.value)
        saves[row.submission] = Save(row.id, row.code, values, row.unit, row.entered_at)
    return [saves[submission] for submission in submissions]


def recent_sessions(session: Session, *, most: int = 10) -> list[tuple[int, str, str, datetime]]:
    """The newest sessions: number, tester, operator, opened; newest first."""
    return [
        (row.id, row.code, row.full_name, row.opened_at)
        for row in session.execute(
            select(BenchSession.id, Tester.code, Person.full_name, BenchSession.opened_at)
            .join(Tester, Tester.id == BenchSession.tester_id)
            .join(Person, Person.id == BenchSession.operator_id)
            .order_by(BenchSession.id.desc())
            .limit(most)
        )
    ]
