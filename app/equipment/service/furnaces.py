"""What is entered about a furnace: to what it is kept, its checks, and work on it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.equipment import queries
from app.equipment.queries import CheckBasis
from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    FurnaceCheckKind,
    FurnaceQualification,
    MaintenanceEvent,
)
from app.equipment.rules.reports import SentFile, outcome_by_figures
from app.equipment.rules.results import judge_figures
from app.equipment.service.terms import Term, check_done, keep_file, last_day, until_words
from app.errors import refuse
from app.judging.furnace.procedure import CheckKind, Procedure
from app.judging.verdict import Finding
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class Report:
    """A survey, accuracy test or calibration as its report states it.

    ``figures`` are its results in the form of :mod:`app.equipment.rules.results`; None: entered
    bare. ``passed`` is what the report states; figures that contradict a pass refuse it.
    """

    kind: FurnaceCheckKind
    term: Term
    passed: bool
    number: str
    note: str = ""
    figures: Mapping[str, Any] | None = None
    file: SentFile | None = None


def qualify_furnace(
    database: Database,
    *,
    furnace: str,
    procedure: str,
    furnace_class: str,
    instrumentation_type: str,
    in_force_from: date,
    note: str,
    by: Actor,
    at: datetime,
) -> int:
    """Enter which procedure governs a furnace and to which class and type it is kept.

    It counts from ``in_force_from`` on, once a second person has accepted it; the key is handed
    back.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such furnace, or what the procedure does not say.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    with database.write() as session:
        found = queries.furnace(session, furnace)
        governing = queries.find_procedure(session, procedure, at=at)
        if governing is None:
            refuse(
                "procedure",
                f"No verified revision of a pyrometry procedure {procedure} is in force; a "
                "supervisor who did not write it can verify it.",
            )
        letter = instrumentation_type.upper()
        _check_covered(governing.procedure, furnace_class, letter)
        row = FurnaceQualification(
            furnace_id=found.id,
            procedure_id=governing.requirement_id,
            furnace_class=furnace_class,
            instrumentation_type=letter,
            in_force_from=in_force_from,
            note=note,
            entered_by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.FURNACE_QUALIFIED,
            by=by,
            at=at,
            about=("furnace", found.code),
            rows=[row],
            note=f"to {procedure}, class {furnace_class}, type {letter}, from {in_force_from}",
        )
        return row.id


