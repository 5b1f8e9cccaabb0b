"""Loggers that send their rows themselves: their tokens, and how a logger sends."""

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.loads import service
from app.loads.live import live_queries
from app.loads.live.live_forms import RevocationForm, TokenForm
from app.loads.live.live_rows import CLOCK_AHEAD, MOST_BYTES, MOST_CHANNELS, MOST_ROWS_A_BATCH
from app.loads.service.live import ANCHORED_EVERY, MOST_ROWS
from app.people import queries as people
from app.people.rights import MAY, Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/logger-tokens")
def show_tokens(page: Page, records: Records, by: SignedIn) -> Response:
    """Every token that was issued, and for an administrator the form to issue one."""
    return _tokens_page(page, records, by)


@router.post("/logger-tokens")
def submit_token(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Issue a token. The answer itself shows it, once: it is in no address and no cookie."""
    require(by, Act.ISSUE_TOKEN)
    try:
        form = parse(TokenForm, typed, zone=page.settings.zone)
        token = service.issue_token(
            records,
            name=form.name,
            furnace=form.furnace,
            answers=form.answers,
            ends_at=form.ends_at(page.settings.zone),
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _tokens_page(page, records, by, typed=dict(typed), refusal=refusal)
    return _tokens_page(page, records, by, token=token)


@router.post("/logger-tokens/{token_id:int}/revoke")
def submit_revocation(
    page: Page, records: Records, by: SignedIn, token_id: int, typed: TypedForm
) -> Response:
    """Revoke a token; from then on it opens nothing."""
    require(by, Act.ISSUE_TOKEN)
    try:
        form = parse(RevocationForm, {"reason": typed.get(f"reason_{token_id}", "")})
        name = service.revoke_token(records, token_id, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        # Each token on the page has a form, and a field, of its own.
        refusal.fields = {
            f"{field}_{token_id}": sentence for field, sentence in refusal.fields.items()
        }
        return _tokens_page(page, records, by, typed=dict(typed), refusal=refusal)
    return page.see_other("/logger-tokens", notice=f"The token {name} is revoked.")


def _tokens_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    *,
    token: str | None = None,
    typed: dict[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        lines = live_queries.token_lines(session)
        furnaces = live_queries.furnace_choices(session)
        everybody = people.people(session)
    allowed = {role.value for role in MAY[Act.IMPORT_RECORD]}
    return page.show(
        "loads/logger_tokens.html",
        lines=lines,
        token=token,
        furnaces=furnaces,
        answering=[
            (one.username, one.full_name)
            for one in everybody
            if one.active and allowed & set(one.roles)
        ],
        names={one.id: one.full_name for one in everybody},
        at=now(),
        may_issue=may(by, Act.ISSUE_TOKEN),
        **kept(typed, refusal),
    )


@router.get("/logger-tokens/sending")
def show_sending(page: Page, by: SignedIn) -> Response:
    """How a logger sends its rows: for whoever sets one up."""
    return page.show(
        "loads/logger_sending.html",
        most_rows_a_batch=MOST_ROWS_A_BATCH,
        most_rows=MOST_ROWS,
        most_channels=MOST_CHANNELS,
        most_mb=MOST_BYTES // 1_000_000,
        clock_ahead_s=round(CLOCK_AHEAD.total_seconds()),
        anchored_h=round(ANCHORED_EVERY.total_seconds() / 3600),
    )
