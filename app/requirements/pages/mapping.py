"""Write a logger mapping, as a form or as its JSON paper, and try one on an export."""

from collections.abc import Mapping
from typing import get_args

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.documents.logger.logger_mapping import (
    EVERYTHING_ELSE,
    ZONE_IN_FILE,
    DateOrder,
    ElapsedUnit,
    VacuumUnit,
    load_mapping,
)
from app.errors import BadFile, Refusal
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements import queries, service
from app.requirements.forms import MappingPaperForm
from app.requirements.forms.mapping import (
    CHANNELS,
    THIS_PAPER,
    mapping_paper,
    told_on_the_form,
    typed_mapping,
)
from app.requirements.pages.sample import files_typed, try_on
from app.requirements.pages.sheet import Asked, requirement_page
from app.requirements.pages.written import form_page, submitted_paper, written
from app.requirements.records import RequirementKind
from app.requirements.rules import Part, mapping_parts
from app.requirements.service import Named
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_KIND = RequirementKind.LOGGER_MAPPING
_AT_FIRST = {
    "kind": "csv",
    "encoding": "utf-8",
    "delimiter": "comma",
    "header": "by names",
    "time_kind": "iso",
    "clock": "24 h",
    "repeated_hour": "refuse",
    "temperature_unit": "C",
    "ignored": EVERYTHING_ELSE,
    "footer": "none",
    "several": "one",
    "join": "equal times",
    "repeated_rows": "refuse",
    "decimal_mark": "point",
    "thousands_mark": "none",
    "last_row_without_line_end": "refuse",
}


@router.get("/register/mapping")
def show_mapping_form(
    page: Page, records: Records, by: SignedIn, *, code: str = "", paper: str = ""
) -> Response:
    """The form for a mapping.

    ``code`` fills in that mapping for its next revision; ``paper``, a MAPPING.json, fills in what
    was stated of a file by hand.
    """
    try:
        typed = _at_first(records, code.upper(), paper)
    except BadFile as fault:
        return _form_page(page, by, typed={"code": code, **_AT_FIRST}, refusal=fault)
    return _form_page(page, by, typed=typed)


@router.post("/register/mapping")
def submit_mapping(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Show more rows, look the mapping over, or write it; what was typed stays typed."""
    require(by, Act.WRITE_MAPPING)
    if typed.get("act", "").startswith("more"):
        return _form_page(page, by, typed=typed)
    try:
        head, paper = mapping_paper(typed)
    except Refusal as refusal:
        return _form_page(page, by, typed=typed, refusal=refusal)
    try:
        if typed.get("act") != "write":
            mapping = load_mapping(paper, filename=THIS_PAPER)
            parts = mapping_parts(mapping.model_dump(mode="json"))
            return _form_page(page, by, typed=typed, parts=parts)
        named = service.write_mapping(
            records,
            code=head.code,
            revision=head.revision,
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


@router.get("/register/mapping-paper")
def show_mapping_paper_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for a mapping's JSON paper."""
    return form_page(page, by, Act.WRITE_MAPPING, "mapping_paper", typed={"code": code})


@router.post("/register/mapping-paper")
def submit_mapping_paper(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a mapping from its JSON paper."""

    def put_on_record(paper: bytes, filename: str) -> Named:
        form = parse(MappingPaperForm, typed)
        return service.write_mapping(
            records, **form.model_dump(), paper=paper, filename=filename, by=by, at=now()
        )

    return submitted_paper(
        page, by, Act.WRITE_MAPPING, "mapping_paper", typed=typed, put_on_record=put_on_record
    )


@router.post("/mappings/{code:path}/try")
def submit_try(page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm) -> Response:
    """Show what a revision reads of an export. Nothing of the export is kept."""
    asked = Asked(_KIND, code.upper(), typed.get("revision") or None, act="try")
    with records.read() as session:
        found = queries.named(session, asked.code, kind=_KIND, revision=asked.revision)
        shown = queries.shown_first(found, now(), asked=asked.revision)
    try:
        files = files_typed(typed)
    except Refusal as refusal:
        return requirement_page(page, records, by, asked, typed=typed, refusal=refusal)
    settings = page.settings
    tried = try_on(
        queries.mapping_of(shown),
        files,
        max_bytes=settings.upload_limit_mb * 1_000_000,
        zone=settings.zone,
    )
    return requirement_page(page, records, by, asked, typed=typed, tried=tried)


def _at_first(records: Database, code: str, paper: str) -> dict[str, str]:
    """The form as it opens: empty, or filled in from a paper or the newest revision.

    Raises:
        BadFile: ``paper`` is no mapping.
    """
    if paper:
        mapping = load_mapping(paper, filename=THIS_PAPER)
        return typed_mapping(code, "", mapping.model_dump(mode="json"))
    if code:
        with records.read() as session:
            found = queries.revisions(session, kind=_KIND, code=code)
        if found:
            return typed_mapping(code, found[-1].source_document, found[-1].paper)
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
        Act.WRITE_MAPPING,
        "mapping",
        typed=typed,
        refusal=refusal,
        count=CHANNELS.count(typed, "channel"),
        parts=parts,
        orders=[(one, one) for one in get_args(DateOrder)],
        elapsed_units=[(one, one) for one in get_args(ElapsedUnit)],
        vacuum_units=[(one, one) for one in get_args(VacuumUnit)],
        zone_in_file=ZONE_IN_FILE,
    )
