"""What is read about studies of testers. Readings are handed out only once a study has ended."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.bench.records import StudyClosing, StudyReading, TesterStudy
from app.equipment.records import Tester
from app.errors import NotFound
from app.people.queries import names
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class StudyAtWork:
    """A study as it stands: what was fixed when it was opened, and how far each operator is.

    ``operators`` are names by person key, in the order given; ``taken`` counts readings by the same
    keys. ``ended`` is None while it runs; its ``result`` is None where the study was given up.
    """

    id: int
    tester_id: int
    tester: str
    tester_name: str
    quantity: str
    unit: str
    resolution: Decimal | None
    reach: tuple[Decimal | None, Decimal | None]
    purpose: str
    parts: tuple[str, ...]
    trials: int
    opened_by: str
    opened_at: datetime
    operators: Mapping[int, str]
    taken: Mapping[int, int] = field(default_factory=dict)
    ended: "StudyEnd | None" = None

    @property
    def each(self) -> int:
        """How many readings every operator takes."""
        return len(self.parts) * self.trials

    @property
    def is_complete(self) -> bool:
        """Whether every operator has taken every reading."""
        return all(self.taken.get(key, 0) == self.each for key in self.operators)


@dataclass(frozen=True, slots=True)
class StudyEnd:
    """How a study ended: its result as kept (None: given up), the remark, who and when."""

    result: dict[str, Any] | None
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class StudyLine:
    """One study in the list: ``counted`` is its repeatability once it is closed with a result."""

    id: int
    tester: str
    purpose: str
    opened_at: datetime
    state: str
    counted: str | None
    unit: str


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One reading of an ended study."""

    operator_id: int
    part: str
    trial: int
    value: Decimal
    at: datetime


def study(session: Session, study_id: int) -> StudyAtWork:
    """The study of that number.

    Raises:
        NotFound: there is none.
    """
    row = session.execute(
        select(TesterStudy, Tester, Person.full_name)
        .join(Tester, Tester.id == TesterStudy.tester_id)
        .join(Person, Person.id == TesterStudy.opened_by_id)
        .where(TesterStudy.id == study_id)
    ).one_or_none()
    if row is None:
        raise NotFound(f"There is no study {study_id}.")
    opened, tester, opened_by = row
    people = names(session)
    taken = session.execute(
        select(StudyReading.operator_id, func.count(StudyReading.id))
        .where(StudyReading.study_id == study_id)
        .group_by(StudyReading.operator_id)
    )
    closing = session.execute(
        select(StudyClosing, Person.full_name)
        .join(Person, Person.id == StudyClosing.closed_by_id)
        .where(StudyClosing.study_id == study_id)
    ).one_or_none()
    return StudyAtWork(
        id=opened.id,
        tester_id=tester.id,
        tester=tester.code,
        tester_name=tester.name,
        quantity=tester.quantity,
        unit=tester.unit,
        resolution=tester.resolution,
        reach=(tester.measures_from, tester.measures_to),
        purpose=opened.purpose,
        parts=tuple(opened.parts),
        trials=opened.trials,
        opened_by=opened_by,
        opened_at=opened.opened_at,
        operators={key: people[key] for key in opened.operators},
        taken={key: count for key, count in taken},  # noqa: C416 - rows are not pairs to mypy
        ended=None
        if closing is None
        else StudyEnd(closing[0].result, closing[0].reason, closing[1], closing[0].closed_at),
    )


def studies(session: Session, *, most: int = 100) -> list[StudyLine]:
    """The newest studies, running ones first; one query."""
    rows = session.execute(
        select(TesterStudy, Tester.code, Tester.unit, StudyClosing)
        .join(Tester, Tester.id == TesterStudy.tester_id)
        .outerjoin(StudyClosing, StudyClosing.study_id == TesterStudy.id)
        .order_by(StudyClosing.id.is_(None).desc(), TesterStudy.id.desc())
        .limit(most)
    )
    return [
        StudyLine(
            opened.id,
            code,
            opened.purpose,
            opened.opened_at,
            _state(closing),
            closing.result["counted"] if closing is not None and closing.result else None,
            unit,
        )
        for opened, code, unit, closing in rows
    ]


def running_study(session: Session, tester_id: int) -> int | None:
    """The number of the study of a tester that has not ended, or None."""
    return session.scalar(
        select(TesterStudy.id)
        .outerjoin(StudyClosing, StudyClosing.study_id == TesterStudy.id)
        .where(TesterStudy.tester_id == tester_id, StudyClosing.id.is_(None))
        .order_by(TesterStudy.id)
        .limit(1)
    )


def studies_of(session: Session, person_id: int) -> list[StudyLine]:
    """The running studies in which the person still has something to measure, oldest first."""
    mine = session.execute(
        select(TesterStudy, Tester.code, Tester.unit)
        .join(Tester, Tester.id == TesterStudy.tester_id)
        .outerjoin(StudyClosing, StudyClosing.study_id == TesterStudy.id)
        .where(StudyClosing.id.is_(None))
        .order_by(TesterStudy.id)
    ).all()
    taken = {
        row.study_id: row.taken
        for row in session.execute(
            select(StudyReading.study_id, func.count(StudyReading.id).label("taken"))
            .where(
                StudyReading.operator_id == person_id,
                StudyReading.study_id.in_([opened.id for opened, *_ in mine]),
            )
            .group_by(StudyReading.study_id)
        )
    }
    return [
        StudyLine(opened.id, code, opened.purpose, opened.opened_at, _state(None), None, unit)
        for opened, code, unit in mine
        if person_id in opened.operators
        and taken.get(opened.id, 0) < len(opened.parts) * opened.trials
    ]


def study_trials(session: Session, study_id: int) -> Sequence[TrialLine]:
    """Every reading of a study in the order taken. For its closing, and pages once it has ended."""
    return [
        TrialLine(*row)
        for row in session.execute(
            select(
                StudyReading.operator_id,
                StudyReading.part,
                StudyReading.trial,
                StudyReading.value,
                StudyReading.taken_at,
            )
            .where(StudyReading.study_id == study_id)
            .order_by(StudyReading.id)
        )
    ]


def _state(closing: StudyClosing | None) -> str:
    if closing is None:
        return "running"
    return "given up" if closing.result is None else "closed"
