"""One verified paper: its page, its file, and the forms that verify and withdraw it."""

import json
from urllib.parse import quote

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.requirements import queries, service
from app.requirements.forms import VerifyForm, WithdrawForm
from app.requirements.pages.sample import sample_typed
from app.requirements.pages.sheet import Asked, requirement_page
from app.requirements.records import RequirementKind
from app.requirements.service import KINDS, Named
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


def _add_pages(kind: RequirementKind) -> None:
    """The four addresses of a kind."""
    address = f"{KINDS[kind].place}/{{code:path}}"

    @router.get(f"{address}/paper")
    def show_paper(records: Records, by: SignedIn, code: str, revision: str) -> Response:
        """The JSON paper of a revision as it is kept, to be taken away."""
        return _paper(records, by, Named(kind, code.upper(), revision))

    @router.get(address)
    def show(
        page: Page,
        records: Records,
        by: SignedIn,
        code: str,
        *,
        revision: str | None = None,
        attempt: int | None = None,
        beside: int | None = None,
    ) -> Response:
        """The newest revision in force, or the one asked for, and the others.

        ``attempt`` asks for an earlier attempt at it, ``beside`` for the key of the one it is
        compared with.
        """
        asked = Asked(kind, code.upper(), revision, attempt=attempt, beside=beside)
        return requirement_page(page, records, by, asked)

    @router.post(f"{address}/verify")
    def submit_verification(
        page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
    ) -> Response:
        """Sign that every value was compared with its source."""
        return _verify(page, records, by, kind=kind, code=code.upper(), typed=typed)

    @router.post(f"{address}/withdraw")
    def submit_withdrawal(
        page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
    ) -> Response:
        """Let nothing new use a revision."""
        return _withdraw(page, records, by, kind=kind, code=code.upper(), typed=typed)


for _kind in KINDS:
    _add_pages(_kind)


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
            sample=sample_typed(typed),
            attempt=form.attempt,
        )
    except Refusal as refusal:
        asked = Asked(kind, code, typed.get("revision"), act="verify")
        return requirement_page(page, records, by, asked, typed=typed, refusal=refusal)
    notice = f"You have verified {code} revision {form.revision}."
    return page.see_other(KINDS[kind].place, code, notice=notice)


def _withdraw(
    page: PageMaker, records: Records, by: Actor, *, kind: RequirementKind, code: str, typed: Typed
) -> Response:
    if not may(by, Act.VERIFY_REQUIREMENT):
        require(by, KINDS[kind].writes)
    try:
        form = parse(WithdrawForm, typed)
        named = Named(kind, code, form.revision)
        service.withdraw(records, named, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        asked = Asked(kind, code, typed.get("revision"), act="withdraw")
        return requirement_page(page, records, by, asked, typed=typed, refusal=refusal)
    notice = f"{code} revision {form.revision} is withdrawn: {KINDS[kind].after_withdrawal}."
    return page.see_other(KINDS[kind].place, code, notice=notice)


def _paper(records: Records, by: Actor, named: Named) -> Response:
    with records.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    revision = next(one for one in found if one.revision == named.revision)
    queries.may_see_values(revision, by)
    name = f"{named.code}-{named.revision}.json".replace("/", "-")
    return Response(
        json.dumps(revision.paper, indent=1, ensure_ascii=False),
        media_type="application/json",
        headers={"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"},
    )
