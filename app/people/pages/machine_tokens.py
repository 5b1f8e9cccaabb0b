"""Machines' tokens: each opens one thing, and no sign-in does."""

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.people import queries, service
from app.people.forms import MachineTokenForm, ReasonForm
from app.people.records import Scope
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/people/tokens")
def show_machine_tokens(page: Page, records: Records, by: SignedIn) -> Response:
    """Every token that was issued, and for an administrator the form to issue one."""
    return _tokens_page(page, records, by)


@router.post("/people/tokens")
def submit_machine_token(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Issue a token. The answer itself shows it, once: it is in no address and no cookie."""
    require(by, Act.ISSUE_MACHINE_TOKEN)
    try:
        form = parse(MachineTokenForm, typed)
        token = service.issue_machine_token(
            records,
            name=form.name,
            scope=form.scope,
            last_day=form.last_day,
            by=by,
            at=now(),
            today=page.shop_time().date(),
        )
    except Refusal as refusal:
        return _tokens_page(page, records, by, typed=dict(typed), refusal=refusal)
    return _tokens_page(page, records, by, token=token)


@router.post("/people/tokens/{token_id:int}/end")
def submit_machine_token_end(
    page: Page, records: Records, by: SignedIn, token_id: int, typed: TypedForm
) -> Response:
    """Take a token back; from then on it opens nothing."""
    require(by, Act.ISSUE_MACHINE_TOKEN)
    try:
        form = parse(ReasonForm, {"reason": typed.get(f"reason_{token_id}", "")})
        name = service.end_machine_token(records, token_id, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        # Each token on the page has a form, and a field, of its own.
        refusal.fields = {
            f"{field}_{token_id}": sentence for field, sentence in refusal.fields.items()
        }
        return _tokens_page(page, records, by, typed=dict(typed), refusal=refusal)
    return page.see_other("/people/tokens", notice=f"The token of {name} is taken back.")


def _tokens_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    *,
    token: str | None = None,
    typed: dict[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    today = page.shop_time().date()
    with records.read() as session:
        lines = queries.machine_tokens(session)
        names = queries.names(session)
    return page.show(
        "people/machine_tokens.html",
        lines=[(one, one.is_good(today)) for one in lines],
        token=token,
        names=names,
        today=today,
        scopes=[(scope.value, scope.value) for scope in Scope],
        may_issue=may(by, Act.ISSUE_MACHINE_TOKEN),
        **kept(typed, refusal),
    )
