"""Whether the trail wants a review, for Today. Read from the trail alone."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.audit.tags import Tag

REVIEW_EVERY = timedelta(days=7)
"""A review is due when the last one, or the trail's beginning, lies so far back or farther."""


@dataclass(frozen=True, slots=True)
class ReviewDue:
    """The trail waits for a review: since when, and when it was last reviewed, if ever."""

    since: datetime
    last: datetime | None


def review_due(session: Session, at: datetime) -> ReviewDue | None:
    """That a review of the trail is due, or None; two queries, each by an index."""
    reviewed = (
        select(TrailEntry.at)
        .where(TrailEntry.tag == Tag.TRAIL_REVIEWED.value)
        .order_by(TrailEntry.number.desc())
        .limit(1)
    )
    last = session.scalars(reviewed).one_or_none()
    first = select(TrailEntry.at).order_by(TrailEntry.number).limit(1)
    begun = last or session.scalars(first).one_or_none()
    if begun is None or begun + REVIEW_EVERY > at:
        return None
    return ReviewDue(begun + REVIEW_EVERY, last)
