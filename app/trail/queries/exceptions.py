"""Entries of a stretch of the trail that stand out, with what the rules need beside them."""

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.bench.records import CouponVerdict
from app.loads.records import FurnaceRecord, RecordVerdict
from app.people.records import Person
from app.trail.rules.exceptions import (
    NEVER,
    SERIES_WITHIN,
    Beside,
    EntryRead,
    Kind,
    Outstanding,
)
from app.trail.rules.exceptions import outstanding as judged
from app.trail.rules.glance import ALWAYS, SOMETIMES, may_stand_out

_READ_AT_ONCE = 2_000
LOOKED_AT_ONCE = 10_000
"""The report looks at so many entries, then the reader goes on."""
_COLUMNS = (
    TrailEntry.number,
    TrailEntry.at,
    TrailEntry.by,
    TrailEntry.tag,
    TrailEntry.about_kind,
    TrailEntry.about_code,
    TrailEntry.note,
    TrailEntry.body,
)


@dataclass(frozen=True, slots=True)
class Looked:
    """Exceptions, the newest entry first, and as far down as entries were looked at.

    ``onward`` is the lowest entry looked at where there are more below it, else None.
    """

    found: list[Outstanding]
    onward: int | None


def outstanding(
    session: Session, first: int, last: int, *, most: int | None = None
) -> list[Outstanding]:
    """The exceptions among entries ``first`` to ``last``, both included, oldest first.

    Read a part at a time; where ``most`` is given it ends with the entry that reaches it.
    """
    found: list[Outstanding] = []
    shared = _shared_numbers(session)
    rows = _between(first, last).order_by(TrailEntry.number)
    start = first
    while start <= last:
        some = _read(session, rows.where(TrailEntry.number >= start))
        found += _judged(session, some, shared)
        if most is not None and len(found) >= most:
            reached = found[most - 1].entry.number
            return [each for each in found if each.entry.number <= reached]
        if len(some) < _READ_AT_ONCE:
            break
        start = some[-1].number + 1
    return found


def newest(
    session: Session, first: int, last: int, *, most: int, kind: Kind | None = None
) -> Looked:
    """Exceptions among entries ``first`` to ``last``, both included, newest first.

    It ends with the entry that reaches ``most``, or with ``LOOKED_AT_ONCE`` entries looked at,
    whichever comes first, however long the trail. Of a kind that goes by its act only entries of
    that act are looked at.
    """
    rows = _between(first, last).order_by(TrailEntry.number.desc())
    acts = None if kind is None else {**ALWAYS, **SOMETIMES}.get(kind)
    if acts is not None:
        rows = rows.where(TrailEntry.tag.in_(sorted(acts)))
    found: list[Outstanding] = []
    shared = _shared_numbers(session)
    top, looked_at = last, 0
    while top >= first and looked_at < LOOKED_AT_ONCE:
        some = _read(session, rows.where(TrailEntry.number <= top))
        judged_here = _judged(session, some[::-1], shared)
        judged_here.sort(key=lambda each: each.entry.number, reverse=True)
        found += [each for each in judged_here if kind in {None, each.kind}]
        if len(found) >= most:
            reached = found[most - 1].entry.number
            kept = [each for each in found if each.entry.number >= reached]
            return Looked(kept, reached if reached > first else None)
        if len(some) < _READ_AT_ONCE:
            return Looked(found, None)
        looked_at += len(some)
        top = some[-1].number - 1
    return Looked(found, top + 1 if top >= first else None)


def totals(session: Session, first: int, last: int) -> dict[Kind, int]:
    """How many entries ``first`` to ``last`` stand out, by kind, of the kinds that go by their act.

    Counted by the database over an index, none of them read; two statements.
    """
    inside = TrailEntry.number.between(first, last)
    kinds = {act: kind for kind, acts in ALWAYS.items() for act in acts}
    counted = dict.fromkeys(ALWAYS, 0)
    for tag, count in session.execute(
        select(TrailEntry.tag, func.count())
        .where(TrailEntry.tag.in_(sorted(kinds)), inside)
        .group_by(TrailEntry.tag)
    ):
        counted[kinds[tag]] += count
    by_another = select(func.count()).where(
        TrailEntry.tag == Tag.PASSWORD_SET.value, TrailEntry.by != TrailEntry.about_code, inside
    )
    counted[Kind.PASSWORD_BY_ANOTHER] = session.scalar(by_another) or 0
    return counted


def among(session: Session, numbers: Sequence[int]) -> list[Outstanding]:
    """The exceptions among these entries, oldest first."""
    found: list[Outstanding] = []
    shared = _shared_numbers(session)
    wanted = sorted(numbers)
    for start in range(0, len(wanted), _READ_AT_ONCE):
        some = wanted[start : start + _READ_AT_ONCE]
        rows: Any = select(*_COLUMNS).where(TrailEntry.number.in_(some))
        found += _judged(session, _read(session, rows.order_by(TrailEntry.number)), shared)
    return found


