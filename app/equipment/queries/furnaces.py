"""Everything on record about furnaces that a load may rest on; a fixed number of queries."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import BindParameter, Row, Text, bindparam, case, select, type_coerce
from sqlalchemy.orm import Session, aliased

from app.documents.pyrometry import procedure_from_json
from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    FurnaceCheckKind,
    FurnaceQualification,
    MaintenanceEvent,
    ReportReview,
)
from app.equipment.rules.results import survey_of
from app.judging.furnace.furnace_checks import (
    CheckOnRecord,
    FurnaceOnDay,
    Maintenance,
    Review,
    counting,
    is_accepted,
)
from app.judging.furnace.furnace_reports import SurveyedRange, surveyed_range
from app.judging.furnace.procedure import CheckKind, Procedure
from app.judging.furnace.zone import Zone
from app.judging.verdict import Verdict
from app.people.records import Person
from app.requirements import queries as requirements
from app.requirements.queries import Revision
from app.requirements.records import Requirement, RequirementKind

_MOST_PROCEDURES = 64
_kept_procedures: dict[str, Procedure] = {}
_enters, _reviews = aliased(Person), aliased(Person)


@dataclass(frozen=True, slots=True)
class Qualification:
    """To what a furnace is kept from a day on; it counts once a second person has accepted it."""

    id: int
    procedure_code: str
    furnace_class: str
    instrumentation_type: str
    done_on: date
    """From when it is in force, that day included."""
    entered_by: str
    review: Review | None


@dataclass(frozen=True, slots=True)
class FurnaceFile:
    """One furnace with every qualification, check and work on it, the newest entry first."""

    code: str
    qualifications: tuple[Qualification, ...]
    checks: tuple[CheckOnRecord, ...]
    maintenance: tuple[Maintenance, ...]
    procedures: tuple[Revision, ...]
    """Every revision of every pyrometry procedure."""

    def qualification(self, on: date) -> Qualification | None:
        """What it is kept to on a day."""
        return counting(self.qualifications, on=on)

    def on_day(self, on: date) -> FurnaceOnDay:
        """The furnace as it is judged for a load that starts on a day.

        Checks from before the last good one are left out: nothing rests on them any more.
        """
        kept = self.qualification(on)
        return FurnaceOnDay(
            code=self.code,
            furnace_class=None if kept is None else kept.furnace_class,
            instrumentation_type=None if kept is None else kept.instrumentation_type,
            checks=tuple(_still_told(self.checks, on)),
            maintenance=self.maintenance,
        )

    def revision(self, *, on: date, at: datetime) -> Revision | None:
        """The verified revision of its procedure in force at a moment, which lies on that day."""
        kept = self.qualification(on)
        if kept is None:
            return None
        return next(
            (
                one
                for one in reversed(self.procedures)
                if one.code == kept.procedure_code and one.in_force(at)
            ),
            None,
        )

    def procedure(self, *, on: date, at: datetime) -> Procedure | None:
        """What that revision says; None where no verified procedure governs the furnace then."""
        revision = self.revision(on=on, at=at)
        return None if revision is None else procedure_of(revision)


def _still_told(checks: Sequence[CheckOnRecord], on: date) -> Iterator[CheckOnRecord]:
    """The checks from the last good one of their kind on; all of a kind that has none."""
    last_good: dict[CheckKind, date] = {}
    for check in checks:
        if check.done_on <= on and check.verdict is Verdict.CONFORMS and is_accepted(check):
            last_good[check.kind] = max(check.done_on, last_good.get(check.kind, check.done_on))
    for check in checks:
        if check.done_on >= last_good.get(check.kind, date.min):
            yield check


def procedure_of(revision: Revision) -> Procedure:
    """What a procedure's revision says. Papers never change, so each is read once."""
    kept = _kept_procedures.get(revision.paper_sha256)
    if kept is None:
        kept = procedure_from_json(revision.paper, filename=f"{revision.code} {revision.revision}")
        if len(_kept_procedures) >= _MOST_PROCEDURES:
            _kept_procedures.clear()
        _kept_procedures[revision.paper_sha256] = kept
    return kept


def furnace_files(session: Session, furnace_ids: Iterable[int]) -> dict[int, FurnaceFile]:
    """The furnaces' files by key; five queries however many furnaces."""
    keys = sorted(set(furnace_ids))
    asked = {"keys": keys}
    codes: dict[int, str] = {row.id: row.code for row in session.execute(_FURNACES, asked)}
    qualifications = _by_furnace(session.execute(_QUALIFICATIONS, asked))
    checks = _by_furnace(session.execute(_CHECKS, asked))
    maintenance = _by_furnace(session.execute(_MAINTENANCE, asked))
    procedures = tuple(
        requirements.revisions(session, kind=RequirementKind.PYROMETRY_PROCEDURE) if keys else ()
    )
    return {
        key: FurnaceFile(
            code=code,
            qualifications=tuple(_qualification(row) for row in qualifications.get(key, ())),
            checks=tuple(_check(row) for row in checks.get(key, ())),
            maintenance=tuple(_work(row) for row in maintenance.get(key, ())),
            procedures=procedures,
        )
        for key, code in codes.items()
    }


