"""A furnace: to what it is kept, its checks, work on it, and the forms that enter them."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import queries, service
from app.equipment.forms import FurnaceCheckForm, MaintenanceForm, QualificationForm
from app.equipment.pages.shared import common, sent_file, term
from app.equipment.queries import SubjectKind
from app.equipment.records import FurnaceCheckKind
from app.equipment.rules import COLUMNS, figures_from_lines, worst_due
from app.equipment.service import Report
from app.errors import Refusal
from app.judging.furnace.procedure import CheckKind
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()


@router.get("/furnaces/{code:path}/checks/new")
def show_check_form(
    page: Page, records: Records, by: SignedIn, code: str, kind: str = ""
) -> Response:
    """The form for a survey, accuracy test or recorder calibration."""
    return _check_form(page, records, by, code, typed={"kind": kind})


@router.post("/furnaces/{code:path}/checks")
def submit_furnace_check(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a survey, accuracy test or recorder calibration, or only look at its figures."""
    require(by, Act.REGISTER_EQUIPMENT)
    at = page.shop_time()
    try:
        report = _report(parse(FurnaceCheckForm, typed), typed)
        if typed.get("act") == "look":
            with records.read() as session:
                furnace = queries.furnace(session, code.upper())
                looked = service.look_at_report(session, furnace, report, at=at)
            return _check_form(page, records, by, code, typed=typed, looked=looked)
        key = service.record_furnace_check(
            records, furnace=code.upper(), report=report, by=by, at=at
        )
    except Refusal as refusal:
        return _check_form(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"The {report.kind} is on record. It counts once a second person has accepted it."
    return page.see_other("/furnaces", code.upper(), "checks", str(key), notice=notice)


@router.post("/furnaces/{code:path}/qualifications")
def submit_qualification(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Enter to what a furnace is kept."""
    require(by, Act.REGISTER_EQUIPMENT)
    try:
        form = parse(QualificationForm, typed)
        service.qualify_furnace(
            records, furnace=code.upper(), **form.model_dump(), by=by, at=page.shop_time()
        )
    except Refusal as refusal:
        return _furnace_page(page, records, by, code, typed=typed, refusal=refusal, part="kept")
    notice = "To what it is kept is on record. It counts once a second person has accepted it."
    return page.see_other("/furnaces", code.upper(), notice=notice)


@router.post("/furnaces/{code:path}/maintenance")
def submit_maintenance(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record work on a furnace."""
    require(by, Act.RECORD_MAINTENANCE)
    try:
        form = parse(MaintenanceForm, typed)
        service.record_maintenance(
            records,
            furnace=code.upper(),
            event=_event(form),
            happened_on=form.happened_on,
            asks_for=_asked(typed),
            note=form.note,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _furnace_page(page, records, by, code, typed=typed, refusal=refusal, part="work")
    return page.see_other("/furnaces", code.upper(), notice="The work is on record.")


@router.get("/furnaces/{code:path}")
def show_furnace(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A furnace, whether it is in date, its checks and the work on it."""
    return _furnace_page(page, records, by, code)


def _report(form: FurnaceCheckForm, typed: Typed) -> Report:
    """What the form holds; its figures read line by line.

    Raises:
        Refusal: figures that cannot be read, or none though it is not entered bare.
    """
    figures = None
    if form.bare is None:
        figures = figures_from_lines(CheckKind(form.kind.value), form.figures, form.zone)
    return Report(
        kind=form.kind,
        term=term(form),
        passed=form.outcome == "passed",
        number=form.report,
        note=form.note,
        figures=figures,
        file=sent_file(typed),
    )


def _event(form: MaintenanceForm) -> str:
    event = form.event or form.other_event
    if not event:
        sentence = "Choose the work from the list, or say in words what was done."
        raise Refusal(sentence, fields={"event": sentence})
    return event


def _asked(typed: Typed) -> list[FurnaceCheckKind]:
    ticked = set(typed.every("asks_for"))
    return [kind for kind in FurnaceCheckKind if kind.value in ticked]


def _check_form(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    looked: Any = None,
) -> Response:
    require(by, Act.REGISTER_EQUIPMENT)
    at = page.shop_time()
    with records.read() as session:
        furnace = queries.furnace(session, code.upper())
        bases = {
            kind: queries.check_basis(session, furnace.id, kind, at.date(), at=at)
            for kind in FurnaceCheckKind
        }
        return page.show(
            "equipment/check_form.html",
            furnace=furnace,
            kinds=[(kind.value, kind.value) for kind in FurnaceCheckKind],
            columns=[(kind.value, ", ".join(COLUMNS[kind])) for kind in CheckKind],
            bases=bases,
            looked=looked,
            **kept(typed, refusal),
        )


def _furnace_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    part: str = "",
) -> Response:
    at = page.shop_time()
    with records.read() as session:
        furnace = queries.furnace(session, code.upper())
        file = queries.furnace_file(session, furnace.id)
        checks = queries.furnace_checks(session, furnace.id)
        papers = queries.dues_of_furnaces(session, [furnace.id], at=at)[furnace.id]
        procedure = file.procedure(on=at.date(), at=at)
        return page.show(
            "equipment/furnace.html",
            furnace=furnace,
            due=worst_due(papers.values()),
            papers=papers,
            qualification=file.qualification(at.date()),
            qualifications=file.qualifications,
            procedure=procedure,
            checks=checks,
            reviews=queries.reviews_of(
                session, SubjectKind.FURNACE_CHECK, [one.id for one in checks]
            ),
            maintenance=queries.maintenance_events(session, furnace.id),
            kinds=[kind.value for kind in FurnaceCheckKind],
            procedures=[
                (one.code, f"{one.code}, {one.name}, revision {one.revision}")
                for one in queries.procedures_in_force(session, at=at)
            ],
            may_work=may(by, Act.RECORD_MAINTENANCE),
            part=part,
            asked=_asked(typed) if isinstance(typed, Typed) else [],
            **common(session, by, "furnace", furnace.code),
            **kept(typed, refusal),
        )
