"""What is read about testers, bench sessions and their checks."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.bench.queries.evidence import certificates_of
from app.bench.records import BenchSession, BlockCheck, CheckMoment, Reading
from app.bench.rules.bracketing import Check, Standing, session_standing
from app.equipment.records import ReferenceBlock, Tester
from app.equipment.rules import due
from app.errors import NotFound
from app.panels.records import Coupon
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A check on a reference block, as read and as judged."""

    moment: str
    block: str
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
    checks: tuple[CheckLine, ...] = ()

    @property
    def bracketing(self) -> tuple[Check, ...]:
        """The checks as the rules know them."""
        return tuple(Check(one.moment, one.outcome == "conforms", one.at) for one in self.checks)

    @property
    def standing(self) -> Standing:
        """Where the session stands."""
        return session_standing(self.bracketing)


@dataclass(frozen=True, slots=True)
class TesterChoice:
    """A tester on the bench page: whether it may be used today, and who uses it now."""

    code: str
    name: str
    quantity: str
    unit: str
    usable: bool
    words: str
    session_id: int | None
    operator: str | None


@dataclass(frozen=True, slots=True)
class Running:
    """A session whose closing check is still to come."""

    id: int
    tester_id: int
    tester: str
    operator_id: int
    operator: str
    opened_at: datetime


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
    rows = session.execute(
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
        )
        .join(Tester, Tester.id == BenchSession.tester_id)
        .join(Person, Person.id == BenchSession.operator_id)
        .where(BenchSession.id.in_(session_ids))
        .order_by(BenchSession.id)
    ).all()
    checks: dict[int, list[CheckLine]] = {}
    for check in session.execute(
        select(
            BlockCheck.session_id,
            BlockCheck.moment,
            ReferenceBlock.code,
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


def running_sessions(session: Session, tester_id: int | None = None) -> list[Running]:
    """Sessions that take readings now: opening check conforming, not ended; oldest first."""
    last = aliased(BlockCheck)
    newest = select(func.max(last.id)).where(last.session_id == BenchSession.id).scalar_subquery()
    query = (
        select(
            BenchSession.id,
            BenchSession.tester_id,
            Tester.code,
            BenchSession.operator_id,
            Person.full_name,
            BenchSession.opened_at,
        )
        .join(Tester, Tester.id == BenchSession.tester_id)
        .join(Person, Person.id == BenchSession.operator_id)
        .join(BlockCheck, BlockCheck.id == newest)
        .where(BlockCheck.outcome == "conforms", BlockCheck.moment != CheckMoment.CLOSING)
        .order_by(BenchSession.id)
    )
    if tester_id is not None:
        query = query.where(BenchSession.tester_id == tester_id)
    return [Running(*row) for row in session.execute(query)]


def latest_session_of(session: Session, *, tester_id: int, operator_id: int) -> int | None:
    """The person's newest session at the tester, or None."""
    return session.scalar(
        select(func.max(BenchSession.id)).where(
            BenchSession.tester_id == tester_id, BenchSession.operator_id == operator_id
        )
    )


def tester_choices(session: Session, *, on: date) -> list[TesterChoice]:
    """Every tester by code, with whether it is in date on the day and who is at it."""
    testers = session.execute(
        select(Tester.id, Tester.code, Tester.name, Tester.quantity, Tester.unit).order_by(
            Tester.code
        )
    ).all()
    certificates = certificates_of(session, [row.id for row in testers])
    at_work = {one.tester_id: one for one in running_sessions(session)}
    choices = []
    for row in testers:
        state = due([one.paper for one in certificates.get(row.id, ())], on=on)
        running = at_work.get(row.id)
        choices.append(
            TesterChoice(
                code=row.code,
                name=row.name,
                quantity=row.quantity,
                unit=row.unit,
                usable=state.is_in_date,
                words=state.words,
                session_id=running.id if running else None,
                operator=running.operator if running else None,
            )
        )
    return choices


def blocks_for(session: Session, *, quantity: str, unit: str, on: date) -> Sequence[ReferenceBlock]:
    """Reference blocks of that quantity and unit that have not expired, by code."""
    return session.scalars(
        select(ReferenceBlock)
        .where(
            ReferenceBlock.quantity == quantity,
            ReferenceBlock.unit == unit,
            ReferenceBlock.expires_on >= on,
        )
        .order_by(ReferenceBlock.code)
    ).all()


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
