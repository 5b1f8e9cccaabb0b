"""What follows a nonconformance: corrective actions, the notice to a customer, scrap."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment.pages.shared import sent_file
from app.errors import Refusal
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.release.forms.nonconformance import (
    ActionCheckForm,
    ActionForm,
    NoticeForm,
    ScrapForm,
    WitnessForm,
)
from app.release.pages.nonconformance import nonconformance_page
from app.release.queries import nonconformances, notices
from app.release.queries.panel_facts import panel_id
from app.release.queries.scrap import scrap_of
from app.release.service.actions import check_action, enter_action
from app.release.service.notices import keep_notice
from app.release.service.scrap import record_made_unusable, witness_scrap
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.post("/nonconformances/{code}/actions")
def submit_action(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Enter a corrective action."""
    code = code.upper()
    try:
        form = parse(ActionForm, typed)
        enter_action(records, code, form.wanted(), by=by, at=now(), zone=page.settings.zone)
    except Refusal as refusal:
        return nonconformance_page(
            page, records, by, code, typed=typed, refusal=refusal, sent="action"
        )
    return page.see_other("/nonconformances", code, notice="The corrective action is entered.")


@router.post("/nonconformances/{code}/actions/{key:int}/check")
def submit_check(  # noqa: PLR0917 - a route's own parameters
    page: Page, records: Records, by: SignedIn, code: str, key: int, typed: TypedForm
) -> Response:
    """Sign what a corrective action achieved."""
    code = code.upper()
    try:
        form = parse(ActionCheckForm, typed)
        code = check_action(
            records,
            key,
            effective=form.effective,
            found=form.found,
            password=form.password,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return nonconformance_page(
            page, records, by, code, typed=typed, refusal=refusal, sent=f"check-{key}"
        )
    return page.see_other("/nonconformances", code, notice="What the action achieved is signed.")


@router.get("/nonconformances/{code}/notice")
def show_notice(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The draft of a notice to the customer, filled from the record as it stands."""
    return _notice_page(page, records, by, code.upper())


@router.post("/nonconformances/{code}/notice")
def submit_notice(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Keep the draft."""
    code = code.upper()
    try:
        form = parse(NoticeForm, typed)
        key = keep_notice(
            records,
            code,
            contact=form.contact,
            wish=form.wish,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _notice_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = "The draft is kept. Nothing was sent: print it and send it yourselves."
    return page.see_other("/nonconformances", code, "notices", str(key), notice=notice)


@router.get("/nonconformances/{code}/notices/{key:int}")
def show_kept_notice(page: Page, records: Records, by: SignedIn, code: str, key: int) -> Response:
    """A draft as it was kept."""
    with records.read() as session:
        one = notices.kept_notice(session, code.upper(), key)
    return page.show(
        "release/notice.html", content=one.content, kept_as=one, may_draft=False, **kept()
    )


@router.get("/panels/{code:path}/scrap")
def show_scrap(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """How a scrapped panel was marked and made unusable, and what is still to be done."""
    return _scrap_page(page, records, by, code.upper())


@router.post("/panels/{code:path}/scrap")
def submit_scrap(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record that it was marked and made unusable, signed."""
    code = code.upper()
    try:
        form = parse(ScrapForm, typed)
        record_made_unusable(
            records, code, form.done(sent_file(typed)), password=form.password, by=by, at=now()
        )
    except Refusal as refusal:
        return _scrap_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = "Signed. A second person witnesses it next."
    return page.see_other("/panels", code, "scrap", notice=notice)


@router.post("/panels/{code:path}/scrap/witness")
def submit_witness(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Witness it, signed."""
    code = code.upper()
    try:
        form = parse(WitnessForm, typed)
        witness_scrap(records, code, password=form.password, by=by, at=now())
    except Refusal as refusal:
        return _scrap_page(page, records, by, code, refusal=refusal)
    return page.see_other("/panels", code, "scrap", notice=f"{code} is marked and unusable.")


def _notice_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.DRAFT_NOTICE)
    with records.read() as session:
        content = notices.notice_of(session, code, zone=page.settings.zone)
    return page.show(
        "release/notice.html", content=content, kept_as=None, may_draft=True, **kept(typed, refusal)
    )


def _scrap_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        key = panel_id(session, code)
        line = scrap_of(session, key)
        under = nonconformances.under_which(session, key)
    waits = None if line is None else line.record_id
    shown = {name: text for name, text in (typed or {}).items() if name != "password"}
    return page.show(
        "release/scrap.html",
        code=code,
        line=line,
        under=under,
        may_record=line is not None and waits is None and may(by, Act.MAKE_SCRAP_UNUSABLE),
        may_witness=(
            line is not None
            and waits is not None
            and line.witness is None
            and not by.is_person(line.done_by_id)
            and may(by, Act.WITNESS_SCRAP)
        ),
        meanings={
            "record": Meaning.SCRAP_MADE_UNUSABLE.value,
            "witness": Meaning.SCRAP_WITNESSED.value,
        },
        **kept(shown, refusal),
    )
