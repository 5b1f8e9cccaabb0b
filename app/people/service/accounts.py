"""Accounts: who they are for, and what they may do."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, Refusal
from app.people import queries
from app.people.records import Person
from app.people.rights import Act, Role, require
from app.people.service.ending import end_sign_ins
from app.people.service.passwords import check_password, hashed

_RESERVED = frozenset({"authorisations", "tokens"})
"""Addresses of their own beside everybody's ``/people/{username}``."""
_NUMBER = re.compile(r"[A-Z0-9]{3,40}")
SHORTEST_REASON = 10


def identity_number_of(typed: str) -> str:
    """A person's identity number as it is kept: capitals and digits, nothing between them.

    Raises:
        Refusal: 3 to 40 letters and digits are not left without blanks, '-', '.' and '/'.
    """
    number = re.sub(r"[\s./-]", "", typed).upper()
    if not _NUMBER.fullmatch(number):
        sentence = (
            "An identity number has 3 to 40 letters and digits, such as W-2041: the person's own "
            "number at the works, or of a document, which nobody else has and they keep."
        )
        raise Refusal(sentence, fields={"identity_number": sentence})
    return number


def add_person(
    database: Database,
    *,
    username: str,
    full_name: str,
    identity_number: str,
    roles: Iterable[Role],
    password: str,
    by: str,
    at: datetime,
    password_is_first: bool = False,
) -> Actor:
    """Open an account. ``by`` is the administrator's user name, or "set-up" for the first.

    ``password_is_first`` says that somebody else knows the password, so that the person has to set
    their own before anything else.

    Raises:
        Refusal: name, number or password cannot be taken; the sentence says what is asked.
        Conflict: the user name is in use, or the person has an account already.
    """
    username = username.strip().lower()
    _refuse_username(username)
    full_name = _full_name(full_name)
    number = identity_number_of(identity_number)
    check_password(password, own_words=(username, full_name))
    kept = hashed(password)
    with database.write() as session:
        if queries.find_person(session, username) is not None:
            sentence = f"The user name {username!r} is in use; choose another."
            raise Conflict(sentence, fields={"username": sentence})
        _refuse_second_account(queries.holders_of(session, number))
        person = Person(
            username=username,
            full_name=full_name,
            identity_number=number,
            roles=sorted(role.value for role in roles),
            password_hash=kept,
            password_is_first=password_is_first,
            active=True,
            added_at=at,
        )
        session.add(person)
        append(session, Tag.PERSON_ADDED, by=by, at=at, about=("person", username), rows=[person])
        return Actor(person.id, username, full_name, frozenset(person.roles))


def _refuse_username(username: str) -> None:
    if not (username and username.isascii() and username.replace(".", "").isalnum()):
        raise Refusal(
            "A user name has only letters, digits and dots, such as 'm.quist'.",
            fields={"username": "Use letters, digits and dots only."},
        )
    if username in _RESERVED:
        sentence = f"{username!r} is the address of a page here; choose another user name."
        raise Refusal(sentence, fields={"username": sentence})


def _full_name(typed: str) -> str:
    name = " ".join(typed.split())
    if not name:
        raise Refusal(
            "A signature prints the full name, so give it.", fields={"full_name": "Give it."}
        )
    return name


def _refuse_second_account(holders: Iterable[Person]) -> None:
    for one in holders:
        remedy = "Give that account the role" if one.active else "Open that account again"
        sentence = (
            f"The person with this identity number has an account: {one.full_name} "
            f"({one.username}{'' if one.active else ', closed'}). {remedy} instead of opening "
            "another."
        )
        raise Conflict(sentence, fields={"identity_number": sentence})


@dataclass(frozen=True, slots=True)
class AccountAsStated:
    """What an administrator states of an account; None leaves roles or number as they are."""

    full_name: str
    roles: frozenset[Role] | None = None
    identity_number: str | None = None


def account_digest(person: Person) -> str:
    """Names the state of an account that a form was shown for."""
    return paper_sha256(
        {
            "full_name": person.full_name,
            "roles": list(person.roles),
            "identity_number": person.identity_number,
            "active": person.active,
        }
    )


