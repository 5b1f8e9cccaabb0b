"""The trail as a list that can be asked, and one entry with what its rows were before."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.records import Identity, TrailEntry
from app.database import Base
from app.errors import NotFound
from app.people.records import Person
from app.requirements import queries as requirements
from app.trail.queries.exceptions import among
from app.trail.queries.reviews import last_entry
from app.trail.rules.exceptions import NEVER

ENTRIES_SHOWN = 50
SEARCHED_AT_ONCE = 20_000
"""A text in the notes is looked for in so many entries, then the reader goes on."""
JUDGED_AT_ONCE = 2_000
"""Exceptions are looked for in so many entries, then the reader goes on."""
_NUMBERS = 2**31
"""What an entry's number is below, in every database."""
_EARLIER_LOOKED_AT = 300


@dataclass(frozen=True, slots=True)
class Asked:
    """What the list is narrowed to; None does not narrow. ``until`` is not included.

    ``tags`` are acts, ``text`` stands in the note in whatever case, ``exceptions`` are entries that
    stand out.
    """

    by: str | None = None
    tags: tuple[str, ...] | None = None
    identity: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    text: str | None = None
    exceptions: bool = False


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One entry as a list shows it, with the kinds for which it stands out where that was asked."""

    number: int
    at: datetime
    by: str
    tag: str
    about_kind: str
    about_code: str
    note: str
    stands_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """Some entries, newest first, and the entry that the next part has to be older than."""

    lines: list[EntryLine]
    onward: int | None


@dataclass(frozen=True, slots=True)
class RowBefore:
    """How an earlier entry wrote a row that a later one wrote again."""

    entry: int
    columns: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry whole: what it says, the rows it bound, and the hashes that chain it.

    ``before`` holds, by table and key, the row as the entry before wrote it, where it changed.
    ``things`` names what a column refers to: by table and key, its words and its kind and code.
    """

    line: EntryLine
    rows: tuple[dict[str, Any], ...]
    hash: str
    previous: str
    before: Mapping[tuple[str, str], RowBefore]
    things: Mapping[tuple[str, str], tuple[str, str, str]]


_COLUMNS = (
    TrailEntry.number,
    TrailEntry.at,
    TrailEntry.by,
    TrailEntry.tag,
    TrailEntry.about_kind,
    TrailEntry.about_code,
    TrailEntry.note,
)


def entries(
    session: Session, asked: Asked, *, before: int | None, most: int = ENTRIES_SHOWN
) -> Part:
    """Up to ``most`` entries older than entry ``before``, newest first.

    Person, act, identity and days are each found by an index. A text in the notes and exceptions
    are looked for in a bounded number of entries; then the part ends, perhaps with none.
    """
    first, last = _days(session, asked)
    top = last + 1 if before is None else min(before, last + 1)
    bounded = asked.exceptions or asked.text is not None
    window = JUDGED_AT_ONCE if asked.exceptions else SEARCHED_AT_ONCE
    lowest = max(top - window, first) if bounded else first
    query = _narrowed(asked).where(TrailEntry.number >= lowest, TrailEntry.number < top)
    if asked.exceptions:
        lines = list(_standing_out(session, query, most + 1))
    else:
        lines = [EntryLine(*row) for row in session.execute(query.limit(most + 1))]
    if len(lines) > most:
        return Part(lines[:most], lines[most - 1].number)
    return Part(lines, lowest if lowest > first else None)


def _days(session: Session, asked: Asked) -> tuple[int, int]:
    """The first and last entry of the days asked for, by their index; all where none were.

    Entries are in the order of their times but for a clock that was set, so that the times are
    asked for again with the entries.
    """
    if asked.since is None and asked.until is None:
        return 1, last_entry(session)
    query = select(func.min(TrailEntry.number), func.max(TrailEntry.number))
    if asked.since is not None:
        query = query.where(TrailEntry.at >= asked.since)
    if asked.until is not None:
        query = query.where(TrailEntry.at < asked.until)
    first, last = session.execute(query).one()
    return (first, last) if first is not None else (1, 0)


def _narrowed(asked: Asked) -> Select[Any]:
    query: Any = select(*_COLUMNS).order_by(TrailEntry.number.desc())
    if asked.by is not None:
        query = query.where(TrailEntry.by == asked.by)
    if asked.tags is not None:
        query = query.where(TrailEntry.tag.in_(asked.tags))
    if asked.identity is not None:
        query = query.where(TrailEntry.about_code == asked.identity)
    if asked.since is not None:
        query = query.where(TrailEntry.at >= asked.since)
    if asked.until is not None:
        query = query.where(TrailEntry.at < asked.until)
    if asked.text is not None:
        query = query.where(TrailEntry.note.icontains(asked.text, autoescape=True))
    if asked.exceptions:
        query = query.where(TrailEntry.tag.not_in(NEVER))
    narrowed: Select[Any] = query
    return narrowed


