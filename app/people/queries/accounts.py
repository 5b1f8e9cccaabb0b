"""What is read about accounts: whose they are, who is signed in, what was done about a thing."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import String, bindparam, cast, literal, select, union_all
from sqlalchemy.orm import Session, aliased

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.errors import NotFound
from app.people.records import Authorisation, AuthorisationEnd, Person, SignIn
from app.people.rights import Role


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


def holders_of(session: Session, identity_number: str) -> Sequence[Person]:
    """The accounts of the person with that identity number, the first one first."""
    return session.scalars(
        select(Person).where(Person.identity_number == identity_number).order_by(Person.id)
    ).all()


def administrators(session: Session) -> list[Person]:
    """The open accounts that hold the administrator's role."""
    role = Role.ADMINISTRATOR.value
    return [one for one in people(session) if one.active and role in one.roles]


def names(session: Session) -> dict[int, str]:
    """Full name by person id; a shop has tens of people, so all of them at once."""
    return {row.id: row.full_name for row in session.execute(select(Person.id, Person.full_name))}


def token_digest(token: str) -> str:
    """What is kept of a sign-in's cookie."""
    return hashlib.sha256(token.encode()).hexdigest()


# Every page asks this first, so that the statement is built once.
_SIGNED_IN = (
    select(
        Person.id,
        Person.username,
        Person.full_name,
        Person.roles,
        Person.password_is_first,
        SignIn.seen_at,
    )
    .join(SignIn, SignIn.person_id == Person.id)
    .where(SignIn.token_sha256 == bindparam("token_sha256"))
    .where(SignIn.ends_at > bindparam("now"), Person.active)
)


_other = aliased(Person)
_STANDING: Any = union_all(
    select(_other.id, literal("").label("task"))
    .join(Person, Person.identity_number == _other.identity_number)
    .where(Person.id == bindparam("person_id"), _other.id != Person.id),
    select(Authorisation.id, cast(Authorisation.task, String))
    .outerjoin(AuthorisationEnd, AuthorisationEnd.authorisation_id == Authorisation.id)
    .where(
        Authorisation.person_id == bindparam("person_id"),
        Authorisation.from_day <= bindparam("today"),
        Authorisation.last_day >= bindparam("today"),
        AuthorisationEnd.id.is_(None),
    ),
)


def signed_in(
    session: Session, token: str, *, now: datetime, today: date
) -> tuple[Actor, datetime, bool] | None:
    """Who holds this cookie, when they were last seen, and whether their password is a first one.

    None if it has ended. ``today`` is the shop's day, on which authorisations have to be good.
    """
    given = {"token_sha256": token_digest(token), "now": now}
    row = session.execute(_SIGNED_IN, given).one_or_none()
    if row is None:
        return None
    return _actor(session, row, today), row.seen_at, bool(row.password_is_first)


def actor(session: Session, username: str, *, today: date) -> Actor:
    """A person as one who acts, with what they are authorised for on the shop's day.

    Raises:
        NotFound: nobody has that name.
    """
    return _actor(session, person(session, username), today)


def actor_by_id(session: Session, person_id: int, *, today: date) -> Actor:
    """The same by the account's key, which is on record."""
    return _actor(session, session.get_one(Person, person_id), today)


def _actor(session: Session, row: Any, today: date) -> Actor:
    standing = session.execute(_STANDING, {"person_id": row.id, "today": today}).all()
    return Actor(
        row.id,
        row.username,
        row.full_name,
        frozenset(row.roles),
        frozenset(found.id for found in standing if not found.task),
        # Of several that are good today the one granted last counts.
        {found.task: found.id for found in sorted(standing, key=_by_id) if found.task},
    )


def _by_id(found: Any) -> int:
    key: int = found.id
    return key


def one_person(session: Session) -> dict[int, int]:
    """For every account whose person has another: the person's first account, by account id.

    Two accounts are one person's where they have one identity number. Mostly empty.
    """
    first = aliased(Person)
    rows = session.execute(
        select(Person.id, first.id.label("first"))
        .join(first, first.identity_number == Person.identity_number)
        .where(first.id < Person.id)
        .order_by(first.id.desc())
    )
    return {row.id: row.first for row in rows}


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
