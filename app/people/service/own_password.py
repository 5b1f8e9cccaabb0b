"""Passwords set: by the person themselves, or a first one by an administrator."""

from datetime import datetime

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.people import queries
from app.people.rights import Act, require
from app.people.service.ending import end_sign_ins
from app.people.service.passwords import check_password, hashed, matches
from app.people.service.waiting import SIGNATURES, Counter, name_digest, proven


def set_own_password(
    database: Database,
    by: Actor,
    *,
    old: str,
    new: str,
    at: datetime,
    keep: str = "",
    shop: str = "",
) -> None:
    """Set one's own password. Their other sign-ins end; ``keep`` is the cookie of this one.

    ``shop`` is the shop's name, which makes no good password.

    Raises:
        Refusal: the old one is not theirs (field ``old``), or the new one is the same or cannot be
            taken (field ``password``).
        Conflict: it was set otherwise meanwhile.
    """
    with database.read() as session:
        known = queries.person(session, by.username).password_hash
    counter = Counter(name_digest(by.username), SIGNATURES)
    right = proven(database, counter, at=at, prove=lambda: matches(known, old), too_soon=_too_soon)
    if not right:
        sentence = "The password you have now is another. Type it again; nothing was changed."
        raise Refusal(sentence, fields={"old": sentence})
    if old == new:
        sentence = "The new password is the old one. Choose one that nobody else has seen."
        raise Refusal(sentence, fields={"password": sentence})
    check_password(new, own_words=(by.username, by.full_name, shop))
    kept = hashed(new)
    with database.write() as session:
        person = queries.person(session, by.username)
        if person.password_hash != known:
            raise Conflict("Your password was set otherwise meanwhile. Sign in again.")
        person.password_hash, person.password_is_first = kept, False
        end_sign_ins(session, person.id, at=at, but=keep)
        append(
            session,
            Tag.PASSWORD_SET,
            by=by,
            at=at,
            about=("person", person.username),
            rows=[person],
            note="by the person",
        )


def _too_soon(wait: str) -> Refusal:
    sentence = f"After several wrong passwords the next one counts in {wait}. Nothing was changed."
    return Refusal(sentence, fields={"old": sentence})


def give_first_password(
    database: Database, username: str, *, password: str, by: Actor, at: datetime
) -> str:
    """Give somebody a password to begin with; hands back their full name.

    They have to set their own before anything else, and their open sign-ins end.

    Raises:
        NotFound: there is no such account.
        NotAllowed: the person is no administrator, or the account is their own.
        Refusal: the password cannot be taken.
    """
    require(by, Act.ADD_PERSON)
    with database.read() as session:
        person = queries.person(session, username)
        check_password(password, own_words=(username, person.full_name))
    kept = hashed(password)
    with database.write() as session:
        person = queries.person(session, username)
        if by.is_person(person.id):
            raise NotAllowed("You set your own password with the one you have now.")
        person.password_hash, person.password_is_first = kept, True
        end_sign_ins(session, person.id, at=at)
        append(
            session,
            Tag.PASSWORD_SET,
            by=by,
            at=at,
            about=("person", username),
            rows=[person],
            note="a first one, by an administrator",
        )
        return person.full_name