def _standing_out(session: Session, query: Select[Any], most: int) -> Iterator[EntryLine]:
    """The first ``most`` of these entries that stand out, each with its kinds."""
    found = 0
    for rows in session.execute(query.execution_options(yield_per=200)).partitions():
        kinds: dict[int, list[str]] = {}
        for each in among(session, [row.number for row in rows]):
            kinds.setdefault(each.entry.number, []).append(each.kind.value)
        for row in rows:
            if row.number in kinds:
                yield replace(EntryLine(*row), stands_out=tuple(kinds[row.number]))
                found += 1
                if found == most:
                    return


def every_entry(session: Session, asked: Asked, *, most: int) -> list[EntryLine]:
    """Every entry asked for, newest first, up to one more than ``most``."""
    found: list[EntryLine] = []
    before: int | None = None
    while len(found) <= most:
        part = entries(session, asked, before=before, most=5_000)
        found += part.lines
        if part.onward is None:
            break
        before = part.onward
    return found[: most + 1]


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
    rows = tuple(body["rows"])
    return Entry(
        line,
        rows,
        found.hash,
        body["previous"],
        _before(session, found, rows),
        _things(session, rows),
    )


def _before(
    session: Session, found: TrailEntry, rows: Sequence[Mapping[str, Any]]
) -> dict[tuple[str, str], RowBefore]:
    """The rows as the last entry about the same thing wrote them, where they may change at all."""
    changing = {
        str(mapper.class_.__tablename__)
        for mapper in Base.registry.mappers
        if mapper.class_.on_trail and not mapper.class_.append_only
    }
    wanted = {(row["table"], row["key"]) for row in rows if row["table"] in changing}
    before: dict[tuple[str, str], RowBefore] = {}
    if not wanted:
        return before
    earlier = session.execute(
        select(TrailEntry.number, TrailEntry.body)
        .where(TrailEntry.about_code == found.about_code, TrailEntry.number < found.number)
        .order_by(TrailEntry.number.desc())
        .limit(_EARLIER_LOOKED_AT)
    )
    for number, text in earlier:
        for row in json.loads(text)["rows"]:
            place = (row["table"], row["key"])
            if place in wanted and place not in before:
                before[place] = RowBefore(number, row["columns"])
        if len(before) == len(wanted):
            break
    return before


def _things(
    session: Session, rows: Sequence[Mapping[str, Any]]
) -> dict[tuple[str, str], tuple[str, str, str]]:
    """What the rows' columns refer to: people by name, things by their identity."""
    wanted: dict[str, set[int]] = {}
    for row in rows:
        for name, target in references(row["table"]).items():
            if isinstance(row["columns"].get(name), int):
                wanted.setdefault(target, set()).add(row["columns"][name])
    found: dict[tuple[str, str], tuple[str, str, str]] = {}
    for target, keys in wanted.items():
        table = Base.metadata.tables[target]
        if target == Person.__tablename__:
            people = select(Person.id, Person.full_name, Person.username).where(Person.id.in_(keys))
            for person in session.execute(people):
                found[target, str(person.id)] = (person.full_name, "person", person.username)
        elif "code" in table.c:
            coded = (
                select(table.c.id, table.c.code, Identity.kind)
                .outerjoin(Identity, Identity.code == table.c.code)
                .where(table.c.id.in_(keys))
            )
            for thing in session.execute(coded):
                found[target, str(thing.id)] = (thing.code, thing.kind or target, thing.code)
    return found


_VALUES_OF_DRAFTS = {"requirement_revision": "shop_rules", "second_keying": "differences"}
"""By table: the one column in which values of a requirement stand, and not their digest."""


def hidden_columns(
    session: Session, rows: Sequence[Mapping[str, Any]], by: Actor
) -> dict[tuple[str, str], str]:
    """By table and key of a bound row: the column that this person is not shown.

    It holds values of a draft that a second person has still to key. Where the two entries of its
    last attempt differ is shown to everybody.
    """
    found = {}
    for row in rows:
        column = _VALUES_OF_DRAFTS.get(row["table"])
        if column is None:
            continue
        key = int(row["columns"].get("revision_id") or row["key"])
        written = requirements.revision(session, key)
        last = requirements.attempts(session, written.code, written.revision)[-1]
        is_side_by_side = column == "differences" and last.id == key
        if last.is_hidden_from(by) and not is_side_by_side:
            found[row["table"], row["key"]] = column
    return found


def references(table: str) -> dict[str, str]:
    """By column of a table: the table whose ``id`` it holds."""
    known = Base.metadata.tables.get(table)
    if known is None:
        return {}
    return {
        column.name: key.column.table.name
        for column in known.c
        for key in column.foreign_keys
        if key.column.name == "id"
    }
