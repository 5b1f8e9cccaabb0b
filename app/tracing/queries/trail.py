"""The trail as a list that can be asked."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.errors import NotFound

ENTRIES_SHOWN = 50
_NUMBERS = 2**31
"""What an entry's number is below, in every database."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the list is narrowed to; None does not narrow. ``until`` is not included."""

    by: str | None = None
    tag: str | None = None
    identity: str | None = None
    since: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One entry as a list shows it."""

    number: int
    at: datetime
    by: str
    tag: str
    about_kind: str
    about_code: str
    note: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry whole: what it says, the rows it bound, and the hashes that chain it."""

    line: EntryLine
    rows: tuple[dict[str, Any], ...]
    hash: str
    previous: str


_COLUMNS = (
    TrailEntry.number,
    TrailEntry.at,
    TrailEntry.by,
    TrailEntry.tag,
    TrailEntry.about_kind,
    TrailEntry.about_code,
    TrailEntry.note,
)


def entries(session: Session, asked: Asked, *, before: int | None) -> list[EntryLine]:
    """Up to 51 entries older than entry ``before``, newest first; one query."""
    query = select(*_COLUMNS).order_by(TrailEntry.number.desc()).limit(ENTRIES_SHOWN + 1)
    if before is not None:
        query = query.where(TrailEntry.number < before)
    if asked.by is not None:
        query = query.where(TrailEntry.by == asked.by)
    if asked.tag is not None:
        query = query.where(TrailEntry.tag == asked.tag)
    if asked.identity is not None:
        query = query.where(TrailEntry.about_code == asked.identity)
    if asked.since is not None:
        query = query.where(TrailEntry.at >= asked.since)
    if asked.until is not None:
        query = query.where(TrailEntry.at < asked.until)
    return [EntryLine(*row) for row in session.execute(query)]


def entry(session: Session, number: int) -> Entry:
    """One entry of the trail.

    Raises:
        NotFound: there is none of that number.
    """
    found = session.get(TrailEntry, number) if number < _NUMBERS else None
    if found is None:
        raise NotFound(f"The trail has no entry {number}.")
    body = json.loads(found.body)
    line = EntryLine(*(getattr(found, column.key) for column in _COLUMNS))
    return Entry(line, tuple(body["rows"]), found.hash, body["previous"])
