"""Sign-ins that are locked or ended: the person proves themselves again and loses nothing."""

import secrets
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from app.database import Database
from app.errors import Refusal
from app.people import queries
from app.people.queries import sign_ins
from app.people.service import signing_in
from app.people.signed_in import PASSWORD_PAGE, is_locked, seen_as
from app.settings import Settings
from app.web import cookies
from app.web.form_token import csrf_of
from app.web.forms import (
    OldForm,
    OpenForm,
    Typed,
    own_address,
    read_open_form,
    refuse_other_sites,
)
from app.web.held import Held, held_again, held_of
from app.web.page import Page, PageMaker, Records, now, problem_page

router = APIRouter()

_BROWSER_KEPT_S = 400 * 24 * 3600
_STRANGERS_MOST_BYTES = 1_000_000


def mark_of(request: Request) -> str:
    """The browser's own mark, or a new one."""
    return cookies.taken(request, cookies.BROWSER) or secrets.token_urlsafe(16)


def keep_cookies(response: Response, settings: Settings, *, token: str, mark: str) -> None:
    """Have the browser keep a new sign-in and its own mark.

    The sign-in's cookie outlives the sign-in, so that it is known whose it was.
    """
    seconds = settings.session_hours * 3600 + sign_ins.KEPT.total_seconds()
    cookies.put(response, settings, cookies.SIGN_IN, token, seconds=seconds)
    cookies.put(response, settings, cookies.BROWSER, mark, seconds=_BROWSER_KEPT_S)


def locked(request: Request, records: Database) -> sign_ins.Known | None:
    """The browser's sign-in if it is locked but has not ended."""
    known = _standing(request, records)
    settings: Settings = request.app.state.settings
    at = now()
    if known is None or known.has_ended(at):
        return None
    return known if is_locked(known.seen_at, at=at, settings=settings) else None


def _standing(request: Request, records: Database) -> sign_ins.Known | None:
    with records.read() as session:
        return sign_ins.by_cookie(session, cookies.taken(request, cookies.SIGN_IN))


@router.get("/unlock")
def show_unlock(
    page: Page,
    records: Records,
    request: Request,
    next: str = "/",  # noqa: A002 - the address's own word
) -> Response:
    """The page that asks for the password of whoever's sign-in is locked."""
    known = locked(request, records)
    if known is None:
        return page.see_other(f"/sign-in?next={quote(own_address(next))}")
    return _unlock_page(page, known, onward=own_address(next))


@router.post("/unlock")
def submit_unlock(page: Page, records: Records, request: Request, typed: OpenForm) -> Response:
    """Unlock, then go on, or show what was being sent so that one press sends it on."""
    onward = own_address(typed.get("next", "/"))
    with records.read() as session:
        known = sign_ins.by_form(session, typed.get("shown_to", ""), csrf_of)
    if known is None:
        return page.see_other(f"/sign-in?next={quote(onward)}")
    held, at, mark = None, now(), mark_of(request)
    try:
        held = held_again(request, typed)
        token = signing_in.unlock(
            records,
            known,
            password=typed.get("password", ""),
            code=typed.get("one_time_code", ""),
            mark=mark,
            at=at,
            hours=page.settings.session_hours,
        )
    except Refusal as refusal:
        return _unlock_page(page, known, onward=onward, held=held, refusal=refusal)
    if held is None:
        response = page.see_other(onward)
    else:
        with records.read() as session:
            today = at.astimezone(page.settings.zone).date()
            seen_as(request, queries.actor(session, known.username, today=today), token)
        response = page.show("people/held.html", held=held, unlocked=True)
    keep_cookies(response, page.settings, token=token, mark=mark)
    return response


def _unlock_page(
    page: PageMaker,
    known: sign_ins.Known,
    *,
    onward: str = "/",
    held: Held | None = None,
    refusal: Refusal | None = None,
) -> Response:
    return page.show(
        "people/unlock.html",
        status=200 if refusal is None else refusal.status,
        known=known,
        ended=known.has_ended(now()),
        shown_to=csrf_of(known.digest),
        next=onward,
        held=held,
        sentence=refusal.sentence if refusal else None,
        problems=refusal.fields if refusal else {},
    )


async def ask_to_sign_in(request: Request, _error: Exception) -> Response:
    """Answer whoever is not signed in: a page is come back to, and what was sent is carried."""
    records: Database = request.app.state.database
    if request.method in {"GET", "HEAD"}:
        onward = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        where = "/unlock" if await run_in_threadpool(locked, request, records) else "/sign-in"
        return RedirectResponse(f"{where}?next={quote(onward)}", status_code=303)
    typed = await _sent(request)
    answer = None
    if typed is not None:
        answer = await run_in_threadpool(_ask_again, request, records, typed)
        await request.close()
    return answer or RedirectResponse("/sign-in?next=/", status_code=303)


async def _sent(request: Request) -> Typed | None:
    """What a page of ours sent.

    None where a script sent it, which keeps it itself, or where a stranger sends much.
    """
    asks_json = "application/json" in request.headers.get("accept", "")
    length = int(request.headers.get("content-length") or _STRANGERS_MOST_BYTES + 1)
    records: Database = request.app.state.database
    settings: Settings = request.app.state.settings
    most = _STRANGERS_MOST_BYTES
    if await run_in_threadpool(_standing, request, records) is not None:
        most = settings.upload_limit_mb * 1_000_000 + 100_000
    if asks_json or length > most:
        return None
    try:
        return await read_open_form(request)
    except Refusal:
        return None


def _ask_again(request: Request, records: Database, typed: Typed) -> Response | None:
    """The page that asks the person the form was shown to; None where that is not known."""
    with records.read() as session:
        known = sign_ins.by_form(session, typed.get("csrf", ""), csrf_of)
    if known is None:
        return None
    return _unlock_page(PageMaker(request), known, held=held_of(request, typed))


def show_old_form(request: Request, error: Exception) -> Response:
    """Answer a form that was shown to another sign-in than the one that sends it.

    To the same person it is shown again, to be sent on with one press; to nobody else.
    """
    assert isinstance(error, OldForm)  # noqa: S101 - registered for this class only
    records: Database = request.app.state.database
    if error.typed is not None and _is_from_here(request):
        with records.read() as session:
            known = sign_ins.by_form(session, error.typed.get("csrf", ""), csrf_of)
        visitor = getattr(request.state, "visitor", None)
        if known is not None and visitor is not None and known.username == visitor.username:
            held = held_of(request, error.typed)
            if held is not None:
                return PageMaker(request).show("people/held.html", held=held, unlocked=False)
    return problem_page(
        request, status=error.status, title="This cannot be taken", sentence=error.sentence
    )


def _is_from_here(request: Request) -> bool:
    try:
        refuse_other_sites(request)
    except Refusal:
        return False
    return True


def ask_for_own_password(_request: Request, _error: Exception) -> Response:
    """Lead whoever still has a first password to where they set their own."""
    return RedirectResponse(PASSWORD_PAGE, status_code=303)
