"""Studies of a tester: opened, measured blind, and closed with their result or given up."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench.queries.studies import StudyAtWork, running_study, study, study_trials
from app.bench.records import StudyClosing, StudyReading, TesterStudy
from app.bench.rules.bracketing import day_of
from app.bench.rules.plausibility import plausible_reading, why_beyond_tester, why_impossible
from app.bench.rules.study_order import Piece, order_of
from app.bench.rules.study_result import study_result
from app.database import Database
from app.equipment.queries import dues_of_testers
from app.equipment.queries import tester as tester_of
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.units import Quantity
from app.judging.witness.repeatability import Trial, analyse
from app.people import queries as people
from app.people.rights import MAY, Act, require, require_to_measure

OPERATORS, PARTS, TRIALS = (2, 5), (3, 15), (2, 5)
"""Fewest and most of each, included."""
LONGEST_PART = 40
SHORTEST_REASON = 10


@dataclass(frozen=True, slots=True)
class StudyWanted:
    """A study as asked for: the parts' labels in the order given, the operators' keys."""

    tester_code: str
    purpose: str
    parts: tuple[str, ...]
    operators: tuple[int, ...]
    trials: int


@dataclass(frozen=True, slots=True)
class StudyFigure:
    """One reading of a study as keyed: which piece the form was shown for, and the value."""

    study_id: int
    piece: Piece
    value: Decimal


def open_study(
    database: Database, wanted: StudyWanted, *, by: Actor, at: datetime, zone: tzinfo
) -> int:
    """Open a study and hand back its number; nothing about it can be changed afterwards.

    Raises:
        NotAllowed, NotFound: who may; no such tester.
        Refusal: what was asked for does not fit, or the tester may not be used today.
        Conflict: a study of the tester is running.
    """
    require(by, Act.STUDY_TESTER)
    parts = tuple(label.strip() for label in wanted.parts if label.strip())
    operators = tuple(dict.fromkeys(wanted.operators))
    _refuse_plan(wanted, parts, operators)
    with database.write() as session:
        tester = tester_of(session, wanted.tester_code)
        _refuse_unusable(session, tester.id, tester.code, at=at, zone=zone)
        running = running_study(session, tester.id)
        if running is not None:
            raise Conflict(
                f"Study {running} of {tester.code} is running. Close it or give it up first."
            )
        _refuse_operators(session, operators)
        opened = TesterStudy(
            tester_id=tester.id,
            purpose=wanted.purpose.strip(),
            parts=list(parts),
            operators=list(operators),
            trials=wanted.trials,
            opened_by_id=by.id,
            opened_at=at,
        )
        session.add(opened)
        session.flush()
        note = f"study {opened.id}: {len(operators)} operators, {len(parts)} parts, "
        append(
            session,
            Tag.STUDY_OPENED,
            by=by,
            at=at,
            about=("tester", tester.code),
            rows=[opened],
            note=f"{note}{wanted.trials} trials; {opened.purpose}",
        )
        return opened.id


def _refuse_plan(wanted: StudyWanted, parts: tuple[str, ...], operators: tuple[int, ...]) -> None:
    wrong: dict[str, str] = {}
    if len(wanted.purpose.strip()) < SHORTEST_REASON:
        wrong["purpose"] = f"Say what the study is for, in {SHORTEST_REASON} characters or more."
    if not PARTS[0] <= len(parts) <= PARTS[1]:
        wrong["parts"] = f"Give {PARTS[0]} to {PARTS[1]} parts, one a line; {len(parts)} are given."
    elif len({label.casefold() for label in parts}) < len(parts):
        wrong["parts"] = "Every part needs a label of its own; one is given twice."
    elif max(map(len, parts)) > LONGEST_PART:
        wrong["parts"] = f"A part's label may have {LONGEST_PART} characters at the most."
    if not OPERATORS[0] <= len(operators) <= OPERATORS[1]:
        wrong["operators"] = f"Choose {OPERATORS[0]} to {OPERATORS[1]} operators."
    if not TRIALS[0] <= wanted.trials <= TRIALS[1]:
        wrong["trials"] = f"Each part is measured {TRIALS[0]} to {TRIALS[1]} times."
    if wrong:
        raise Refusal("Nothing was opened yet: " + " ".join(wrong.values()), fields=wrong)


def _refuse_operators(session: Session, operators: tuple[int, ...]) -> None:
    may_measure = {role.value for role in MAY[Act.MEASURE]}
    able = {one.id for one in people.people(session) if one.active and may_measure & set(one.roles)}
    if not able.issuperset(operators):
        says = "Choose operators who may take readings: inspectors and supervisors."
        raise Refusal(says, fields={"operators": says})
    first = people.one_person(session)
    if len({first.get(one, one) for one in operators}) < len(operators):
        says = "Two of these accounts are one person's: choose another person in place of one."
        raise Refusal(says, fields={"operators": says})


def _refuse_unusable(
    session: Session, tester_id: int, code: str, *, at: datetime, zone: tzinfo
) -> None:
    stands = dues_of_testers(session, [tester_id], on=day_of(at, zone))[tester_id]
    if not stands.is_in_date:
        raise Refusal(
            f"{code} may not be used: {stands.words}. A study shows nothing about a tester that is "
            "out of calibration or out of use.",
            fields={"tester": f"{code} may not be used: {stands.words}."},
        )


def record_study_reading(
    database: Database, taken: StudyFigure, *, by: Actor, at: datetime, zone: tzinfo
) -> bool:
    """Record an operator's reading on the piece that comes next; False: it was recorded already.

    The same form sent twice is recorded once. No piece is skipped, and none is taken again.

    Raises:
        NotFound: there is no such study.
        NotAllowed: who measures in it.
        Conflict: the study has ended, or another piece comes next.
        Refusal: the figure cannot be, or the tester may not be used today.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        found = study(session, taken.study_id)
        if by.id not in found.operators:
            raise NotAllowed(
                f"Study {found.id} is measured by {', '.join(found.operators.values())}."
            )
        require_to_measure(by, found.quantity)
        if _is_known(session, found, taken, by):
            return False
        _refuse_ended(found)
        _refuse_out_of_turn(found, taken.piece, by)
        _refuse_unusable(session, found.tester_id, found.tester, at=at, zone=zone)
        _refuse_figure(found, taken.value)
        row = StudyReading(
            study_id=found.id,
            operator_id=by.id,
            part=taken.piece.part,
            trial=taken.piece.trial,
            value=taken.value,
            taken_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.STUDY_READINGS_RECORDED,
            by=by,
            at=at,
            about=("tester", found.tester),
            rows=[row],
            note=f"study {found.id}, reading {found.taken.get(by.id, 0) + 1} of {found.each}",
        )
    return True


