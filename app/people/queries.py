"""What is read about people."""

import hashlib
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.errors import NotFound
from app.people.records import Person, SignIn


def person(session: Session, username: str) -> Person:
    """The person of that name.

    Raises:
        NotFound: nobody has it.
    """
    found = find_person(session, username)
    if found is None:
        raise NotFound(f"There is no account named {username!r}.")
    return found


def find_person(session: Session, username: str) -> Person | None:
    """The person of that name, or None."""
    return session.scalars(select(Person).where(Person.username == username)).one_or_none()


def people(session: Session) -> Sequence[Person]:
    """Everybody, by full name."""
    return session.scalars(select(Person).order_by(Person.full_name, Person.id)).all()


def names(session: Session) -> dict[int, str]:
    """Full name by person id; a shop has tens of people, so all of them at once."""
    return {row.id: row.full_name for row in session.execute(select(Person.id, Person.full_name))}


def token_digest(token: str) -> str:
    """What is kept of a sign-in's cookie."""
    return hashlib.sha256(token.encode()).hexdigest()


def signed_in(session: Session, token: str, *, now: datetime) -> tuple[Actor, datetime] | None:
    """Who holds this cookie and when they were last seen; None if it has ended."""
    row = session.execute(
        select(Person.id, Person.username, Person.full_name, Person.roles, SignIn.seen_at)
        .join(SignIn, SignIn.person_id == Person.id)
        .where(SignIn.token_sha256 == token_digest(token))
        .where(SignIn.ends_at > now, Person.active)
    ).one_or_none()
    if row is None:
        return None
    return Actor(row.id, row.username, row.full_name, frozenset(row.roles)), row.seen_at
