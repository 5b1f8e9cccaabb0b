"""A coupon's readings as its page shows them: every figure ever recorded, and what became of it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from fractions import Fraction
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.baseline import BaselineLine
from app.bench.queries.changes import (
    CorrectionLine,
    VoidLine,
    correction_requests,
    void_requests,
)
from app.bench.queries.sessions import BenchAtWork, CheckLine
from app.bench.records import BenchSession, Reading
from app.bench.rules.coupon_file import CouponFile, ReadingFile, why_not_counted
from app.bench.rules.framing import Frame, frame
from app.equipment.records import Tester
from app.judging.rounding import mean, shown_working
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """A reading as the coupon's page shows it. ``why_not`` is None where it counts.

    ``replaces`` and ``replaced_by`` are numbers of readings; ``report`` names a laboratory's;
    ``late_reason`` says why it was entered later than it was taken; ``frame`` holds the checks
    about it, None for a laboratory's.
    """

    id: int
    number: int
    quantity: str
    unit: str
    value: Decimal
    indentation: dict[str, Any] | None
    coupon_c: Decimal | None
    block_c: Decimal | None
    tester: str | None
    session_id: int | None
    report: str | None
    taken_by_id: int
    taken_by: str
    username: str
    taken_at: datetime
    entered_at: datetime
    late_reason: str | None
    set_number: int | None
    replaces: int | None
    replaced_by: int | None
    reason: str | None
    evidence: str | None
    evidence_sha256: str | None
    struck: bool
    why_not: str | None
    provisional: bool
    frame: Frame[CheckLine] | None
    voids: tuple[VoidLine, ...]
    corrections: tuple[CorrectionLine, ...]

    @property
    def void_open(self) -> VoidLine | None:
        """The request to void it that waits for an answer, or None."""
        return next((one for one in self.voids if one.approved is None), None)

    @property
    def correction_open(self) -> CorrectionLine | None:
        """The correction of it that waits for an answer, or None."""
        return next((one for one in self.corrections if one.approved is None), None)

    @property
    def sizes(self) -> tuple[str, ...]:
        """The sizes of its indentation, mm, as measured; empty where the number was keyed."""
        paper = self.indentation or {}
        return tuple(paper.get("diagonals_mm") or paper.get("diameters_mm") or ())


def reading_lines(
    session: Session,
    file: CouponFile,
    sessions: Mapping[int, BenchAtWork],
    *,
    zone: tzinfo,
) -> list[ReadingLine]:
    """The coupon's readings in the order recorded, each with whether it counts and why not.

    ``sessions`` are those in which it was measured. Three queries.
    """
    by_id = {one.id: one for one in file.readings}
    rows = _rows(session, file)
    replaced_by = {row.replaces_id: row.id for row, *_ in rows if row.replaces_id is not None}
    voids: dict[int, list[VoidLine]] = defaultdict(list)
    for void in void_requests(session, file.id):
        voids[void.reading_id].append(void)
    corrections: dict[int, list[CorrectionLine]] = defaultdict(list)
    for asked in correction_requests(session, file.id):
        corrections[asked.reading_id].append(asked)
    lines = []
    for row, person, username, tester in rows:
        one = by_id[row.id]
        why_not, provisional = why_not_counted(one, file, zone)
        checks = sessions[row.session_id].checks if row.session_id is not None else None
        lines.append(
            ReadingLine(
                id=row.id,
                number=one.number,
                quantity=one.quantity.words,
                unit=one.unit,
                value=one.value,
                indentation=row.indentation,
                coupon_c=one.coupon_c,
                block_c=one.block_c,
                tester=tester,
                session_id=row.session_id,
                report=row.report,
                taken_by_id=row.taken_by_id,
                taken_by=person,
                username=username,
                taken_at=one.taken_at,
                entered_at=row.entered_at,
                late_reason=row.late_reason,
                set_number=one.set_number,
                replaces=_number(by_id, row.replaces_id),
                replaced_by=_number(by_id, replaced_by.get(row.id)),
                reason=row.reason,
                evidence=row.evidence,
                evidence_sha256=row.evidence_sha256,
                struck=one.voided is not None or one.replaced,
                why_not=why_not,
                provisional=provisional,
                frame=None if checks is None else frame(one.taken_at, checks),
                voids=tuple(voids[one.id]),
                corrections=tuple(corrections[one.id]),
            )
        )
    return lines


def _rows(session: Session, file: CouponFile) -> list[Any]:
    """The rows with who took them and at which tester, in the order recorded."""
    return list(
        session.execute(
            select(Reading, Person.full_name, Person.username, Tester.code)
            .join(Person, Person.id == Reading.taken_by_id)
            .outerjoin(BenchSession, BenchSession.id == Reading.session_id)
            .outerjoin(Tester, Tester.id == BenchSession.tester_id)
            .where(Reading.coupon_id == file.id)
            .order_by(Reading.id)
        )
    )


def _number(by_id: Mapping[int, ReadingFile], reading_id: int | None) -> int | None:
    return None if reading_id is None else by_id[reading_id].number


def sessions_of(file: CouponFile) -> set[int]:
    """The numbers of the sessions in which the coupon was measured."""
    return {one.session_id for one in file.readings if one.session_id is not None}


@dataclass(frozen=True, slots=True)
class Change:
    """Means before and after the furnace of one quantity, as read, and their difference; unrounded.

    ``before_of`` and ``after_of`` are the numbers of readings in them.
    """

    quantity: str
    unit: str
    before: Fraction
    before_of: int
    after: Fraction
    after_of: int

    @property
    def words(self) -> tuple[str, str, str]:
        """Mean before, mean after and their difference with its sign, as spoken."""
        rise = self.after - self.before
        sign = "+" if rise > 0 else ""
        return (
            f"{shown_working(self.before)} (mean of {self.before_of})",
            f"{shown_working(self.after)} (mean of {self.after_of})",
            f"{sign}{shown_working(rise)}",
        )


def changes_since(
    before: Sequence[BaselineLine], readings: Sequence[ReadingLine]
) -> tuple[Change, ...]:
    """What the furnace changed: each standing baseline beside the counting readings of its unit.

    Of the first test only. Both are as read, without corrections: the difference decides nothing.
    """
    changes = []
    for line in before:
        after = [
            one.value
            for one in readings
            if one.why_not is None
            and one.set_number is None
            and (one.quantity, one.unit) == (line.quantity.words, line.unit)
        ]
        if after and line.why_not is None and not line.overtaken:
            changes.append(
                Change(
                    line.quantity.words,
                    line.unit,
                    line.mean,
                    len(line.readings),
                    mean(tuple(map(Fraction, after))),
                    len(after),
                )
            )
    return tuple(changes)
