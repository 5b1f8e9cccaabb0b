"""Refused attempts, kept on the trail after what was refused has been undone."""

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.records import Identity, TrailEntry
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.people import queries

_MOST = 30
_HOUR = timedelta(hours=1)


def record_refused_act(
    database: Database, sentence: str, *, path: str, by: str, at: datetime
) -> None:
    """Put one refused attempt on the trail, at most thirty an hour for one person or token.

    ``by`` is the user name, or the machine's token by its name. The entry is about the first thing
    on record that the address names, else about the address.
    """
    with database.write() as session:
        last = session.scalars(
            select(TrailEntry.at)
            .where(TrailEntry.by == by[:64], TrailEntry.tag == Tag.ACT_REFUSED.value)
            .order_by(TrailEntry.number.desc())
            .limit(_MOST)
        ).all()
        recent = sum(one > at - _HOUR for one in last)
        if recent >= _MOST:
            return
        more = " Further refusals of this hour are not listed." if recent == _MOST - 1 else ""
        append(
            session,
            Tag.ACT_REFUSED,
            by=by[:64],
            at=at,
            about=_about(session, path),
            note=f"{sentence} ({path}){more}",
        )


def _about(session: Session, path: str) -> tuple[str, str]:
    parts = [part for part in path.split("/") if part]
    named = session.scalars(select(Identity).where(Identity.code.in_([p.upper() for p in parts])))
    by_code = {one.code: one.kind for one in named}
    for part in parts:
        if part.upper() in by_code:
            return by_code[part.upper()], part.upper()
    if parts[:1] == ["people"] and len(parts) > 1 and queries.find_person(session, parts[1]):
        return "person", parts[1]
    return "address", path[:64]
