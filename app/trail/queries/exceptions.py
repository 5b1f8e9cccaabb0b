"""Entries of a stretch of the trail that stand out, with what the rules need beside them."""

import json
from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.bench.records import CouponVerdict
from app.loads.records import FurnaceRecord, RecordVerdict
from app.people.records import Person
from app.trail.rules.exceptions import NEVER, SERIES_WITHIN, Beside, EntryRead, Outstanding
from app.trail.rules.exceptions import outstanding as judged

_READ_AT_ONCE = 500
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


def outstanding(
    session: Session, first: int, last: int, *, most: int | None = None
) -> list[Outstanding]:
    """The exceptions among entries ``first`` to ``last``, both included, oldest first.

    Read a part at a time; where ``most`` is given it ends with the entry that reaches it.
    """
    found: list[Outstanding] = []
    shared = _shared_numbers(session)
    start = first
    while start <= last:
        rows = session.execute(
            select(*_COLUMNS)
            .where(TrailEntry.number >= start, TrailEntry.number <= last)
            .where(TrailEntry.tag.not_in(NEVER))
            .order_by(TrailEntry.number)
            .limit(_READ_AT_ONCE)
        ).all()
        found += _judged(session, rows, shared)
        if most is not None and len(found) >= most:
            reached = found[most - 1].entry.number
            return [each for each in found if each.entry.number <= reached]
        if len(rows) < _READ_AT_ONCE:
            break
        start = rows[-1].number + 1
    return found


def among(session: Session, numbers: Sequence[int]) -> list[Outstanding]:
    """The exceptions among these entries, oldest first."""
    if not numbers:
        return []
    rows = session.execute(
        select(*_COLUMNS).where(TrailEntry.number.in_(numbers)).order_by(TrailEntry.number)
    ).all()
    return _judged(session, rows, _shared_numbers(session))


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
