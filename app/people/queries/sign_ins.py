"""What is read about sign-ins: open ones, locked ones, and whose an ended one was."""

import hmac
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.people.queries.accounts import token_digest
from app.people.records import Person, SignIn

KEPT = timedelta(days=2)
"""How long it is still known whose an ended sign-in was: what was typed finds its person."""


@dataclass(frozen=True, slots=True)
class Known:
    """A sign-in that was opened here, whatever became of it since."""

    digest: str
    person_id: int
    username: str
    full_name: str
    needs_code: bool
    opened_at: datetime
    seen_at: datetime
    ends_at: datetime

    def has_ended(self, now: datetime) -> bool:
        """Whether it opens nothing any more, even to its person."""
        return self.ends_at <= now


def by_cookie(session: Session, token: str) -> Known | None:
    """The sign-in of a cookie, open, locked or ended; None where there is none on record."""
    rows = _known(session, SignIn.token_sha256 == token_digest(token)) if token else []
    return rows[0] if rows else None


def by_form(session: Session, carried: str, csrf_of: Callable[[str], str]) -> Known | None:
    """The sign-in that a form was shown to, by the token it carries; None where none is on record.

    ``csrf_of`` gives a sign-in's token. A shop has tens of sign-ins in two days, so all of them are
    tried.
    """
    found = [
        one
        for one in _known(session)
        if hmac.compare_digest(csrf_of(one.digest).encode(), carried.encode())
    ]
    return found[0] if found else None


def open_of(session: Session, person_id: int, *, now: datetime) -> Sequence[Known]:
    """The person's sign-ins that have not ended, the newest first; locked ones among them."""
    rows = _known(session, SignIn.person_id == person_id, SignIn.ends_at > now)
    return sorted(rows, key=lambda one: one.opened_at, reverse=True)


def _known(session: Session, *conditions: object) -> Sequence[Known]:
    rows = session.execute(
        select(
            SignIn.token_sha256,
            Person.id,
            Person.username,
            Person.full_name,
            Person.totp_secret.is_not(None),
            SignIn.opened_at,
            SignIn.seen_at,
            SignIn.ends_at,
        )
        .join(Person, Person.id == SignIn.person_id)
        .where(Person.active, *conditions)  # type: ignore[arg-type]
    )
    return [Known(*row) for row in rows]
