"""What every change of a reading asks first: which reading, who took it, and a reason."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.records import Reading, VoidAnswer, VoidRequest
from app.errors import Conflict, NotFound, Refusal
from app.panels.queries import coupon as coupon_of

SHORTEST_REASON = 10
"""Characters; a reason of fewer says nothing to whoever reads it years later."""


def stated_reason(typed: str, what: str, *, field: str = "reason") -> str:
    """A reason with its spaces tidied.

    Raises:
        Refusal: it is shorter than ten characters.
    """
    reason = " ".join(typed.split())
    if len(reason) < SHORTEST_REASON:
        says = f"Say {what} in at least {SHORTEST_REASON} characters."
        raise Refusal(says, fields={field: says})
    return reason


def reading_of(session: Session, coupon_code: str, reading_id: int) -> Reading:
    """A reading of the coupon, whatever became of it.

    Raises:
        NotFound: the coupon has no such reading.
    """
    coupon = coupon_of(session, coupon_code)
    reading = session.get(Reading, reading_id)
    if reading is None or reading.coupon_id != coupon.id:
        raise NotFound(f"Coupon {coupon_code} has no such reading. Load its page again.")
    return reading


def live_reading(session: Session, coupon_code: str, reading_id: int) -> Reading:
    """A reading of the coupon that is neither voided nor corrected yet.

    Raises:
        NotFound: the coupon has no such reading.
        Conflict: it was corrected or voided.
    """
    reading = reading_of(session, coupon_code, reading_id)
    if session.scalar(select(Reading.id).where(Reading.replaces_id == reading_id)) is not None:
        raise Conflict("That reading has been corrected already; look at its page again.")
    voided = session.scalar(
        select(VoidAnswer.id)
        .join(VoidRequest, VoidRequest.id == VoidAnswer.request_id)
        .where(VoidRequest.reading_id == reading_id, VoidAnswer.approved)
    )
    if voided is not None:
        raise Conflict("That reading has been voided already; look at its page again.")
    return reading


def takers(session: Session, reading: Reading) -> set[int]:
    """Everybody who took the reading or one that it corrects."""
    people = {reading.taken_by_id}
    while reading.replaces_id is not None:
        reading = session.get_one(Reading, reading.replaces_id)
        people.add(reading.taken_by_id)
    return people


def takers_on(session: Session, coupon_id: int) -> set[int]:
    """Everybody who took or corrected any reading of the coupon."""
    taken = select(Reading.taken_by_id).where(Reading.coupon_id == coupon_id).distinct()
    return set(session.scalars(taken))
