"""The end of the trail: where the next entry follows, and what was done since one was last seen."""

from dataclasses import dataclass

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.audit.chain import GENESIS
from app.audit.records import TrailEntry
from app.audit.tags import Tag

_entry = TrailEntry.__table__.c
_LAST = select(_entry.number, _entry.hash).order_by(_entry.number.desc()).limit(1)
_SINCE = (
    select(_entry.number, _entry.hash, _entry.tag)
    .where(_entry.number >= bindparam("number"))
    .order_by(_entry.number)
)
_OF_THIS_DECISION = "trail_head"


@dataclass(frozen=True, slots=True)
class Head:
    """The last entry's number and hash; 0 and the genesis hash before there is any."""

    number: int
    hash: str


def head(session: Session) -> Head:
    """The trail's head: read once in a deciding transaction, then as it was written there.

    A decision has no savepoints: what it has written stays written until all of it is undone.
    """
    kept = session.info.get(_OF_THIS_DECISION)
    if kept is not None and kept[0] is session.get_transaction():
        found: Head = kept[1]
        return found
    row = session.execute(_LAST).first()
    return moved(session, Head(row.number, row.hash) if row else Head(0, GENESIS))


def moved(session: Session, to: Head) -> Head:
    """Keep the head for the rest of this transaction, and hand it back."""
    session.info[_OF_THIS_DECISION] = (session.get_transaction(), to)
    return to


def acts_since(session: Session, known: Head) -> list[str] | None:
    """The tags of every entry after ``known``, in order; one query, which reads the head too.

    None where ``known`` is no entry of this trail: the records were put back or are others. Part
    of a deciding transaction, before it writes anything.
    """
    rows = session.execute(_SINCE, {"number": known.number}).all()
    if not rows or (rows[0].number, rows[0].hash) != (known.number, known.hash):
        return None
    moved(session, Head(rows[-1].number, rows[-1].hash))
    return [row.tag for row in rows[1:]]


CHANGES_COUPONS_ONLY = frozenset(
    tag.value
    for tag in (
        Tag.READINGS_RECORDED,
        Tag.LABORATORY_RESULT_RECORDED,
        Tag.CUSTODY_RECORDED,
        Tag.COUPON_JUDGED,
    )
)
"""Acts whose rows are readings, verdicts and custody of coupons, and nothing besides."""
