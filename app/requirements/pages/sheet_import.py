"""Fill in an acceptance table as a spreadsheet, and see what was read before it is kept."""

import json
from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.documents.blank_workbook import blank_workbook
from app.documents.sheet_cells import LARGEST_SHEET_BYTES, blank_sheet, read_grid
from app.documents.table import table_to_json
from app.documents.table_sheet import COLUMNS, HEAD, table_of_sheet
from app.errors import Refusal
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements.forms.papers import SheetForm
from app.requirements.pages.written import form_page
from app.requirements.rules import table_rows
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker

router = APIRouter()


@router.get("/register/table-sheet")
def show_sheet_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form that takes a sheet; ``code`` fills in whose further revision it is."""
    return _sheet_page(page, by, typed={"code": code})


@router.get("/register/table-sheet/blank")
def show_blank_sheet(by: SignedIn) -> Response:
    """A sheet to be filled in, as CSV."""
    return Response(
        # The mark at its start tells spreadsheets that it is UTF-8.
        "\ufeff" + blank_sheet(HEAD, COLUMNS),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="acceptance-table.csv"'},
    )


@router.get("/register/table-sheet/workbook")
def show_blank_workbook(by: SignedIn) -> Response:
    """The same as XLSX, its columns formatted as text."""
    return Response(
        blank_workbook(HEAD, COLUMNS),
        media_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        headers={"Content-Disposition": 'attachment; filename="acceptance-table.xlsx"'},
    )


@router.post("/register/table-sheet")
def submit_sheet(page: Page, by: SignedIn, typed: TypedForm) -> Response:
    """Show what was read from a sheet, with the form that keeps it; nothing is kept yet."""
    require(by, Act.WRITE_REQUIREMENT)
    try:
        form = parse(SheetForm, typed)
        content, filename = _sheet_of(typed)
        grid = read_grid(content, filename=filename, sheet=form.sheet)
        table, source_document = table_of_sheet(grid)
    except Refusal as refusal:
        fields = refusal.fields or {"file": refusal.sentence}
        told = Refusal(refusal.sentence, fields=fields)
        return _sheet_page(page, by, typed=typed, refusal=told)
    return page.show(
        "requirements/table_sheet_read.html",
        code=form.code,
        again=form.again or "",
        source_document=source_document,
        table=table,
        rows=table_rows(table),
        filename=filename,
        paper=json.dumps(table_to_json(table), indent=1, ensure_ascii=False),
    )


def _sheet_of(typed: Typed) -> tuple[bytes, str]:
    """The file that was sent, and what it is called.

    Raises:
        Refusal: there is none.
    """
    upload = typed.files.get("file")
    if upload is None or not upload.filename:
        sentence = "Choose the sheet's file: XLSX or CSV."
        raise Refusal(sentence, fields={"file": sentence})
    return upload.file.read(LARGEST_SHEET_BYTES + 1), upload.filename


def _sheet_page(
    page: PageMaker, by: Actor, *, typed: Mapping[str, str], refusal: Refusal | None = None
) -> Response:
    return form_page(
        page,
        by,
        Act.WRITE_REQUIREMENT,
        "table_sheet",
        typed=typed,
        refusal=refusal,
        head=HEAD,
        columns=COLUMNS,
    )
