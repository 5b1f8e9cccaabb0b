"""What is read about reference blocks. How often one was used, the bench knows and hands in."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.queries.reports import SubjectKind, reviews_of
from app.equipment.records import ReferenceBlock, ReportReview
from app.equipment.rules import Due, block_due, indents_left_of
from app.errors import NotFound


def block(session: Session, code: str) -> ReferenceBlock:
    """The reference block of that identity; NotFound if there is none."""
    found = session.scalars(select(ReferenceBlock).where(ReferenceBlock.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No reference block {code} is on record.")
    return found


def blocks(session: Session) -> Sequence[ReferenceBlock]:
    """Every reference block, by code."""
    return session.scalars(select(ReferenceBlock).order_by(ReferenceBlock.code)).all()


def accepted_blocks(session: Session, block_ids: Collection[int]) -> dict[int, ReferenceBlock]:
    """The blocks among those whose certificate a second person accepted, by key; one query."""
    rows = session.scalars(
        select(ReferenceBlock)
        .join(ReportReview, ReportReview.block_id == ReferenceBlock.id)
        .where(ReferenceBlock.id.in_(list(block_ids)), ReportReview.accepted)
    )
    return {row.id: row for row in rows}


def usable_blocks(
    session: Session, *, quantity: str, unit: str, on: date, used: Mapping[int, int]
) -> list[ReferenceBlock]:
    """Blocks of a scale or unit that may be checked on that day, by certified value.

    Accepted by a second person, in date (last day included), and with an indent left; ``used`` has
    the check readings taken on each block so far, by key.
    """
    rows = session.scalars(
        select(ReferenceBlock)
        .join(ReportReview, ReportReview.block_id == ReferenceBlock.id)
        .where(
            ReferenceBlock.quantity == quantity,
            ReferenceBlock.unit == unit,
            ReferenceBlock.expires_on >= on,
            ReportReview.accepted,
        )
        .order_by(ReferenceBlock.code)
    )
    usable = [row for row in rows if indents_left_of(row.indents_most, used.get(row.id, 0)) != 0]
    return sorted(usable, key=lambda row: (row.certified_value, row.code))


def dues_of_blocks(
    session: Session, found: Sequence[ReferenceBlock], *, on: date
) -> dict[int, Due]:
    """How blocks stand on a day by their certificates, by key; one query."""
    reviews = reviews_of(session, SubjectKind.BLOCK, [one.id for one in found])
    accepted = {key: review.accepted for key, review in reviews.items()}
    return {one.id: block_due(one.expires_on, accepted.get(one.id), on=on) for one in found}
