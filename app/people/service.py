"""Accounts, sign-in and signatures."""

import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, Refusal
from app.people import queries
from app.people.records import Meaning, Person, Signature, SignIn
from app.people.rights import Role

SHORTEST_PASSWORD = 15
"""Characters; NIST SP 800-63B-4 asks at least 15 of a password that is the only factor."""
_LONGEST_PASSWORD = 200
_SEEN_STEP = timedelta(minutes=5)

_hasher = PasswordHasher()
# Compared against when the name is unknown, so that an unknown name takes as long as a wrong word.
_NOBODY = _hasher.hash(secrets.token_hex(16))


def add_person(
    database: Database,
    *,
    username: str,
    full_name: str,
    roles: Iterable[Role],
    password: str,
    by: str,
    at: datetime,
) -> Actor:
    """Open an account. ``by`` is the administrator's user name, or "set-up" for the first.

    Raises:
        Refusal: name or password cannot be taken; the sentence says what is asked.
        Conflict: the user name is in use.
    """
    username = username.strip().lower()
    full_name = " ".join(full_name.split())
    if not (username and username.isascii() and username.replace(".", "").isalnum()):
        raise Refusal(
            "A user name has only letters, digits and dots, such as 'm.quist'.",
            fields={"username": "Use letters, digits and dots only."},
        )
    if not full_name:
        raise Refusal(
            "A signature prints the full name, so give it.", fields={"full_name": "Give it."}
        )
    _check_password(password)
    hashed = _hasher.hash(password)
    with database.write() as session:
        if queries.find_person(session, username) is not None:
            raise Conflict(f"The user name {username!r} is in use; choose another.")
        person = Person(
            username=username,
            full_name=full_name,
            roles=sorted(role.value for role in roles),
            password_hash=hashed,
            active=True,
            added_at=at,
        )
        session.add(person)
        append(session, Tag.PERSON_ADDED, by=by, at=at, about=("person", username), rows=[person])
        return Actor(person.id, username, full_name, frozenset(person.roles))


def _check_password(password: str) -> None:
    if not SHORTEST_PASSWORD <= len(password) <= _LONGEST_PASSWORD:
        sentence = (
            f"A password has {SHORTEST_PASSWORD} to {_LONGEST_PASSWORD} characters, of any kind; "
            f"this one has {len(password)}."
        )
        raise Refusal(sentence, fields={"password": sentence})


def sign_in(database: Database, *, username: str, password: str, at: datetime, hours: float) -> str:
    """Open a sign-in and hand back its secret cookie token.

    Raises:
        Refusal: user name and password do not belong together; which of the two is not said.
    """
    username = username.strip().lower()
    with database.read() as session:
        person = queries.find_person(session, username)
        known = person.password_hash if person is not None and person.active else _NOBODY
    if not _matches(known, password) or person is None or not person.active:
        with database.write() as session:
            append(
                session,
                Tag.SIGN_IN_REFUSED,
                by="-",
                at=at,
                about=("person", username[:64] or "-"),
            )
        raise Refusal(
            "User name and password do not belong together. Check both and try again.",
            fields={"password": "Type it again."},
        )
    token = secrets.token_urlsafe(32)
    with database.write() as session:
        session.execute(delete(SignIn).where(SignIn.ends_at <= at))
        session.add(
            SignIn(
                token_sha256=queries.token_digest(token),
                person_id=person.id,
                opened_at=at,
                seen_at=at,
                ends_at=at + timedelta(hours=hours),
            )
        )
        append(session, Tag.SIGNED_IN, by=username, at=at, about=("person", username))
    return token


def keep_signed_in(database: Database, token: str, *, seen_at: datetime, now: datetime) -> None:
    """Note that the sign-in is in use; written at most every five minutes."""
    if now - seen_at < _SEEN_STEP:
        return
    with database.write() as session:
        row = session.get(SignIn, queries.token_digest(token))
        if row is not None:
            row.seen_at = now


def sign_out(database: Database, token: str, *, by: Actor, at: datetime) -> None:
    """End a sign-in at once."""
    with database.write() as session:
        session.execute(delete(SignIn).where(SignIn.token_sha256 == queries.token_digest(token)))
        append(session, Tag.SIGNED_OUT, by=by, at=at, about=("person", by.username))


@dataclass(frozen=True, slots=True)
class Proof:
    """That a person has just given their password again; a signature cannot be made without it."""

    by: Actor


def re_authenticate(database: Database, by: Actor, *, password: str) -> Proof:
    """Ask for the password again before a signature. Slow on purpose: do it before the decision.

    Raises:
        Refusal: the password is not theirs.
    """
    with database.read() as session:
        known = queries.person(session, by.username).password_hash
    if not _matches(known, password):
        raise Refusal(
            "The signature was not made: the password is not yours. Nothing was changed.",
            fields={"password": "Type your own password to sign."},
        )
    return Proof(by)


def sign(
    session: Session, proof: Proof, *, meaning: Meaning, content_sha256: str, at: datetime
) -> Signature:
    """Sign ``content_sha256`` inside a decision; the caller binds the row to the trail."""
    signature = Signature(
        person_id=proof.by.id,
        printed_name=proof.by.full_name,
        meaning=meaning,
        signed_at=at,
        content_sha256=content_sha256,
    )
    session.add(signature)
    session.flush()
    return signature


def _matches(known: str, password: str) -> bool:
    try:
        return _hasher.verify(known, password[: _LONGEST_PASSWORD + 1])
    except VerificationError:
        return False
