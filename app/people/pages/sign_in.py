"""Sign-in and sign-out."""

from urllib.parse import quote

from fastapi import APIRouter, Request, Response

from app.errors import Refusal
from app.people import service
from app.people.forms import SignInForm
from app.people.pages.unlocking import keep_cookies, locked, mark_of
from app.people.signed_in import SignedIn
from app.web import cookies
from app.web.forms import OpenForm, TypedForm, own_address, parse
from app.web.page import Page, Records, now

router = APIRouter()


@router.get("/sign-in")
def show_sign_in(
    page: Page,
    records: Records,
    request: Request,
    next: str = "/",  # noqa: A002 - the address's own word
    other: str = "",
) -> Response:
    """The sign-in form; who is only locked out is asked to unlock, unless somebody else comes."""
    if not other and locked(request, records) is not None:
        return page.see_other(f"/unlock?next={quote(own_address(next))}")
    return page.show(
        "people/sign_in.html", next=own_address(next), typed={}, sentence=None, problems={}
    )


@router.post("/sign-in")
def submit_sign_in(page: Page, records: Records, request: Request, typed: OpenForm) -> Response:
    """Sign in; a refusal shows the form again with the name as typed."""
    onward = own_address(typed.get("next", "/"))
    settings = page.settings
    mark = mark_of(request)
    try:
        form = parse(SignInForm, typed)
        token = service.sign_in(
            records,
            username=form.username,
            password=form.password,
            code=form.one_time_code,
            mark=mark,
            instead_of=cookies.taken(request, cookies.SIGN_IN),
            at=now(),
            hours=settings.session_hours,
        )
    except Refusal as refusal:
        return page.show(
            "people/sign_in.html",
            status=refusal.status,
            next=onward,
            typed={"username": typed.get("username", "")},
            sentence=refusal.sentence,
            problems=refusal.fields,
        )
    response = page.see_other(onward)
    keep_cookies(response, settings, token=token, mark=mark)
    return response


@router.post("/sign-out")
def submit_sign_out(
    page: Page, records: Records, request: Request, by: SignedIn, _typed: TypedForm
) -> Response:
    """End the sign-in at once."""
    service.sign_out(records, cookies.taken(request, cookies.SIGN_IN), by=by, at=now())
    response = page.see_other("/sign-in", notice="You are signed out.")
    cookies.drop(response, page.settings, cookies.SIGN_IN)
    return response
