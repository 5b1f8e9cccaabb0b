"""Write a correction table: as a form with its grid, or as its JSON paper."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements import service
from app.requirements.forms import OBTAINED, PaperForm
from app.requirements.forms.corrections import QUANTITIES, REASONS, THIS_PAPER, CorrectionForm
from app.requirements.pages.written import form_page, submitted_paper, typed_at_first, written
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/register/correction-table")
def show_correction_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for a correction table; ``code`` fills in whose further revision it is."""
    return _form_page(page, by, typed={"code": code})


@router.post("/register/correction-table")
def submit_correction(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a revision of a correction table."""
    require(by, Act.WRITE_CORRECTION_TABLE)
    try:
        form = parse(CorrectionForm, typed)
        named = service.write_correction_table(
            records,
            code=form.code,
            paper=form.paper(),
            filename=THIS_PAPER,
            source_document=form.source_document,
            again=form.again,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        # What is wrong with the paper as a whole is, on this form, wrong with its grid.
        whole = {{"paper": "grid"}.get(name, name): words for name, words in refusal.fields.items()}
        told = Refusal(refusal.sentence, fields=whole)
        return _form_page(page, by, typed=typed, refusal=told)
    return written(page, named)


@router.get("/register/correction-paper")
def show_correction_paper_form(
    page: Page, records: Records, by: SignedIn, *, code: str = "", revision: str = ""
) -> Response:
    """The form for a correction table's JSON paper."""
    typed = typed_at_first(records, by, RequirementKind.CORRECTION_TABLE, code, revision)
    return form_page(page, by, Act.WRITE_CORRECTION_TABLE, "correction_paper", typed=typed)


@router.post("/register/correction-paper")
def submit_correction_paper(
    page: Page, records: Records, by: SignedIn, typed: TypedForm
) -> Response:
    """Write a correction table from its JSON paper."""

    def put_on_record(paper: bytes, filename: str) -> Named:
        form = parse(PaperForm, typed)
        return service.write_correction_table(
            records, **form.model_dump(), paper=paper, filename=filename, by=by, at=now()
        )

    return submitted_paper(
        page,
        by,
        Act.WRITE_CORRECTION_TABLE,
        "correction_paper",
        typed=typed,
        put_on_record=put_on_record,
    )


def _form_page(
    page: PageMaker, by: Actor, *, typed: Mapping[str, str], refusal: Refusal | None = None
) -> Response:
    return form_page(
        page,
        by,
        Act.WRITE_CORRECTION_TABLE,
        "correction_table",
        typed=typed,
        refusal=refusal,
        quantities=QUANTITIES,
        reasons=REASONS,
        obtained=OBTAINED,
    )
