"""Who is asking: the sign-in cookie turned into a person, for every page."""

from typing import Annotated

from fastapi import Depends, Request

from app.audit.actor import Actor
from app.people import queries, service
from app.web.forms import SESSION_COOKIE, csrf_token
from app.web.page import Records, Visitor, now


class NotSignedIn(Exception):
    """Nobody is signed in; the reader is sent to the sign-in page and back."""


def _signed_in(request: Request, records: Records) -> Actor:
    token = request.cookies.get(SESSION_COOKIE)
    if not token:
        raise NotSignedIn
    moment = now()
    with records.read() as session:
        found = queries.signed_in(session, token, now=moment)
    if found is None:
        raise NotSignedIn
    person, seen_at = found
    if (moment - seen_at).total_seconds() > request.app.state.settings.idle_minutes * 60:
        raise NotSignedIn
    service.keep_signed_in(records, token, seen_at=seen_at, now=moment)
    request.state.visitor = Visitor(
        person.username, person.full_name, person.roles, csrf_token(token)
    )
    return person


SignedIn = Annotated[Actor, Depends(_signed_in)]
