"""One's own account: password, second factor, and where one is signed in."""

from typing import Any

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.people import queries, service
from app.people.queries import sign_ins
from app.people.service import second_factor, signing_in
from app.people.signed_in import PASSWORD_PAGE, SignedIn
from app.web import cookies
from app.web.entries import kept
from app.web.forms import Typed, TypedForm
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/account")
def show_account(page: Page, records: Records, request: Request, by: SignedIn) -> Response:
    """Where the person is signed in, and the ways to password and second factor."""
    with records.read() as session:
        person = queries.person(session, by.username)
        several = sign_ins.open_of(session, by.id, now=now())
    this = queries.token_digest(cookies.taken(request, cookies.SIGN_IN))
    return page.show(
        "people/account.html",
        has_second_factor=person.totp_secret is not None,
        sign_ins=[(one, one.digest == this) for one in several],
        idle_minutes=page.settings.idle_minutes,
        session_hours=page.settings.session_hours,
    )


@router.post("/account/sign-out-everywhere")
def submit_sign_out_everywhere(
    page: Page, records: Records, by: SignedIn, _typed: TypedForm
) -> Response:
    """End every sign-in of the person, this one too."""
    count = signing_in.sign_out_everywhere(records, by=by, at=now())
    ended = "Your one sign-in is ended" if count == 1 else f"All {count} sign-ins are ended"
    response = page.see_other("/sign-in", notice=f"{ended}, this one too.")
    cookies.drop(response, page.settings, cookies.SIGN_IN)
    return response


@router.get(PASSWORD_PAGE)
def show_password(page: Page, records: Records, by: SignedIn) -> Response:
    """The form for one's own password."""
    return _password_page(page, records, by)


@router.post(PASSWORD_PAGE)
def submit_password(
    page: Page, records: Records, request: Request, by: SignedIn, typed: TypedForm
) -> Response:
    """Set one's own password; all other sign-ins of the person end."""
    try:
        service.set_own_password(
            records,
            by,
            old=typed.get("old_password", ""),
            new=typed.get("password", ""),
            at=now(),
            keep=cookies.taken(request, cookies.SIGN_IN),
            shop=page.settings.shop_name,
        )
    except Refusal as refusal:
        fields = dict(refusal.fields)
        if "old" in fields:
            fields["old_password"] = fields.pop("old")
        refusal.fields = fields
        return _password_page(page, records, by, refusal=refusal)
    return page.see_other(
        "/account", notice="Your password is set. Every other sign-in of yours is ended."
    )


def _password_page(
    page: PageMaker, records: Database, by: Actor, *, refusal: Refusal | None = None
) -> Response:
    with records.read() as session:
        is_first = bool(queries.person(session, by.username).password_is_first)
    return page.show(
        "people/own_password.html",
        is_first=is_first,
        shortest=service.SHORTEST_PASSWORD,
        **kept(refusal=refusal),
    )


@router.get("/account/second-factor")
def show_second_factor(page: Page, records: Records, by: SignedIn) -> Response:
    """Turn the second factor on, with a new secret; or off."""
    return _second_factor_page(page, records, by)


@router.post("/account/second-factor")
def submit_second_factor(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Turn it on once a code shows that the device has the secret."""
    try:
        second_factor.turn_on(
            records,
            secret=typed.get("secret", ""),
            password=typed.get("password", ""),
            code=typed.get("one_time_code", ""),
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _second_factor_page(page, records, by, typed=typed, refusal=refusal)
    return page.see_other(
        "/account", notice="The second factor is on: each sign-in asks for a code from now on."
    )


@router.post("/account/second-factor/off")
def submit_second_factor_off(
    page: Page, records: Records, by: SignedIn, typed: TypedForm
) -> Response:
    """Turn it off, with password and code."""
    try:
        second_factor.turn_off(
            records,
            password=typed.get("password", ""),
            code=typed.get("one_time_code", ""),
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _second_factor_page(page, records, by, typed=typed, refusal=refusal)
    return page.see_other("/account", notice="The second factor is off.")


@router.post("/people/{username}/second-factor/reset")
def submit_second_factor_reset(
    page: Page, records: Records, by: SignedIn, typed: TypedForm, username: str
) -> Response:
    """An administrator turns off the second factor of a person who has lost the device."""
    second_factor.reset(records, username, reason=typed.get("reason", ""), by=by, at=now())
    return page.see_other(
        "/people", username, notice=f"{username} signs in without a second factor until a new one."
    )


def _second_factor_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        is_on = queries.person(session, by.username).totp_secret is not None
    shown: dict[str, Any] = {"is_on": is_on, "offer": None, "picture": None}
    if not is_on:
        offer = _offer(page, by, typed)
        shown |= {"offer": offer, "picture": Markup(offer.picture)}  # noqa: S704 - drawn by us
    return page.show("people/second_factor.html", **shown, **kept(refusal=refusal))


def _offer(page: PageMaker, by: Actor, typed: Typed | None) -> second_factor.Offer:
    """The secret that the page showed before, lest the device need another; else a new one."""
    shop, secret = page.settings.shop_name, typed.get("secret", "") if typed else ""
    try:
        return second_factor.offer(secret, username=by.username, shop=shop)
    except Refusal:
        return second_factor.offer(second_factor.new_secret(), username=by.username, shop=shop)
