"""Decisions on loggers' tokens: to issue one, to revoke one."""

import secrets
from datetime import datetime, timedelta

from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.equipment.records import Furnace
from app.errors import Conflict, NotFound, Refusal
from app.loads.live import live_queries
from app.loads.live.live_records import LoggerToken, TokenRevocation
from app.people import queries as people
from app.people.rights import Act, may, require

LONGEST = timedelta(days=400)
"""A token is renewed at least about once a year, so that forgotten ones end by themselves."""
_PREFIX = "tb_"
_LONGEST_NAME = 50


def issue_token(
    database: Database,
    *,
    name: str,
    furnace: str,
    answers: str,
    ends_at: datetime,
    by: Actor,
    at: datetime,
) -> str:
    """Give a logger the right to send rows of one furnace's loads; hands back its token, once.

    ``answers`` is the user name of the person in whose name a record is imported that the logger
    itself closes. Only the token's SHA-256 is kept.

    Raises:
        NotAllowed: the person is no administrator.
        Refusal: no name, an end that is past or too far, or somebody who may import no records.
        NotFound: no such furnace or person.
        Conflict: another token has the name.
    """
    require(by, Act.ISSUE_TOKEN)
    name = " ".join(name.split())
    if not 1 <= len(name) <= _LONGEST_NAME:
        sentence = "Give the logger a name of at most 50 characters, as people call it."
        raise Refusal(sentence, fields={"name": sentence})
    if not at < ends_at <= at + LONGEST:
        sentence = f"The token must end in the future, and within {LONGEST.days} days."
        raise Refusal(sentence, fields={"ends_at": sentence})
    token = _PREFIX + secrets.token_urlsafe(32)
    with database.write() as session:
        place = session.scalars(select(Furnace).where(Furnace.code == furnace)).one_or_none()
        if place is None:
            sentence = f"No furnace {furnace} is on record; choose one from the list."
            raise NotFound(sentence, fields={"furnace": sentence})
        person = people.find_person(session, answers)
        answering = None if person is None else live_queries.actor_of(session, person.id)
        if answering is None or not may(answering, Act.IMPORT_RECORD):
            sentence = "Choose somebody who may import furnace records to answer for this logger."
            raise Refusal(sentence, fields={"answers": sentence})
        if session.scalars(select(LoggerToken.id).where(LoggerToken.name == name)).first():
            sentence = f"A token named {name} was issued before; give this one another name."
            raise Conflict(sentence, fields={"name": sentence})
        row = LoggerToken(
            name=name,
            furnace_id=place.id,
            token_sha256=people.token_digest(token),
            issued_by_id=by.id,
            issued_at=at,
            ends_at=ends_at,
            answers_id=answering.id,
        )
        session.add(row)
        append(
            session,
            Tag.TOKEN_ISSUED,
            by=by,
            at=at,
            about=("furnace", furnace),
            rows=[row],
            note=f"{name}; {answering.full_name} answers for it",
        )
    return token


def revoke_token(database: Database, token_id: int, *, reason: str, by: Actor, at: datetime) -> str:
    """From now on the token opens nothing; hands back its name.

    Raises:
        NotAllowed: the person is no administrator.
        NotFound: no such token.
        Refusal: no reason.
        Conflict: it is revoked already.
    """
    require(by, Act.ISSUE_TOKEN)
    reason = reason.strip()
    if not reason:
        sentence = "Say why the token is revoked."
        raise Refusal(sentence, fields={"reason": sentence})
    with database.write() as session:
        row = session.get(LoggerToken, token_id)
        if row is None:
            raise NotFound("No such token was issued. Go back to the list and choose again.")
        known = select(TokenRevocation.id).where(TokenRevocation.token_id == row.id)
        if session.scalars(known).first() is not None:
            raise Conflict(f"The token {row.name} is revoked already.")
        furnace = session.get_one(Furnace, row.furnace_id)
        revocation = TokenRevocation(
            token_id=row.id, reason=reason, revoked_by_id=by.id, revoked_at=at
        )
        session.add(revocation)
        append(
            session,
            Tag.TOKEN_REVOKED,
            by=by,
            at=at,
            about=("furnace", furnace.code),
            rows=[revocation],
            note=f"{row.name}: {reason}",
        )
        return row.name
