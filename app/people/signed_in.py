"""Who is asking: the sign-in cookie turned into a person, for every page."""

from datetime import datetime
from typing import Annotated

from fastapi import Depends, Request

from app.audit.actor import Actor
from app.people import queries, service
from app.settings import Settings
from app.web import cookies
from app.web.form_token import csrf_token
from app.web.page import Records, Visitor, now

PASSWORD_PAGE = "/account/password"  # noqa: S105 - an address
_WITH_A_FIRST_PASSWORD = {PASSWORD_PAGE, "/sign-out"}
_FOLLOWED = "/live/state"


class NotSignedIn(Exception):
    """Nobody is signed in, or the sign-in is locked; whoever reads has to prove who they are."""


class PasswordIsFirst(Exception):
    """Somebody else knows the person's password; they set their own before anything else."""


def is_locked(seen_at: datetime, *, at: datetime, settings: Settings) -> bool:
    """Whether a sign-in was left so long that it opens nothing until its person is back."""
    return (at - seen_at).total_seconds() > settings.idle_minutes * 60


def seen_as(request: Request, person: Actor, token: str) -> None:
    """Have the pages of this answer show who is signed in, and their forms carry the token."""
    request.state.visitor = Visitor(
        person.username, person.full_name, person.roles, csrf_token(token)
    )


def person_of(request: Request, records: Records) -> Actor:
    """Who is signed in and may read this page; looked up once in a request.

    Raises:
        NotSignedIn: nobody is, or the sign-in is locked.
        PasswordIsFirst: they have to set their own password before anything else.
    """
    known: Actor | None = getattr(request.state, "person", None)
    if known is None:
        known = request.state.person = _looked_up(request, records)
    return known


def _looked_up(request: Request, records: Records) -> Actor:
    token = cookies.taken(request, cookies.SIGN_IN)
    if not token:
        raise NotSignedIn
    settings: Settings = request.app.state.settings
    moment = now()
    with records.read() as session:
        today = moment.astimezone(settings.zone).date()
        found = queries.signed_in(session, token, now=moment, today=today)
    if found is None:
        raise NotSignedIn
    person, seen_at, password_is_first = found
    # A page that follows a furnace asks by itself: it keeps no sign-in in use, and it goes on where
    # the sign-in is locked, because what it shows stands on the screen already.
    asks_by_itself = request.method == "GET" and request.url.path.endswith(_FOLLOWED)
    if not asks_by_itself:
        if is_locked(seen_at, at=moment, settings=settings):
            raise NotSignedIn
        service.keep_signed_in(records, token, seen_at=seen_at, now=moment)
    seen_as(request, person, token)
    if password_is_first and request.url.path not in _WITH_A_FIRST_PASSWORD:
        raise PasswordIsFirst
    return person


SignedIn = Annotated[Actor, Depends(person_of)]
