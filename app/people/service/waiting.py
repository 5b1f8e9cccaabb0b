"""Failed tries are counted, and make the next one wait; nobody is locked out from elsewhere.

Tries for a user name from browsers in which that person has never signed in count together. A
browser in which they have counts by itself, and so do signatures, which only the person signed in
can try.
"""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.database import Database
from app.people.records import KnownBrowser, Person, SignInTry
from app.people.service.passwords import place_to_hash

FREE_TRIES = 5
_FIRST_WAIT = timedelta(seconds=15)
_LONGEST_WAIT = timedelta(minutes=15)
_REMEMBERED = timedelta(days=1)
_MINUTE_S = 60

SIGNATURES = "signatures"
UNKNOWN = ""


@dataclass(frozen=True, slots=True)
class Counter:
    """Whose tries are counted, and where: :data:`UNKNOWN`, :data:`SIGNATURES`, or a browser."""

    name_sha256: str
    where: str


def name_digest(username: str) -> str:
    """What is kept of a name that was typed: it may be a password in the wrong field."""
    return hashlib.sha256(username.encode()).hexdigest()


def browser_digest(mark: str, username: str) -> str:
    """What is kept of a browser's mark: one for each person who signs in there."""
    return hashlib.sha256(f"{mark} {username}".encode()).hexdigest()


def counter_of(session: Session, username: str, person: Person | None, mark: str) -> Counter:
    """Where a try to sign in is counted: by itself in a browser that knows the person."""
    where = browser_digest(mark, username)
    known = session.get(KnownBrowser, where) if mark else None
    mine = known is not None and person is not None and known.person_id == person.id
    return Counter(name_digest(username), where if mine else UNKNOWN)


def waiting_time(failed: Sequence[datetime], *, now: datetime) -> timedelta:
    """How long the next try has to wait.

    Nothing up to the fifth failure; after it 15 s from the last one, doubled with each further one
    up to 15 min.
    """
    over = len(failed) - FREE_TRIES
    if over < 0:
        return timedelta(0)
    wait = min(_FIRST_WAIT * (1 << min(over, 10)), _LONGEST_WAIT)
    return max(max(failed) + wait - now, timedelta(0))


def proven(
    database: Database,
    counter: Counter,
    *,
    at: datetime,
    prove: Callable[[], bool],
    too_soon: Callable[[str], Exception],
) -> bool:
    """Whether ``prove`` holds; it is not even asked while a waiting time runs.

    A failure is counted, a success forgets the failures before it. Counted and compared at one of
    the places for hashing: however many try at once, at most so many go by uncounted.

    Raises:
        TooBusy: no place came free.
        Exception: what ``too_soon`` makes of the time still to wait ("40 seconds").
    """
    with place_to_hash():
        with database.read() as session:
            failed = _failed(session, counter, at)
        wait = waiting_time(failed, now=at)
        if wait:
            raise too_soon(_words(wait))
        holds = prove()
        if holds and failed:
            with database.write() as session:
                session.execute(
                    delete(SignInTry).where(
                        SignInTry.username == counter.name_sha256,
                        SignInTry.browser == counter.where,
                    )
                )
        elif not holds:
            with database.write() as session:
                session.execute(delete(SignInTry).where(SignInTry.at <= at - _REMEMBERED))
                session.add(SignInTry(username=counter.name_sha256, browser=counter.where, at=at))
    return holds


def _failed(session: Session, counter: Counter, at: datetime) -> Sequence[datetime]:
    return session.scalars(
        select(SignInTry.at).where(
            SignInTry.username == counter.name_sha256,
            SignInTry.browser == counter.where,
            SignInTry.at > at - _REMEMBERED,
            SignInTry.at <= at,
        )
    ).all()


def _words(wait: timedelta) -> str:
    seconds = max(int(wait.total_seconds()) + 1, 1)
    if seconds < _MINUTE_S:
        return f"{seconds} seconds" if seconds > 1 else "1 second"
    minutes = -(-seconds // _MINUTE_S)
    return f"{minutes} minutes" if minutes > 1 else "1 minute"