def _between(first: int, last: int) -> Select[Any]:
    query: Any = select(*_COLUMNS)
    narrowed: Select[Any] = query.where(
        TrailEntry.number.between(first, last), TrailEntry.tag.not_in(NEVER)
    )
    return narrowed


def _read(session: Session, rows: Select[Any]) -> Sequence[Any]:
    # Straight on the connection: rows of columns need none of the session's object keeping.
    return session.connection().execute(rows.limit(_READ_AT_ONCE)).all()


def _judged(
    session: Session, rows: Sequence[Any], shared: dict[str, list[str]]
) -> list[Outstanding]:
    entries = [
        EntryRead(
            number=row.number,
            at=row.at,
            by=row.by,
            tag=row.tag,
            about_kind=row.about_kind,
            about_code=row.about_code,
            note=row.note,
            rows=json.loads(row.body)["rows"],
        )
        for row in rows
        if may_stand_out(row.tag, row.at, row.body)
    ]
    return judged(
        entries,
        Beside(_verdicts_before(session, entries), shared, _refusals(session, entries)),
    )


def _verdicts_before(session: Session, entries: Sequence[EntryRead]) -> dict[tuple[str, str], str]:
    """By table and key of each verdict the entries bound: the verdict it took the place of."""
    bound = defaultdict(list)
    for entry in entries:
        for row in entry.rows:
            if row["table"] in {"coupon_verdict", "record_verdict"}:
                bound[row["table"]].append(int(row["key"]))
    found: dict[tuple[str, str], str] = {}
    if bound["coupon_verdict"]:
        now, before = aliased(CouponVerdict), aliased(CouponVerdict)
        last = (
            select(func.max(before.id))
            .where(before.coupon_id == now.coupon_id, before.id < now.id)
            .correlate(now)
            .scalar_subquery()
        )
        earlier = aliased(CouponVerdict)
        query = (
            select(now.id, earlier.verdict)
            .join(earlier, earlier.id == last)
            .where(now.id.in_(bound["coupon_verdict"]))
        )
        for verdict in session.execute(query):
            found["coupon_verdict", str(verdict.id)] = verdict.verdict
    if bound["record_verdict"]:
        found |= _record_verdicts_before(session, bound["record_verdict"])
    return found


def _record_verdicts_before(session: Session, keys: list[int]) -> dict[tuple[str, str], str]:
    """A load's record has its verdicts one after another, whichever import they judged."""
    record, other = aliased(FurnaceRecord), aliased(FurnaceRecord)
    now, before, earlier = aliased(RecordVerdict), aliased(RecordVerdict), aliased(RecordVerdict)
    last = (
        select(func.max(before.id))
        .join(other, other.id == before.record_id)
        .where(other.load_id == record.load_id, before.id < now.id)
        .correlate(record, now)
        .scalar_subquery()
    )
    query = (
        select(now.id, earlier.verdict)
        .join(record, record.id == now.record_id)
        .join(earlier, earlier.id == last)
        .where(now.id.in_(keys))
    )
    return {("record_verdict", str(row.id)): row.verdict for row in session.execute(query)}


def _shared_numbers(session: Session) -> dict[str, list[str]]:
    """User names by the identity number that several accounts have; mostly empty."""
    several = (
        select(Person.identity_number)
        .where(Person.identity_number.is_not(None))
        .group_by(Person.identity_number)
        .having(func.count() > 1)
    )
    found: dict[str, list[str]] = defaultdict(list)
    for row in session.execute(
        select(Person.identity_number, Person.username)
        .where(Person.identity_number.in_(several))
        .order_by(Person.id)
    ):
        found[row.identity_number].append(row.username)
    return dict(found)


def _refusals(session: Session, entries: Sequence[EntryRead]) -> dict[str, list[datetime]]:
    """When sign-ins were refused from an hour before the first of these to the last of them."""
    refused = [entry for entry in entries if entry.tag == Tag.SIGN_IN_REFUSED]
    found: dict[str, list[datetime]] = defaultdict(list)
    if refused:
        query = select(TrailEntry.about_code, TrailEntry.at).where(
            TrailEntry.tag == Tag.SIGN_IN_REFUSED.value,
            TrailEntry.at >= min(entry.at for entry in refused) - SERIES_WITHIN,
            TrailEntry.number <= refused[-1].number,
        )
        for row in session.execute(query.order_by(TrailEntry.number)):
            found[row.about_code].append(row.at)
    return dict(found)
