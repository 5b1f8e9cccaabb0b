"""Reviews of the trail: what was read, what is left, and what comes next."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import and_, exists, func, select
from sqlalchemy.orm import Session, aliased

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.errors import NotFound
from app.people.records import Person
from app.trail.queries.exceptions import among, outstanding
from app.trail.records import TrailReview, TrailReviewLine
from app.trail.rules.exceptions import Outstanding

MOST_AT_ONCE = 100
"""A review that would have more exceptions than this ends at the entry where it reaches them."""
ENTRIES_AT_ONCE = 20_000
"""A review that would cover more entries than this ends there; the next one goes on."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What one review covers: entries ``first`` to ``last``, both included, and its exceptions.

    ``to_answer`` are the exceptions the reviewer answers, those left by earlier reviews first;
    ``left`` are the reviewer's own acts in the stretch, which stay open for somebody else.
    ``head_hash`` is the hash of the last entry; ``end`` is the trail's last entry.
    """

    first: int
    last: int
    end: int
    head_hash: str
    to_answer: tuple[Outstanding, ...]
    left: tuple[Outstanding, ...]


def last_reviewed(session: Session) -> int:
    """The last entry that any review covers; 0 before the first."""
    found = session.execute(select(func.max(TrailReview.last_number))).scalar_one()
    return found or 0


def last_entry(session: Session) -> int:
    """The trail's last entry; 0 where there is none."""
    return session.execute(select(func.max(TrailEntry.number))).scalar_one() or 0


def reviews(session: Session, *, most: int = 50) -> Sequence[TrailReview]:
    """The newest reviews, newest first."""
    return session.scalars(select(TrailReview).order_by(TrailReview.id.desc()).limit(most)).all()


def review(session: Session, key: int) -> tuple[TrailReview, Sequence[TrailReviewLine]]:
    """One review and its lines in the trail's order.

    Raises:
        NotFound: there is none of that number.
    """
    found = session.get(TrailReview, key) if key < 2**31 else None
    if found is None:
        raise NotFound(f"There is no review {key} of the trail.")
    lines = session.scalars(
        select(TrailReviewLine)
        .where(TrailReviewLine.review_id == key)
        .order_by(TrailReviewLine.entry_number, TrailReviewLine.id)
    ).all()
    return found, lines


def left_open(session: Session) -> list[tuple[int, str]]:
    """Entry and kind of each exception that a review had to leave and none has answered since."""
    later = aliased(TrailReviewLine)
    rows = session.execute(
        select(TrailReviewLine.entry_number, TrailReviewLine.kind)
        .where(TrailReviewLine.remark == "")
        .where(
            ~exists().where(
                and_(
                    later.entry_number == TrailReviewLine.entry_number,
                    later.kind == TrailReviewLine.kind,
                    later.remark != "",
                )
            )
        )
        .distinct()
        .order_by(TrailReviewLine.entry_number, TrailReviewLine.kind)
    )
    return [(row.entry_number, row.kind) for row in rows]


def stretch(session: Session, by: Actor, *, through: int | None = None) -> Stretch:
    """What that person's next review covers, as far as entry ``through`` at most.

    It ends sooner where it would have more than ``MOST_AT_ONCE`` exceptions or cover more than
    ``ENTRIES_AT_ONCE`` entries. An exception that is the reviewer's own act, by person, is left for
    another reviewer.
    """
    first, end = last_reviewed(session) + 1, last_entry(session)
    asked = end if through is None else max(min(through, end), first - 1)
    last = min(asked, first + ENTRIES_AT_ONCE - 1)
    found = outstanding(session, first, last, most=MOST_AT_ONCE)
    if len(found) >= MOST_AT_ONCE:
        last = found[-1].entry.number
    open_places = left_open(session)
    earlier = [
        each
        for each in among(session, sorted({number for number, _ in open_places}))
        if each.place in open_places
    ]
    own = _own_accounts(session, by)
    hash_there = session.execute(select(TrailEntry.hash).where(TrailEntry.number == last))
    return Stretch(
        first,
        last,
        end,
        hash_there.scalar_one_or_none() or "",
        tuple(each for each in (*earlier, *found) if each.whose not in own),
        tuple(each for each in found if each.whose in own),
    )


def _own_accounts(session: Session, by: Actor) -> set[str]:
    """The user names of every account of that person."""
    ids = [by.id, *by.also]
    return set(session.scalars(select(Person.username).where(Person.id.in_(ids))))
