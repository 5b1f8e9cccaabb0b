"""Write a pyrometry procedure: as a form of rows, or as its JSON paper."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.documents.pyrometry import load_procedure
from app.errors import Refusal
from app.judging.furnace.intervals import MonthEnd, Span
from app.judging.furnace.procedure import CheckKind, InstrumentKind
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements import queries, service
from app.requirements.forms import OBTAINED, PaperForm
from app.requirements.forms.procedure import (
    THIS_PAPER,
    procedure_paper,
    row_counts,
    told_on_the_form,
)
from app.requirements.forms.procedure_again import typed_procedure
from app.requirements.pages.written import form_page, submitted_paper, written
from app.requirements.records import RequirementKind
from app.requirements.rules import Part, procedure_parts
from app.requirements.service import Named
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_AT_FIRST = {
    "month_end": MonthEnd.LAST_DAY.value,
    "due_day_counts": "yes",
    "instrument_kind_1": InstrumentKind.SENSOR.value,
    "instrument_kind_2": InstrumentKind.VACUUM_GAUGE.value,
}


@router.get("/register/procedure")
def show_procedure_form(page: Page, records: Records, by: SignedIn, code: str = "") -> Response:
    """The form for a procedure; ``code`` fills in that procedure for its next revision."""
    return _form_page(page, by, typed=_at_first(records, by, code.upper()))


@router.post("/register/procedure")
def submit_procedure(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Show more rows, look the procedure over, or write it; what was typed stays typed."""
    require(by, Act.WRITE_PROCEDURE)
    if typed.get("act", "").startswith("more"):
        return _form_page(page, by, typed=typed)
    try:
        head, paper = procedure_paper(typed)
    except Refusal as refusal:
        return _form_page(page, by, typed=typed, refusal=refusal)
    try:
        if typed.get("act") != "write":
            parts = procedure_parts(load_procedure(paper, filename=THIS_PAPER))
            return _form_page(page, by, typed=typed, parts=parts)
        named = service.write_procedure(
            records,
            code=head.code,
            paper=paper,
            filename=THIS_PAPER,
            source_document=head.source_document,
            again=head.again,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _form_page(page, by, typed=typed, refusal=told_on_the_form(refusal, typed))
    return written(page, named)


@router.get("/register/procedure-paper")
def show_procedure_paper_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for a procedure's JSON paper."""
    return form_page(page, by, Act.WRITE_PROCEDURE, "procedure_paper", typed={"code": code})


@router.post("/register/procedure-paper")
def submit_procedure_paper(
    page: Page, records: Records, by: SignedIn, typed: TypedForm
) -> Response:
    """Write a procedure from its JSON paper."""

    def put_on_record(paper: bytes, filename: str) -> Named:
        form = parse(PaperForm, typed)
        return service.write_procedure(
            records, **form.model_dump(), paper=paper, filename=filename, by=by, at=now()
        )

    return submitted_paper(
        page, by, Act.WRITE_PROCEDURE, "procedure_paper", typed=typed, put_on_record=put_on_record
    )


def _at_first(records: Database, by: Actor, code: str) -> dict[str, str]:
    """The form as it opens: empty, or filled in with the newest revision that the person sees."""
    if code:
        with records.read() as session:
            every = queries.revisions(session, kind=RequirementKind.PYROMETRY_PROCEDURE, code=code)
        found = [one for one in every if not one.is_hidden_from(by)]
        if found:
            return typed_procedure(code, found[-1].source_document, found[-1].paper)
    return {"code": code, **_AT_FIRST}


def _form_page(
    page: PageMaker,
    by: Actor,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
    parts: tuple[Part, ...] = (),
) -> Response:
    return form_page(
        page,
        by,
        Act.WRITE_PROCEDURE,
        "procedure",
        typed=typed,
        refusal=refusal,
        counts=row_counts(typed),
        parts=parts,
        obtained=OBTAINED,
        checks=[(kind.value, kind.value) for kind in CheckKind],
        instruments=[(kind.value, kind.value) for kind in InstrumentKind],
        spans=[(span.value, span.value) for span in (Span.MONTHS, Span.WEEKS, Span.DAYS)],
        month_ends=[(rule.value, rule.value) for rule in MonthEnd],
    )
