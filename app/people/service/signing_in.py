"""Sign-ins: opened with a password, kept while in use, ended."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Refusal
from app.people import queries
from app.people.queries import sign_ins
from app.people.records import KnownBrowser, Person, SignIn, SignInTry
from app.people.service.ending import end_sign_in, end_sign_ins
from app.people.service.passwords import NOBODY, matches
from app.people.service.second_factor import use_code
from app.people.service.waiting import Counter, browser_digest, counter_of, proven

_SEEN_STEP = timedelta(minutes=5)
_BROWSER_KEPT = timedelta(days=400)
_TRY_KEPT = timedelta(days=1)
_MOST_REFUSALS = 30
_NO_ACCOUNT = "(no such account)"


class TooSoon(Refusal):
    """Several tries have failed, and the next one has to wait."""

    status = 429


@dataclass(frozen=True, slots=True)
class Given:
    """What a person gives to prove themselves. ``mark`` is the browser's own secret mark."""

    username: str
    password: str
    code: str = ""
    mark: str = ""


def sign_in(
    database: Database,
    *,
    username: str,
    password: str,
    at: datetime,
    hours: float,
    code: str = "",
    mark: str = "",
    instead_of: str = "",
) -> str:
    """Open a sign-in and hand back its secret cookie token.

    ``code`` is the second factor's, where the person uses one; ``mark`` the browser's own, by which
    it is known the next time; ``instead_of`` the cookie token of a sign-in that ends with this one.

    Raises:
        Refusal: user name, password and code do not belong together; which of them is not said.
        TooSoon: several tries have failed; nothing was compared.
        TooBusy: too many passwords are being compared at this moment.
    """
    given = Given(username.strip().lower(), password, code, mark)
    person = _prove(database, given, at=at, with_code=True)
    token = secrets.token_urlsafe(32)
    with database.write() as session:
        _open(session, person, token, mark=mark, at=at, ends_at=at + timedelta(hours=hours))
        if instead_of:
            end_sign_in(session, queries.token_digest(instead_of), at=at)
        append(session, Tag.SIGNED_IN, by=person.username, at=at, about=_about(person.username))
    return token


def unlock(
    database: Database,
    known: sign_ins.Known,
    *,
    password: str,
    code: str = "",
    mark: str = "",
    at: datetime,
    hours: float,
) -> str:
    """Open a sign-in of the same person in place of a locked or ended one; hands back its token.

    A locked one asks for the password and the new one ends when it would have ended; an ended one
    asks for all that a sign-in asks for.

    Raises:
        Refusal: password or code is not theirs.
        TooSoon: several tries have failed; nothing was compared.
        TooBusy: too many passwords are being compared at this moment.
    """
    ended = known.has_ended(at)
    given = Given(known.username, password, code, mark)
    person = _prove(database, given, at=at, with_code=ended)
    token = secrets.token_urlsafe(32)
    ends_at = at + timedelta(hours=hours) if ended else known.ends_at
    with database.write() as session:
        _open(session, person, token, mark=mark, at=at, ends_at=ends_at)
        end_sign_in(session, known.digest, at=at)
        append(
            session,
            Tag.SIGNED_IN,
            by=person.username,
            at=at,
            about=_about(person.username),
            note="" if ended else "unlocked",
        )
    return token


def _prove(database: Database, given: Given, *, at: datetime, with_code: bool) -> Person:
    """The person who has just proved to be who they say they are."""
    with database.read() as session:
        person = queries.find_person(session, given.username)
        if person is not None and not person.active:
            person = None
        counter = counter_of(session, given.username, person, given.mark)

    def holds() -> bool:
        right = matches(person.password_hash if person else NOBODY, given.password)
        if not right or person is None:
            return False
        asked = with_code and person.totp_secret is not None
        return not asked or use_code(database, person, given.code, at=at)

    if proven(database, counter, at=at, prove=holds, too_soon=_too_soon) and person is not None:
        return person
    _note_refused(database, given.username if person else _NO_ACCOUNT, counter, at=at)
    raise Refusal(
        "User name and password do not belong together. Check both and try again; whoever uses a "
        "second factor gives its next code too.",
        fields={"password": "Type it again."},
    )


def _too_soon(wait: str) -> TooSoon:
    return TooSoon(
        f"After several tries that failed, the next one counts in {wait}. Your password was not "
        "looked at. A browser in which you have signed in before is not held up by tries made "
        "elsewhere.",
        fields={"password": f"Type it again in {wait}."},
    )


def _note_refused(database: Database, name: str, counter: Counter, *, at: datetime) -> None:
    """Put a refused sign-in on the trail, at most thirty an hour for one account.

    What was typed is not kept where it is no account's name: it may have been a password.
    """
    with database.write() as session:
        last = session.scalars(
            select(TrailEntry.at)
            .where(
                TrailEntry.about_code == name[:64],
                TrailEntry.tag == Tag.SIGN_IN_REFUSED.value,
            )
            .order_by(TrailEntry.number.desc())
            .limit(_MOST_REFUSALS)
        ).all()
        recent = sum(one > at - timedelta(hours=1) for one in last)
        if recent >= _MOST_REFUSALS:
            return
        where = "in a browser known for the person" if counter.where else ""
        more = "further ones of this hour are not listed" if recent == _MOST_REFUSALS - 1 else ""
        append(
            session,
            Tag.SIGN_IN_REFUSED,
            by="-",
            at=at,
            about=_about(name),
            note="; ".join(filter(None, (where, more))),
        )


def _open(
    session: Session, person: Person, token: str, *, mark: str, at: datetime, ends_at: datetime
) -> None:
    """The rows of a new sign-in; what nobody asks for any more is swept."""
    session.execute(delete(SignIn).where(SignIn.ends_at <= at - sign_ins.KEPT))
    session.execute(delete(SignInTry).where(SignInTry.at <= at - _TRY_KEPT))
    session.execute(delete(KnownBrowser).where(KnownBrowser.since <= at - _BROWSER_KEPT))
    session.add(
        SignIn(
            token_sha256=queries.token_digest(token),
            person_id=person.id,
            opened_at=at,
            seen_at=at,
            ends_at=ends_at,
        )
    )
    known = browser_digest(mark, person.username)
    if mark and session.get(KnownBrowser, known) is None:
        session.add(KnownBrowser(mark_sha256=known, person_id=person.id, since=at))


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
        end_sign_in(session, queries.token_digest(token), at=at)
        append(session, Tag.SIGNED_OUT, by=by, at=at, about=_about(by.username))


def sign_out_everywhere(database: Database, *, by: Actor, at: datetime) -> int:
    """End every open sign-in of the person, this one too; hands back how many there were.

    Browsers known for the person are forgotten: each counts as unknown until the next sign-in.
    """
    with database.write() as session:
        several = sign_ins.open_of(session, by.id, now=at)
        end_sign_ins(session, by.id, at=at)
        session.execute(delete(KnownBrowser).where(KnownBrowser.person_id == by.id))
        append(
            session,
            Tag.SIGNED_OUT,
            by=by,
            at=at,
            about=_about(by.username),
            note=f"everywhere: {len(several)} open sign-ins",
        )
    return len(several)


def _about(username: str) -> tuple[str, str]:
    return ("person", username[:64] or "-")