def record_furnace_check(
    database: Database, *, furnace: str, report: Report, by: Actor, at: datetime
) -> int:
    """Record a uniformity survey, system accuracy test or recorder calibration, passed or not.

    With figures it is judged at once by the procedure that governs the furnace. It counts once a
    second person has accepted it; the key is handed back.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such furnace, or what cannot be.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    check_done(report.term.done_on, at)
    with database.write() as session:
        found = queries.furnace(session, furnace)
        basis = queries.check_basis(session, found.id, report.kind, report.term.done_on, at=at)
        passed, due_on = _weighed(report, basis)
        digest, kept = keep_file(session, report.file, at=at)
        check = FurnaceCheck(
            furnace_id=found.id,
            kind=report.kind,
            done_on=report.term.done_on,
            due_on=due_on,
            passed=passed,
            report=report.number,
            note=report.note,
            entered_by_id=by.id,
            entered_at=at,
            made_to_class=None if basis is None else basis.furnace_class,
            made_to_type=None if basis is None else basis.instrumentation_type,
            interval=None if basis is None else basis.paper,
            results=None if report.figures is None else dict(report.figures),
            report_sha256=digest,
        )
        session.add(check)
        bare = ", entered bare" if report.figures is None else ""
        append(
            session,
            Tag.FURNACE_CHECK_RECORDED,
            by=by,
            at=at,
            about=("furnace", found.code),
            rows=[*kept, check],
            note=f"{report.kind.value} {report.number}, {'passed' if passed else 'failed'}{bare}; "
            f"{until_words(check.done_on, due_on)}",
        )
        return check.id


def look_at_report(
    session: Session, furnace: Furnace, report: Report, *, at: datetime
) -> tuple[tuple[Finding, ...], date]:
    """What a report's figures show and its last day, before anything is recorded.

    Raises:
        Refusal: what cannot be read or judged; a stated outcome is not looked at.
    """
    basis = queries.check_basis(session, furnace.id, report.kind, report.term.done_on, at=at)
    findings = () if report.figures is None else _findings(report, basis)
    return findings, _last_day(report.term, basis)


def record_maintenance(
    database: Database,
    *,
    furnace: str,
    event: str,
    happened_on: date,
    asks_for: Collection[FurnaceCheckKind],
    note: str,
    by: Actor,
    at: datetime,
) -> None:
    """Record work on a furnace; the checks its procedure asks for then must be made anew.

    ``asks_for`` may add checks to those of the procedure, never take one away.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such furnace, or a day still to come.
    """
    require(by, Act.RECORD_MAINTENANCE)
    if happened_on > at.date():
        refuse("happened_on", f"{happened_on} is still to come; give the day of the work.")
    with database.write() as session:
        found = queries.furnace(session, furnace)
        procedure = queries.governing_procedure(session, found.id, on=happened_on, at=at)
        rule = None if procedure is None else procedure.asked_by(event)
        asked = {kind.value for kind in asks_for}
        asked |= {kind.value for kind in rule.asks_for} if rule is not None else set()
        row = MaintenanceEvent(
            furnace_id=found.id,
            event=event,
            happened_on=happened_on,
            asks_for=[kind.value for kind in FurnaceCheckKind if kind.value in asked],
            note=note,
            entered_by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.MAINTENANCE_RECORDED,
            by=by,
            at=at,
            about=("furnace", found.code),
            rows=[row],
            note=f"{event}, {happened_on}; asks for {', '.join(row.asks_for) or 'no check'}",
        )


def _check_covered(procedure: Procedure, furnace_class: str, letter: str) -> None:
    """Refuse a class or type that the procedure does not define or has no intervals for."""
    if procedure.class_rule(furnace_class) is None:
        known = ", ".join(row.furnace_class for row in procedure.classes)
        refuse(
            "furnace_class",
            f"{procedure.title} has no class {furnace_class}; choose one of {known}.",
        )
    if letter not in procedure.instrumentation_types:
        known = ", ".join(procedure.instrumentation_types)
        refuse(
            "instrumentation_type",
            f"{procedure.title} has no instrumentation type {letter}; choose one of {known}.",
        )
    for kind in CheckKind:
        if procedure.interval(kind, furnace_class, letter) is None:
            refuse(
                "furnace_class",
                f"{procedure.title} does not say how often a {kind} is made in class "
                f"{furnace_class}, type {letter}; add the interval there first.",
            )


def _weighed(report: Report, basis: CheckBasis | None) -> tuple[bool, date]:
    """Whether the report passed, and the last day it holds."""
    due_on = _last_day(report.term, basis)
    if not report.passed and not report.note:
        refuse("note", "Say what failed, and what is done about it.")
    if report.figures is None:
        return report.passed, due_on
    findings = _findings(report, basis)
    return outcome_by_figures(findings, stated_passed=report.passed), due_on


def _findings(report: Report, basis: CheckBasis | None) -> tuple[Finding, ...]:
    if basis is None or report.figures is None:
        refuse(
            "kind",
            "Figures are judged by the furnace's pyrometry procedure, and none governs it yet: "
            "enter its qualification and have it accepted first, or enter the report bare.",
        )
    kind = CheckKind(report.kind.value)
    return judge_figures(kind, report.figures, basis.procedure, furnace_class=basis.furnace_class)


def _last_day(term: Term, basis: CheckBasis | None) -> date:
    if basis is None:
        return last_day(term, None, why="")
    why = f"{basis.procedure.title} asks for one every {basis.every}"
    return last_day(term, basis.last_day, why=why)
