"""What is read about people."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.records import TrailEntry
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


# Every page asks this first, so that the statement is built once.
_SIGNED_IN = (
    select(Person.id, Person.username, Person.full_name, Person.roles, SignIn.seen_at)
    .join(SignIn, SignIn.person_id == Person.id)
    .where(SignIn.token_sha256 == bindparam("token_sha256"))
    .where(SignIn.ends_at > bindparam("now"), Person.active)
)


def signed_in(session: Session, token: str, *, now: datetime) -> tuple[Actor, datetime] | None:
    """Who holds this cookie and when they were last seen; None if it has ended."""
    given = {"token_sha256": token_digest(token), "now": now}
    row = session.execute(_SIGNED_IN, given).one_or_none()
    if row is None:
        return None
    return Actor(row.id, row.username, row.full_name, frozenset(row.roles)), row.seen_at


@dataclass(frozen=True, slots=True)
class TrailLine:
    """One line of a thing's history: when, who (full name), what in words, and the note."""

    number: int
    at: datetime
    person: str
    act: str
    note: str


def acts_about(session: Session, kind: str, code: str, *, most: int = 50) -> list[TrailLine]:
    """The newest ``most`` trail entries about one thing, newest first; one query."""
    found = session.execute(
        select(
            TrailEntry.number,
            TrailEntry.at,
            TrailEntry.by,
            TrailEntry.tag,
            TrailEntry.note,
            Person.full_name,
        )
        .outerjoin(Person, Person.username == TrailEntry.by)
        .where(TrailEntry.about_code == code, TrailEntry.about_kind == kind)
        .order_by(TrailEntry.number.desc())
        .limit(most)
    )
    return [
        TrailLine(row.number, row.at, row.full_name or row.by, act_words(row.tag), row.note)
        for row in found
    ]


def act_words(tag: str) -> str:
    """A kind of act as read: ``equipment:furnace_check:recorded`` is "furnace check recorded"."""
    return " ".join(tag.split(":")[1:]).replace("_", " ")
