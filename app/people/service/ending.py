"""How sign-ins end: the row stays for a while and says whose it was."""

from datetime import datetime

from sqlalchemy import ColumnElement, update
from sqlalchemy.orm import Session

from app.people.queries import token_digest
from app.people.records import SignIn


def end_sign_in(session: Session, digest: str, *, at: datetime) -> None:
    """End one sign-in, by its cookie's digest, if it has not ended yet."""
    _end(session, SignIn.token_sha256 == digest, at=at)


def end_sign_ins(session: Session, person_id: int, *, at: datetime, but: str = "") -> None:
    """End every open sign-in of an account at once.

    ``but`` is the cookie token of one that stays open.
    """
    _end(
        session,
        SignIn.person_id == person_id,
        SignIn.token_sha256 != token_digest(but),
        at=at,
    )


def _end(session: Session, *which: ColumnElement[bool], at: datetime) -> None:
    session.execute(update(SignIn).where(*which, SignIn.ends_at > at).values(ends_at=at))
