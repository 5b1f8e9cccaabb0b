"""Studies of testers: the list, the form for a new one, and a study's own page."""

from typing import Any

from fastapi import APIRouter, Response
from pydantic import Field

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench.pages.study_shown import readings_rows, result_shown
from app.bench.queries import studies as queries
from app.bench.queries.studies import StudyAtWork
from app.bench.rules.study_order import Piece, order_of
from app.bench.service import studies as service
from app.bench.service.studies import OPERATORS, PARTS, TRIALS, StudyFigure, StudyWanted
from app.equipment.queries import testers
from app.errors import Refusal
from app.people.queries import people
from app.people.rights import MAY, Act, may, missing_to_measure, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import FormModel, Typed, TypedFigure, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_OPERATOR = "operator_"
"""Begins the names of the ticks for operators; the person's key follows."""


class StudyForm(FormModel):
    """A study to be opened, besides its operators."""

    tester: str = Field(max_length=60)
    purpose: str = Field("", max_length=1000)
    parts: str = Field("", max_length=2000)
    trials: int


class FigureForm(FormModel):
    """One reading of a study; its field is named as at the bench."""

    part: str = Field(max_length=40)
    trial: int
    reading_1: TypedFigure = Field(title="reading")


class RemarkForm(FormModel):
    """What is said when a study ends."""

    remark: str = Field("", max_length=1000)
    reason: str = Field("", max_length=1000)


@router.get("/studies")
def show_studies(page: Page, records: Records, by: SignedIn) -> Response:
    """Every study, and those in which the reader still has something to measure."""
    with records.read() as session:
        lines = queries.studies(session)
        mine = queries.studies_of(session, by.id)
    return page.show(
        "bench/studies.html", studies=lines, mine=mine, may_open=may(by, Act.STUDY_TESTER)
    )


@router.get("/register/study")
def show_study_form(page: Page, records: Records, by: SignedIn, tester: str = "") -> Response:
    """The form for a study."""
    require(by, Act.STUDY_TESTER)
    return _study_form(page, records, typed={"tester": tester, "trials": "3"})


@router.post("/register/study")
def submit_study(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Open a study."""
    try:
        number = service.open_study(
            records, _study_from(typed), by=by, at=now(), zone=page.settings.zone
        )
    except Refusal as refusal:
        return _study_form(page, records, typed=typed, refusal=refusal)
    return page.see_other("/studies", str(number), notice=f"Study {number} is open.")


@router.get("/studies/{number:int}")
def show_study(page: Page, records: Records, by: SignedIn, number: int) -> Response:
    """A study: what comes next for an operator, how far it is, and what it came to."""
    return _study_page(page, records, by, number)


@router.post("/studies/{number:int}/readings")
def submit_study_reading(
    page: Page, records: Records, by: SignedIn, number: int, typed: TypedForm
) -> Response:
    """Record an operator's next reading."""
    try:
        form = parse(FigureForm, typed)
        taken = StudyFigure(number, Piece(form.part, form.trial), form.reading_1)
        service.record_study_reading(records, taken, by=by, at=now(), zone=page.settings.zone)
    except Refusal as refusal:
        return _study_page(page, records, by, number, typed=typed, refusal=refusal)
    # Without its value: the same part may come next.
    return page.see_other("/studies", str(number), notice=f"Part {form.part} is recorded.")


@router.post("/studies/{number:int}/close")
def submit_study_end(
    page: Page, records: Records, by: SignedIn, number: int, typed: TypedForm
) -> Response:
    """Close a complete study."""
    try:
        remark = parse(RemarkForm, typed).remark
        service.close_study(records, study_id=number, remark=remark, by=by, at=now())
    except Refusal as refusal:
        return _study_page(page, records, by, number, typed=typed, refusal=refusal)
    return page.see_other("/studies", str(number), notice=f"Study {number} is closed.")


@router.post("/studies/{number:int}/give-up")
def submit_study_given_up(
    page: Page, records: Records, by: SignedIn, number: int, typed: TypedForm
) -> Response:
    """End a study without a result."""
    try:
        reason = parse(RemarkForm, typed).reason
        service.give_up_study(records, study_id=number, reason=reason, by=by, at=now())
    except Refusal as refusal:
        return _study_page(page, records, by, number, typed=typed, refusal=refusal)
    return page.see_other("/studies", str(number), notice=f"Study {number} is given up.")


def _study_from(typed: Typed) -> StudyWanted:
    form = parse(StudyForm, typed)
    ticked = [name.removeprefix(_OPERATOR) for name in typed if name.startswith(_OPERATOR)]
    return StudyWanted(
        tester_code=as_code(form.tester),
        purpose=form.purpose,
        parts=tuple(form.parts.splitlines()),
        operators=tuple(sorted(int(key) for key in ticked if key.isascii() and key.isdigit())),
        trials=form.trials,
    )


def _study_form(
    page: PageMaker, records: Records, *, typed: Any, refusal: Refusal | None = None
) -> Response:
    able = {role.value for role in MAY[Act.MEASURE]}
    with records.read() as session:
        choices = [
            (one.code, f"{one.code}: {one.name}, {one.quantity} in {one.unit}")
            for one in testers(session)
        ]
        operators = [
            (f"{_OPERATOR}{one.id}", one.full_name)
            for one in people(session)
            if one.active and able & set(one.roles)
        ]
    return page.show(
        "bench/register_study.html",
        testers=choices,
        operators=operators,
        trials=[(str(count), f"{count} times") for count in range(TRIALS[0], TRIALS[1] + 1)],
        bounds={"operators": OPERATORS, "parts": PARTS},
        **kept(typed, refusal),
    )


def _study_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    number: int,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        study = queries.study(session, number)
        # Nobody sees a reading before the study has ended: it is measured blind.
        trials = [] if study.ended is None else queries.study_trials(session, number)
    lacks = missing_to_measure(by, study.quantity)
    return page.show(
        "bench/study.html",
        study=study,
        next_piece=None if lacks else _next_piece(study, by),
        lacks=lacks if by.id in study.operators and study.ended is None else None,
        mine=by.id in study.operators,
        done=study.taken.get(by.id, 0),
        may_end=study.ended is None and may(by, Act.STUDY_TESTER),
        result=None if study.ended is None else result_shown(study.ended.result),
        readings=readings_rows(study, trials),
        **kept(typed, refusal),
    )


def _next_piece(study: StudyAtWork, by: Actor) -> Piece | None:
    """What the reader measures next; None where they have nothing to measure."""
    if study.ended is not None or by.id not in study.operators or not may(by, Act.MEASURE):
        return None
    order = order_of(study.id, by.id, study.parts, study.trials)
    done = study.taken.get(by.id, 0)
    return order[done] if done < len(order) else None
