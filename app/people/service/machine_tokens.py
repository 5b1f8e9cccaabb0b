"""Machines' tokens: issued for one purpose until a day, and taken back."""

import secrets
from datetime import date, datetime, timedelta

from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, NotFound, Refusal
from app.people import queries
from app.people.records import MachineToken, MachineTokenEnd, Scope
from app.people.rights import Act, require

LONGEST = timedelta(days=366)
"""A token is renewed about once a year, so that forgotten ones end by themselves."""
_PREFIX = "tbm_"
_LONGEST_NAME = 80


def issue_machine_token(
    database: Database,
    *,
    name: str,
    scope: Scope,
    last_day: date,
    by: Actor,
    at: datetime,
    today: date,
) -> str:
    """Let a machine read one thing; hands back its token, once. Only its SHA-256 is kept.

    Raises:
        NotAllowed: the person is no administrator.
        Refusal: no name, or a last day that is past or too far.
        Conflict: another token has the name.
    """
    require(by, Act.ISSUE_MACHINE_TOKEN)
    name = " ".join(name.split())
    if not 1 <= len(name) <= _LONGEST_NAME:
        sentence = f"Give the machine a name of at most {_LONGEST_NAME} characters."
        raise Refusal(sentence, fields={"name": sentence})
    if not today <= last_day <= today + LONGEST:
        sentence = f"The last day is today or later, and at most a year ahead: {today + LONGEST}."
        raise Refusal(sentence, fields={"last_day": sentence})
    token = _PREFIX + secrets.token_urlsafe(32)
    with database.write() as session:
        if session.scalars(select(MachineToken.id).where(MachineToken.name == name)).first():
            sentence = f"A token named {name} was issued before; give this one another name."
            raise Conflict(sentence, fields={"name": sentence})
        row = MachineToken(
            name=name,
            scope=scope,
            token_sha256=queries.token_digest(token),
            last_day=last_day,
            issued_by_id=by.id,
            issued_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.MACHINE_TOKEN_ISSUED,
            by=by,
            at=at,
            about=("machine", name),
            rows=[row],
            note=f"{scope.value}, until {last_day}",
        )
    return token


def end_machine_token(
    database: Database, token_id: int, *, reason: str, by: Actor, at: datetime
) -> str:
    """From now on the token opens nothing; hands back the machine's name.

    Raises:
        NotAllowed: the person is no administrator.
        NotFound: no such token.
        Refusal: no reason.
        Conflict: it was taken back before.
    """
    require(by, Act.ISSUE_MACHINE_TOKEN)
    reason = " ".join(reason.split())
    if not reason:
        sentence = "Say why the token is taken back."
        raise Refusal(sentence, fields={"reason": sentence})
    with database.write() as session:
        row = session.get(MachineToken, token_id)
        if row is None:
            raise NotFound("No such token was issued. Go back to the list and choose again.")
        known = select(MachineTokenEnd.id).where(MachineTokenEnd.token_id == row.id)
        if session.scalars(known).first() is not None:
            raise Conflict(f"The token of {row.name} was taken back before.")
        end = MachineTokenEnd(token_id=row.id, reason=reason, ended_by_id=by.id, ended_at=at)
        session.add(end)
        append(
            session,
            Tag.MACHINE_TOKEN_ENDED,
            by=by,
            at=at,
            about=("machine", row.name),
            rows=[end],
            note=reason,
        )
        return row.name
