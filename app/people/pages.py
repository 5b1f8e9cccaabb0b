"""Sign-in, sign-out, and the people of the shop."""

from fastapi import APIRouter, Request, Response

from app.errors import Refusal
from app.people import queries, service
from app.people.forms import PersonForm, SignInForm, roles_of
from app.people.rights import MAY, Act, Role, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import SESSION_COOKIE, OpenForm, Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/sign-in")
def show_sign_in(page: Page, next: str = "/") -> Response:  # noqa: A002 - the address's own word
    """The sign-in form."""
    return page.show("people/sign_in.html", next=_own(next), typed={}, sentence=None, problems={})


@router.post("/sign-in")
def submit_sign_in(page: Page, records: Records, typed: OpenForm) -> Response:
    """Sign in; a refusal shows the form again with the name as typed."""
    onward = _own(typed.get("next", "/"))
    settings = page.settings
    try:
        form = parse(SignInForm, typed)
        token = service.sign_in(
            records,
            username=form.username,
            password=form.password,
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
    response.set_cookie(
        SESSION_COOKIE,
        token,
        max_age=int(settings.session_hours * 3600),
        httponly=True,
        samesite="lax",
        secure=settings.secure_cookies,
    )
    return response


@router.post("/sign-out")
def submit_sign_out(
    page: Page, records: Records, request: Request, by: SignedIn, typed: TypedForm
) -> Response:
    """End the sign-in at once."""
    service.sign_out(records, request.cookies.get(SESSION_COOKIE, ""), by=by, at=now())
    response = page.see_other("/sign-in", notice="You are signed out.")
    response.delete_cookie(SESSION_COOKIE)
    return response


@router.get("/people")
def show_people(page: Page, records: Records, by: SignedIn) -> Response:
    """Everybody with an account, and what their roles let them do."""
    return _people_page(page, records, by)


@router.post("/people")
def submit_person(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Open an account."""
    require(by, Act.ADD_PERSON)
    try:
        form = parse(PersonForm, typed)
        added = service.add_person(
            records,
            username=form.username,
            full_name=form.full_name,
            roles=roles_of(typed.every("roles")),
            password=form.password,
            by=by.username,
            at=now(),
        )
    except Refusal as refusal:
        return _people_page(page, records, by, typed=typed, refusal=refusal)
    return page.see_other("/people", notice=f"{added.full_name} can now sign in.")


def _people_page(
    page: PageMaker,
    records: Records,
    by: SignedIn,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        everybody = queries.people(session)
    return page.show(
        "people/people.html",
        people=everybody,
        roles=[(role.value, [act.value for act in Act if role in MAY[act]]) for role in Role],
        chosen=typed.every("roles") if typed else [],
        may_add=may(by, Act.ADD_PERSON),
        **kept(typed, refusal),
    )


def _own(address: str) -> str:
    """A path of ours to go on to; anything that could lead elsewhere becomes the first page."""
    ours = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if ours and address.isprintable() else "/"
