"""Check the trail and every row bound to it, from the records alone. Never uses the writer.

Finds: an entry edited, removed, inserted or reordered; a bound row edited, removed or inserted.
It cannot find that the whole database, trail and all, was put back to an earlier state: keep a
signed head outside and hold it against the trail (app.trail).
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from app.audit.chain import GENESIS, canonical, entry_hash
from app.audit.facts import moment_text, row_facts
from app.audit.records import TrailEntry
from app.database import Base

_MOST_PROBLEMS = 100
_Place = tuple[str, str]
_Written = tuple[int, dict[str, Any]]
_UNREADABLE = (LookupError, ValueError, ArithmeticError, TypeError)
"""What reading a column raises whose content was never written by the program."""


@dataclass
class TrailReport:
    """What the check found. ``problems`` are sentences; none means the trail holds."""

    entries: int = 0
    rows: int = 0
    head: str = GENESIS
    problems: list[str] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """Whether nothing at all was found."""
        return not self.problems

    def found(self, problem: str) -> None:
        """Keep a problem; past a hundred only their number would grow."""
        if len(self.problems) < _MOST_PROBLEMS:
            self.problems.append(problem)


def verify_trail(session: Session) -> TrailReport:
    """Recompute the chain entry by entry and compare every bound row with its latest entry.

    A row is compared in the columns that existed when its entry was written, so that a later
    migration that adds a column does not look like tampering.
    """
    report = TrailReport()
    written = _walk_chain(session, report)
    for row in _bound_rows(session, report, written):
        facts = row_facts(row)
        place = (facts["table"], facts["key"])
        report.rows += 1
        recorded = written.pop(place, None)
        name = f"{place[0].replace('_', ' ')} {place[1]}"
        if recorded is None:
            report.found(f"The row {name} is on no entry of the trail: it was put in from outside.")
        elif recorded[1] != {name: facts["columns"].get(name) for name in recorded[1]}:
            report.found(
                f"The row {name} is not as entry {recorded[0]} wrote it: it was changed from "
                "outside."
            )
    for (table, key), (number, _) in written.items():
        report.found(
            f"The row {table.replace('_', ' ')} {key}, written by entry {number}, is gone: it was "
            "removed from outside."
        )
    return report


def _walk_chain(session: Session, report: TrailReport) -> dict[_Place, _Written]:
    """Check each entry against the one before; hand back the last written state of every row."""
    written: dict[_Place, _Written] = {}
    previous = GENESIS
    expected = 1
    for entry in _entries(session, report):
        report.entries += 1
        if entry.number != expected:
            report.found(f"Entry {expected} is missing: the next one is {entry.number}.")
        body = _body(entry)
        if body is None:
            report.found(f"Entry {entry.number} was changed: it cannot be read any more.")
            previous, expected = entry.hash, entry.number + 1
            session.expunge(entry)
            continue
        if body.get("previous") != previous:
            report.found(f"Entry {entry.number} does not follow the entry before it.")
        if entry_hash(body) != entry.hash or canonical(body) != entry.body.encode():
            report.found(f"Entry {entry.number} was changed: its hash no longer fits what it says.")
        if not _columns_agree(entry, body):
            report.found(f"Entry {entry.number} is listed differently from what it says.")
        for facts in body.get("rows", []):
            written[(facts["table"], facts["key"])] = (entry.number, facts["columns"])
        previous = entry.hash
        expected = entry.number + 1
        session.expunge(entry)
    report.head = previous
    return written


def _entries(session: Session, report: TrailReport) -> Iterator[TrailEntry]:
    query = select(TrailEntry).order_by(TrailEntry.number).execution_options(yield_per=500)
    try:
        yield from session.scalars(query)
    except _UNREADABLE:
        report.found(
            f"Entries after the {report.entries}th cannot be read: one of them was changed from "
            "outside. They were not checked."
        )


def _body(entry: TrailEntry) -> dict[str, Any] | None:
    """What the entry says, or None where it is no entry's form at all."""
    try:
        body = json.loads(entry.body)
        rows = [(row["table"], row["key"], dict(row["columns"])) for row in body["rows"]]
    except (ValueError, KeyError, TypeError):
        return None
    whole: dict[str, Any] = body
    return whole if all(type(place) is str for row in rows for place in row[:2]) else None


def _columns_agree(entry: TrailEntry, body: dict[str, Any]) -> bool:
    listed = (
        entry.number,
        moment_text(entry.at),
        entry.by,
        entry.tag,
        {"kind": entry.about_kind, "code": entry.about_code},
        entry.note,
    )
    return listed == tuple(body.get(k) for k in ("number", "at", "by", "tag", "about", "note"))


def _bound_rows(
    session: Session, report: TrailReport, written: dict[_Place, _Written]
) -> Iterator[Base]:
    bound = sorted(
        (mapper.class_ for mapper in Base.registry.mappers if mapper.class_.on_trail),
        key=lambda kind: str(kind.__tablename__),
    )
    # Most tables of a young shop are empty: one query says which, instead of one for each.
    filled = session.execute(select(*(exists(select(kind)) for kind in bound))).one()
    for kind, has_rows in zip(bound, filled, strict=True):
        if has_rows:
            try:
                for row in session.scalars(select(kind).execution_options(yield_per=50)):
                    yield row
                    session.expunge(row)
            except _UNREADABLE:
                table = str(kind.__tablename__)
                report.found(
                    f"The table {table.replace('_', ' ')} holds what the program never writes and "
                    "cannot read: it was changed from outside. The rest of it was not checked."
                )
                for place in [place for place in written if place[0] == table]:
                    del written[place]