def furnace_file(session: Session, furnace_id: int) -> FurnaceFile:
    """One furnace's file."""
    return furnace_files(session, [furnace_id])[furnace_id]


def maintenance_events(session: Session, furnace_id: int) -> Sequence[MaintenanceEvent]:
    """Work on a furnace, newest first."""
    return session.scalars(
        select(MaintenanceEvent)
        .where(MaintenanceEvent.furnace_id == furnace_id)
        .order_by(MaintenanceEvent.happened_on.desc(), MaintenanceEvent.id.desc())
    ).all()


def _by_furnace(rows: Iterable[Row[Any]]) -> Mapping[int, Sequence[Row[Any]]]:
    found: dict[int, list[Row[Any]]] = {}
    for row in rows:
        found.setdefault(row.furnace_id, []).append(row)
    return found


_REVIEWED = (
    _enters.full_name.label("entered_by"),
    ReportReview.accepted,
    _reviews.full_name.label("reviewed_by"),
)
# Built once: putting a statement together takes longer than running it for one furnace.
_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_FURNACES = select(Furnace.id, Furnace.code).where(Furnace.id.in_(_KEYS))
_QUALIFICATIONS: Any = (
    select(
        FurnaceQualification.furnace_id,
        FurnaceQualification.id,
        FurnaceQualification.furnace_class,
        FurnaceQualification.instrumentation_type,
        FurnaceQualification.in_force_from,
        Requirement.code.label("procedure_code"),
        *_REVIEWED,
    )
    .join(Requirement, Requirement.id == FurnaceQualification.procedure_id)
    .join(_enters, _enters.id == FurnaceQualification.entered_by_id)
    .outerjoin(ReportReview, ReportReview.qualification_id == FurnaceQualification.id)
    .outerjoin(_reviews, _reviews.id == ReportReview.reviewed_by_id)
    .where(FurnaceQualification.furnace_id.in_(_KEYS))
    .order_by(FurnaceQualification.id.desc())
)
_CHECKS: Any = (
    select(
        FurnaceCheck.furnace_id,
        FurnaceCheck.kind,
        FurnaceCheck.done_on,
        FurnaceCheck.due_on,
        FurnaceCheck.passed,
        FurnaceCheck.report,
        FurnaceCheck.made_to_class,
        FurnaceCheck.made_to_type,
        # Only a survey's figures are looked into: for its zone and its temperatures.
        case(
            (
                FurnaceCheck.kind == FurnaceCheckKind.UNIFORMITY_SURVEY,
                type_coerce(FurnaceCheck.results, Text),
            )
        ).label("results"),
        *_REVIEWED,
    )
    .join(_enters, _enters.id == FurnaceCheck.entered_by_id)
    .outerjoin(ReportReview, ReportReview.furnace_check_id == FurnaceCheck.id)
    .outerjoin(_reviews, _reviews.id == ReportReview.reviewed_by_id)
    .where(FurnaceCheck.furnace_id.in_(_KEYS))
    .order_by(FurnaceCheck.id.desc())
)
_MAINTENANCE = (
    select(
        MaintenanceEvent.furnace_id,
        MaintenanceEvent.event,
        MaintenanceEvent.happened_on,
        MaintenanceEvent.asks_for,
    )
    .where(MaintenanceEvent.furnace_id.in_(_KEYS))
    .order_by(MaintenanceEvent.id.desc())
)


def _qualification(row: Row[Any]) -> Qualification:
    return Qualification(
        id=row.id,
        procedure_code=row.procedure_code,
        furnace_class=row.furnace_class,
        instrumentation_type=row.instrumentation_type,
        done_on=row.in_force_from,
        entered_by=row.entered_by,
        review=review_of(row),
    )


def _check(row: Row[Any]) -> CheckOnRecord:
    surveyed, zone = _surveyed(row.results) if row.results else (None, None)
    return CheckOnRecord(
        kind=CheckKind(row.kind.value),
        done_on=row.done_on,
        due_on=row.due_on,
        verdict=Verdict.CONFORMS if row.passed else Verdict.DOES_NOT_CONFORM,
        made_to_class=row.made_to_class,
        made_to_type=row.made_to_type,
        entered_by=row.entered_by,
        review=review_of(row),
        report=row.report,
        surveyed=surveyed,
        zone=zone,
    )


def _work(row: Row[Any]) -> Maintenance:
    asked = frozenset(CheckKind(kind) for kind in row.asks_for)
    return Maintenance(row.event, row.happened_on, asked)


def review_of(row: Row[Any]) -> Review | None:
    """What the second person said, from a row's ``accepted`` and ``reviewed_by``; None: nothing."""
    return None if row.accepted is None else Review(row.reviewed_by, row.accepted)


@lru_cache(maxsize=512)
def _surveyed(results: str) -> tuple[SurveyedRange | None, Zone | None]:
    survey = survey_of(json.loads(results))
    return surveyed_range(survey), survey.zone