def _is_known(session: Session, found: StudyAtWork, taken: StudyFigure, by: Actor) -> bool:
    """Whether this very reading is on record: the form was sent twice.

    Raises:
        Conflict: another value is on record for the piece.
    """
    on_record = session.scalar(
        select(StudyReading.value).where(
            StudyReading.study_id == found.id,
            StudyReading.operator_id == by.id,
            StudyReading.part == taken.piece.part,
            StudyReading.trial == taken.piece.trial,
        )
    )
    if on_record is not None and on_record != taken.value:
        raise Conflict(
            f"Part {taken.piece.part} was recorded already; a reading of a study is not changed. "
            "Go on with the part that comes next."
        )
    return on_record is not None


def _refuse_ended(found: StudyAtWork) -> None:
    if found.ended is not None:
        raise Conflict(f"Study {found.id} has ended; {found.ended.by} ended it.")


def _refuse_out_of_turn(found: StudyAtWork, piece: Piece, by: Actor) -> None:
    order = order_of(found.id, by.id, found.parts, found.trials)
    done = found.taken.get(by.id, 0)
    if done >= len(order):
        raise Conflict(f"You have taken all {len(order)} readings of study {found.id}.")
    if order[done] != piece:
        raise Conflict(f"Part {order[done].part} comes next. Nothing was recorded.")


def _refuse_figure(found: StudyAtWork, value: Decimal) -> None:
    bounds = plausible_reading(Quantity(found.quantity), found.unit, None)
    says = why_impossible(value, bounds) or why_beyond_tester(
        value, found.unit, found.tester, found.reach
    )
    if says is not None:
        raise Refusal(f"Nothing was recorded: {says}", fields={"reading_1": says})


def close_study(database: Database, *, study_id: int, remark: str, by: Actor, at: datetime) -> None:
    """Close a complete study and keep what it came to.

    Raises:
        NotAllowed, NotFound: who may; no such study.
        Conflict: it has ended.
        Refusal: readings are missing; says whose.
    """
    require(by, Act.STUDY_TESTER)
    with database.write() as session:
        found = study(session, study_id)
        _refuse_ended(found)
        if not found.is_complete:
            missing = [
                f"{name} {found.each - found.taken.get(key, 0)}"
                for key, name in found.operators.items()
                if found.taken.get(key, 0) < found.each
            ]
            raise Refusal(
                f"Readings are missing: {', '.join(missing)}. Have them taken, or give the study "
                "up with its reason."
            )
        trials = [
            Trial(str(one.operator_id), one.part, one.value)
            for one in study_trials(session, study_id)
        ]
        result = study_result(analyse(trials), unit=found.unit, resolution=found.resolution)
        closing = StudyClosing(
            study_id=study_id,
            result=result,
            reason=remark.strip(),
            closed_by_id=by.id,
            closed_at=at,
        )
        note = f"study {study_id}: repeatability {result['counted']} {found.unit}"
        _end(session, closing, found, by=by, at=at, note=note)


def give_up_study(
    database: Database, *, study_id: int, reason: str, by: Actor, at: datetime
) -> None:
    """End a study without a result, for a reason; its readings stay on record.

    Raises:
        NotAllowed, NotFound: who may; no such study.
        Conflict: it has ended.
        Refusal: no reason.
    """
    require(by, Act.STUDY_TESTER)
    reason = reason.strip()
    if len(reason) < SHORTEST_REASON:
        says = f"Say why the study is given up, in {SHORTEST_REASON} characters or more."
        raise Refusal(says, fields={"reason": says})
    with database.write() as session:
        found = study(session, study_id)
        _refuse_ended(found)
        closing = StudyClosing(
            study_id=study_id, result=None, reason=reason, closed_by_id=by.id, closed_at=at
        )
        _end(session, closing, found, by=by, at=at, note=f"study {study_id} given up: {reason}")


def _end(
    session: Session,
    closing: StudyClosing,
    found: StudyAtWork,
    *,
    by: Actor,
    at: datetime,
    note: str,
) -> None:
    session.add(closing)
    about = ("tester", found.tester)
    append(session, Tag.STUDY_CLOSED, by=by, at=at, about=about, rows=[closing], note=note)
