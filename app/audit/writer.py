"""Write the trail. Called by services, inside the transaction of the act itself."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.chain import GENESIS, canonical, entry_body, entry_hash
from app.audit.facts import moment_text, row_facts
from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.database import Base


def append(
    session: Session,
    tag: Tag,
    *,
    by: Actor | str,
    at: datetime,
    about: tuple[str, str],
    rows: Sequence[Base] = (),
    note: str = "",
) -> TrailEntry:
    """Add the entry of one act, binding every row it wrote or changed.

    ``about`` is the kind and code of the thing the act is about. ``session`` must be a deciding
    session: it holds the write lock, so the head read here is still the head when it commits.
    """
    session.flush()
    head = session.execute(
        select(TrailEntry.number, TrailEntry.hash).order_by(TrailEntry.number.desc()).limit(1)
    ).first()
    number, previous = (head.number + 1, head.hash) if head else (1, GENESIS)
    username = by if isinstance(by, str) else by.username
    body = entry_body(
        number=number,
        at=moment_text(at),
        by=username,
        tag=tag.value,
        about=about,
        note=note,
        rows=[row_facts(row) for row in rows],
        previous=previous,
    )
    entry = TrailEntry(
        number=number,
        at=at,
        by=username,
        tag=tag.value,
        about_kind=about[0],
        about_code=about[1],
        note=note,
        body=canonical(body).decode(),
        hash=entry_hash(body),
    )
    session.add(entry)
    session.flush()
    return entry
