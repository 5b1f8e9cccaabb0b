"""Acceptance tables and cycles: their pages, and the forms that write, verify, withdraw them."""

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people.queries import acts_about, names
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.requirements import queries, service
from app.requirements.forms import (
    CONDUCTIVITY_UNITS,
    HARDNESS_SCALES,
    CycleForm,
    EntryForm,
    TableForm,
    VerifyForm,
    WithdrawForm,
    paper_of,
)
from app.requirements.queries import RevisionState
from app.requirements.records import RequirementKind
from app.requirements.rules import table_rows
from app.requirements.service import IDENTITY_KIND, Named
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_TABLE, _CYCLE = RequirementKind.ACCEPTANCE_TABLE, RequirementKind.CYCLE
_PLACE = {_TABLE: "/tables", _CYCLE: "/cycles"}
_MEANING = {_TABLE: Meaning.VERIFIED_TABLE, _CYCLE: Meaning.VERIFIED_CYCLE}
_OBTAINED = ("published", "common practice", "from memory", "invented")


@router.get("/register/table")
def show_table_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for an acceptance table's paper; ``code`` fills in whose further revision it is."""
    return _write_page(page, by, "table", typed={"code": code})


@router.post("/register/table")
def submit_table(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a revision of an acceptance table."""
    require(by, Act.WRITE_REQUIREMENT)
    paper = b""
    try:
        paper, filename = paper_of(typed)
        form = parse(TableForm, typed)
        named = service.write_table(
            records, **form.model_dump(), paper=paper, filename=filename, by=by, at=now()
        )
    except Refusal as refusal:
        return _write_page(page, by, "table", typed=_as_typed(typed, paper), refusal=refusal)
    return _written(page, named)


@router.get("/register/table-entry")
def show_entry_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for a table of one entry, filled in by hand."""
    return _write_page(page, by, "table_entry", typed={"code": code})


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
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        # What is wrong with the paper as a whole belongs to no one field of this form.
        whole = {{"paper": "form"}.get(name, name): words for name, words in refusal.fields.items()}
        told = Refusal(refusal.sentence, fields=whole)
        return _write_page(page, by, "table_entry", typed=typed, refusal=told)
    return _written(page, named)


@router.get("/register/cycle")
def show_cycle_form(page: Page, by: SignedIn, code: str = "") -> Response:
    """The form for a cycle's paper; ``code`` fills in whose further revision it is."""
    return _write_page(page, by, "cycle", typed={"code": code})


@router.post("/register/cycle")
def submit_cycle(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Write a revision of a cycle."""
    require(by, Act.WRITE_REQUIREMENT)
    paper = b""
    try:
        paper, filename = paper_of(typed)
        form = parse(CycleForm, typed)
        named = service.write_cycle(
            records,
            code=form.code,
            revision=form.revision,
            paper=paper,
            filename=filename,
            shop_rules=form.shop_rules(),
            source_document=form.source_document,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _write_page(page, by, "cycle", typed=_as_typed(typed, paper), refusal=refusal)
    return _written(page, named)


@router.get("/tables/{code:path}/paper")
def show_table_paper(records: Records, by: SignedIn, code: str, revision: str) -> Response:
    """The TABLE.json of a revision, to judge with elsewhere."""
    return _paper(records, Named(_TABLE, code.upper(), revision))


@router.get("/cycles/{code:path}/paper")
def show_cycle_paper(records: Records, by: SignedIn, code: str, revision: str) -> Response:
    """The CYCLE.json of a revision, without the sensors that each load names."""
    return _paper(records, Named(_CYCLE, code.upper(), revision))


@router.get("/tables/{code:path}")
def show_table(
    page: Page, records: Records, by: SignedIn, code: str, revision: str | None = None
) -> Response:
    """An acceptance table: the newest revision in force, or the one asked for, and the others."""
    return _requirement_page(page, records, by, kind=_TABLE, code=code.upper(), asked=revision)


@router.get("/cycles/{code:path}")
def show_cycle(
    page: Page, records: Records, by: SignedIn, code: str, revision: str | None = None
) -> Response:
    """A cycle: the newest revision in force, or the one asked for, and the others."""
    return _requirement_page(page, records, by, kind=_CYCLE, code=code.upper(), asked=revision)


@router.post("/tables/{code:path}/verify")
def submit_table_verification(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Sign that a table's values were compared with their source."""
    return _verify(page, records, by, kind=_TABLE, code=code.upper(), typed=typed)


@router.post("/cycles/{code:path}/verify")
def submit_cycle_verification(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Sign that a cycle's parameters were compared with their source."""
    return _verify(page, records, by, kind=_CYCLE, code=code.upper(), typed=typed)


@router.post("/tables/{code:path}/withdraw")
def submit_table_withdrawal(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Let no new load use a revision of a table."""
    return _withdraw(page, records, by, kind=_TABLE, code=code.upper(), typed=typed)


@router.post("/cycles/{code:path}/withdraw")
def submit_cycle_withdrawal(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Let no new load use a revision of a cycle."""
    return _withdraw(page, records, by, kind=_CYCLE, code=code.upper(), typed=typed)


def _verify(
    page: PageMaker, records: Records, by: Actor, *, kind: RequirementKind, code: str, typed: Typed
) -> Response:
    require(by, Act.VERIFY_REQUIREMENT)
    try:
        form = parse(VerifyForm, typed, zone=page.settings.zone)
        service.verify(
            records,
            Named(kind, code, form.revision),
            compared=typed.every("compared"),
            in_force_from=form.in_force_from,
            password=form.password,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        asked = typed.get("revision")
        return _requirement_page(
            page,
            records,
            by,
            kind=kind,
            code=code,
            asked=asked,
            typed=typed,
            refusal=refusal,
            act="verify",
        )
    notice = f"You have verified {code} revision {form.revision}."
    return page.see_other(_PLACE[kind], code, notice=notice)


def _withdraw(
    page: PageMaker, records: Records, by: Actor, *, kind: RequirementKind, code: str, typed: Typed
) -> Response:
    if not may(by, Act.VERIFY_REQUIREMENT):
        require(by, Act.WRITE_REQUIREMENT)
    try:
        form = parse(WithdrawForm, typed)
        named = Named(kind, code, form.revision)
        service.withdraw(records, named, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        asked = typed.get("revision")
        return _requirement_page(
            page,
            records,
            by,
            kind=kind,
            code=code,
            asked=asked,
            typed=typed,
            refusal=refusal,
            act="withdraw",
        )
    notice = f"{code} revision {form.revision} is withdrawn: no new load may use it."
    return page.see_other(_PLACE[kind], code, notice=notice)


def _requirement_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    *,
    kind: RequirementKind,
    code: str,
    asked: str | None,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
    act: str = "",
) -> Response:
    """One requirement; ``act`` says which of its two forms was refused."""
    at = now()
    with records.read() as session:
        found = queries.named(session, code, kind=kind, revision=asked)
        shown = queries.shown_first(found, at, asked=asked)
        state = queries.state_of(shown, at)
        unverified = state is RevisionState.UNVERIFIED
        is_table = kind is _TABLE
        return page.show(
            "requirements/table.html" if is_table else "requirements/cycle.html",
            shown=shown,
            state=state,
            states=[
                (one, queries.state_of(one, at)) for one in reversed(found) if one is not shown
            ],
            rows=table_rows(queries.table_of(shown)) if is_table else (),
            parts=queries.parts_of(shown),
            place=_PLACE[kind],
            meaning=_MEANING[kind],
            names=names(session),
            acts=acts_about(session, IDENTITY_KIND[kind], code),
            may_write=may(by, Act.WRITE_REQUIREMENT),
            may_verify=unverified
            and may(by, Act.VERIFY_REQUIREMENT)
            and shown.written_by_id != by.id,
            own=unverified and shown.written_by_id == by.id,
            may_withdraw=shown.withdrawn_at is None
            and (may(by, Act.WRITE_REQUIREMENT) or may(by, Act.VERIFY_REQUIREMENT)),
            compared=typed.every("compared") if typed else [],
            refused=act,
            **kept(typed, refusal),
        )


def _write_page(
    page: PageMaker,
    by: Actor,
    form: str,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.WRITE_REQUIREMENT)
    return page.show(
        f"requirements/register_{form}.html",
        scales=[(scale, scale) for scale in HARDNESS_SCALES],
        units=[(unit, unit) for unit in CONDUCTIVITY_UNITS],
        obtained=[(words, words) for words in _OBTAINED],
        **kept(typed, refusal),
    )


def _as_typed(typed: Typed, paper: bytes) -> dict[str, Any]:
    """What was typed, with a file's text in the box, so that it can be corrected on the page."""
    given = dict(typed)
    if not given.get("paper", "").strip():
        given["paper"] = paper.decode("utf-8", errors="ignore").replace("\0", "")
    return given


def _written(page: PageMaker, named: Named) -> Response:
    address = f"{_PLACE[named.kind]}/{named.code}?revision={quote(named.revision)}"
    notice = (
        f"{named.code} revision {named.revision} is on record. It judges nothing until another "
        "person, a supervisor, has compared it with its source and verified it."
    )
    return page.see_other(address, notice=notice)


def _paper(records: Records, named: Named) -> Response:
    with records.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    paper = next(one.paper for one in found if one.revision == named.revision)
    name = f"{named.code}-{named.revision}.json".replace("/", "-")
    return Response(
        json.dumps(paper, indent=1, ensure_ascii=False),
        media_type="application/json",
        headers={"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"},
    )
