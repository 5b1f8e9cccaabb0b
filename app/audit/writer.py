"""Write the trail. Called by services, inside the transaction of the act itself."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.chain import canonical, entry_body, hash_of
from app.audit.facts import moment_text, row_facts
from app.audit.head import Head, head, moved
from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.database import Base

_KEEP = insert(Base.metadata.tables[TrailEntry.__tablename__])
_HELD_BACK = "acts_held_back"


@dataclass(frozen=True, slots=True)
class _Act:
    """One act as its service tells it."""

    tag: Tag
    by: str
    at: datetime
    about: tuple[str, str]
    rows: Sequence[Base]
    note: str


def append(
    session: Session,
    tag: Tag,
    *,
    by: Actor | str,
    at: datetime,
    about: tuple[str, str],
    rows: Sequence[Base] = (),
    note: str = "",
) -> None:
    """Add the entry of one act, binding every row it wrote or changed.

    ``about`` is the kind and code of the thing the act is about. ``session`` must be a deciding
    session: it holds the write lock, so the head read here is still the head when it commits.
    """
    act = _Act(tag, by if isinstance(by, str) else by.username, at, about, rows, note)
    held_back: list[_Act] | None = session.info.get(_HELD_BACK)
    if held_back is None:
        _write(session, [act])
    else:
        held_back.append(act)


@contextmanager
def together(session: Session) -> Iterator[None]:
    """Write the acts appended inside in one go as the block ends, in their order.

    Their rows go to the database in one flush and their entries in one statement; until then no
    row has a key. Where the block raises, nothing is written, and the decision is undone anyway.
    """
    acts: list[_Act] = []
    session.info[_HELD_BACK] = acts
    try:
        yield
    finally:
        del session.info[_HELD_BACK]
    _write(session, acts)


def _write(session: Session, acts: Sequence[_Act]) -> None:
    session.flush()
    last = head(session)
    entries = []
    for act in acts:
        entry = _entry(act, last)
        last = moved(session, Head(last.number + 1, str(entry["hash"])))
        entries.append(entry)
    if entries:
        session.execute(_KEEP, entries)


def _entry(act: _Act, last: Head) -> dict[str, Any]:
    """The columns of the act's entry, which follows ``last``."""
    body = canonical(
        entry_body(
            number=last.number + 1,
            at=moment_text(act.at),
            by=act.by,
            tag=act.tag.value,
            about=act.about,
            note=act.note,
            rows=[row_facts(row) for row in act.rows],
            previous=last.hash,
        )
    )
    return {
        "number": last.number + 1,
        "at": act.at,
        "by": act.by,
        "tag": act.tag.value,
        "about_kind": act.about[0],
        "about_code": act.about[1],
        "note": act.note,
        "body": body.decode(),
        "hash": hash_of(body),
    }
