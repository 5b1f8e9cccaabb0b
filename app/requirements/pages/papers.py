"""The forms that write acceptance tables and cycles."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements import service
from app.requirements.forms import (
    CONDUCTIVITY_UNITS,
    HARDNESS_SCALES,
    OBTAINED,
    CycleForm,
    EntryForm,
    PaperForm,
)
from app.requirements.pages.written import form_page, submitted_paper, typed_at_first, written
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/register/table")
def show_table_form(
    page: Page, records: Records, by: SignedIn, *, code: str = "", revision: str = ""
) -> Response:
    """The form for an acceptance table's paper; ``code`` fills in whose further revision it is.

    With ``revision`` it is filled in with that draft, to be written again.
    """
    typed = typed_at_first(records, by, RequirementKind.ACCEPTANCE_TABLE, code, revision)
    return form_page(page, by, Act.WRITE_REQUIREMENT, "table", typed=typed)


@router.post("/register/table")
def submit_table(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a revision of an acceptance table."""

    def put_on_record(paper: bytes, filename: str) -> Named:
        form = parse(PaperForm, typed)
        return service.write_table(
            records, **form.model_dump(), paper=paper, filename=filename, by=by, at=now()
        )

    return submitted_paper(
        page, by, Act.WRITE_REQUIREMENT, "table", typed=typed, put_on_record=put_on_record
    )


@router.get("/register/table-entry")
def show_entry_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for a table of one entry, filled in by hand."""
    return _entry_page(page, by, typed={"code": code})


@router.post("/register/table-entry")
def submit_entry(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a table of one entry."""
    require(by, Act.WRITE_REQUIREMENT)
    try:
        form = parse(EntryForm, typed)
        named = service.write_table(
            records,
            code=form.code,
            paper=form.paper(),
            filename="this table",
            source_document=form.source_document,
            again=form.again,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        # What is wrong with the paper as a whole belongs to no one field of this form.
        whole = {{"paper": "form"}.get(name, name): words for name, words in refusal.fields.items()}
        told = Refusal(refusal.sentence, fields=whole)
        return _entry_page(page, by, typed=typed, refusal=told)
    return written(page, named)


@router.get("/register/cycle")
def show_cycle_form(
    page: Page, records: Records, by: SignedIn, *, code: str = "", revision: str = ""
) -> Response:
    """The form for a cycle's paper; ``code`` fills in whose further revision it is.

    With ``revision`` it is filled in with that draft, to be written again.
    """
    typed = typed_at_first(records, by, RequirementKind.CYCLE, code, revision)
    return form_page(page, by, Act.WRITE_REQUIREMENT, "cycle", typed=typed)


@router.post("/register/cycle")
def submit_cycle(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a revision of a cycle."""

    def put_on_record(paper: bytes, filename: str) -> Named:
        form = parse(CycleForm, typed)
        return service.write_cycle(
            records,
            code=form.code,
            revision=form.revision,
            paper=paper,
            filename=filename,
            shop_rules=form.shop_rules(),
            source_document=form.source_document,
            again=form.again,
            by=by,
            at=now(),
        )

    return submitted_paper(
        page, by, Act.WRITE_REQUIREMENT, "cycle", typed=typed, put_on_record=put_on_record
    )


def _entry_page(
    page: PageMaker, by: Actor, *, typed: Mapping[str, str], refusal: Refusal | None = None
) -> Response:
    return form_page(
        page,
        by,
        Act.WRITE_REQUIREMENT,
        "table_entry",
        typed=typed,
        refusal=refusal,
        scales=[(scale, scale) for scale in HARDNESS_SCALES],
        units=[(unit, unit) for unit in CONDUCTIVITY_UNITS],
        obtained=OBTAINED,
    )