def change_person(
    database: Database,
    username: str,
    stated: AccountAsStated,
    *,
    seen: str,
    by: Actor,
    at: datetime,
) -> list[str]:
    """Change an account to what is stated; hands back the same person's other accounts, if any.

    A number that another account has is taken, for it is the truth: both count as one person from
    then on. Signatures keep the name they printed. ``seen`` is the :func:`account_digest` of the
    account as the form showed it.

    Raises:
        NotFound: there is no such account.
        NotAllowed: the person is no administrator, or changes their own roles or stated number.
        Conflict: somebody changed the account meanwhile, or nobody would administer any more.
        Refusal: nothing is changed, or the name or number cannot be taken.
    """
    require(by, Act.ADD_PERSON)
    full_name = _full_name(stated.full_name)
    typed = stated.identity_number
    number = None if typed is None else identity_number_of(typed)
    with database.write() as session:
        person = queries.person(session, username)
        _refuse_overtaken(person, seen)
        roles = person.roles
        if stated.roles is not None:
            roles = sorted(role.value for role in stated.roles)
        _refuse_own(person, roles, number, by)
        said = [
            *_changed("name", person.full_name, full_name),
            *_changed("roles", _listed(person.roles), _listed(roles)),
            *([] if number is None else _changed("number", person.identity_number, number)),
        ]
        if not said:
            raise Refusal("Nothing was changed: all is as it was.")
        person.full_name, person.roles = full_name, roles
        person.identity_number = number or person.identity_number
        _refuse_without_administrator(session)
        same = _same_person(session, person)
        if same and number is not None:
            said.append(f"one person with {', '.join(same)}")
        _note(session, person, "; ".join(said), by=by, at=at)
        return same


def _changed(what: str, old: str | None, new: str) -> list[str]:
    return [] if old == new else [f"{what}: {old or 'none'} -> {new or 'none'}"]


def _listed(roles: Iterable[str]) -> str:
    return ", ".join(roles) or "none"


def _refuse_overtaken(person: Person, seen: str) -> None:
    if account_digest(person) != seen:
        raise Conflict(
            f"Somebody has changed the account of {person.full_name} since this page was shown. "
            "Load it again and look first."
        )


def _refuse_own(person: Person, roles: list[str], number: str | None, by: Actor) -> None:
    if not by.is_person(person.id):
        return
    if roles != person.roles:
        raise NotAllowed("Nobody changes their own roles; another administrator has to.")
    if number is not None and person.identity_number not in {None, number}:
        raise NotAllowed(
            "Nobody changes their own identity number once it is stated; another administrator "
            "has to."
        )


def _refuse_without_administrator(session: Session) -> None:
    session.flush()
    if not queries.administrators(session):
        raise Conflict(
            "Then nobody could open or change accounts any more: this is the last open account of "
            "an administrator. Give another person the role first."
        )


def _same_person(session: Session, person: Person) -> list[str]:
    """The user names of the person's other accounts."""
    if person.identity_number is None:
        return []
    holders = queries.holders_of(session, person.identity_number)
    return [one.username for one in holders if one.id != person.id]


def _note(session: Session, person: Person, note: str, *, by: Actor, at: datetime) -> None:
    append(
        session,
        Tag.PERSON_CHANGED,
        by=by,
        at=at,
        about=("person", person.username),
        rows=[person],
        note=note,
    )


def close_account(
    database: Database, username: str, *, reason: str, by: Actor, at: datetime
) -> str:
    """Close an account and end its open sign-ins at once; hands back the full name.

    Raises:
        NotFound: there is no such account.
        NotAllowed: the person is no administrator, or it is their own.
        Conflict: it is closed already, or it is the last administrator's.
        Refusal: no reason.
    """
    require(by, Act.ADD_PERSON)
    reason = _reason(reason, "closed")
    with database.write() as session:
        person = queries.person(session, username)
        if by.is_person(person.id):
            raise NotAllowed("Nobody closes their own account; another administrator has to.")
        if not person.active:
            raise Conflict(f"The account of {person.full_name} is closed already.")
        person.active = False
        _refuse_without_administrator(session)
        end_sign_ins(session, person.id, at=at)
        _note(session, person, f"account: open -> closed; {reason}", by=by, at=at)
        return person.full_name


def reopen_account(
    database: Database, username: str, *, reason: str, by: Actor, at: datetime
) -> str:
    """Open a closed account again, with the roles it had; hands back the full name.

    Raises:
        NotFound: there is no such account.
        NotAllowed: the person is no administrator, or it is their own.
        Conflict: it is open.
        Refusal: no reason.
    """
    require(by, Act.ADD_PERSON)
    reason = _reason(reason, "opened again")
    with database.write() as session:
        person = queries.person(session, username)
        if by.is_person(person.id):
            raise NotAllowed("Nobody opens another account of their own; somebody else has to.")
        if person.active:
            raise Conflict(f"The account of {person.full_name} is open.")
        person.active = True
        _note(session, person, f"account: closed -> open; {reason}", by=by, at=at)
        return person.full_name


def _reason(typed: str, done: str) -> str:
    reason = " ".join(typed.split())
    if len(reason) < SHORTEST_REASON:
        sentence = f"Say why the account is {done}, in {SHORTEST_REASON} characters or more."
        raise Refusal(sentence, fields={"reason": sentence})
    return reason
