"""Requests to void or correct readings, their answers, and who had a hand in a coupon's result."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from app.bench.records import (
    CorrectionAnswer,
    CorrectionRequest,
    Reading,
    Retest,
    VoidAnswer,
    VoidCause,
    VoidRequest,
)
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class VoidLine:
    """A request to void a reading, with its answer where there is one."""

    id: int
    reading_id: int
    cause: VoidCause
    evidence: str
    evidence_sha256: str | None
    asked_by_id: int
    asked_by: str
    asked_at: datetime
    approved: bool | None
    answer: str | None
    answered_by_id: int | None
    answered_by: str | None
    answered_at: datetime | None


@dataclass(frozen=True, slots=True)
class CorrectionLine:
    """A correction that somebody asked a second person for, with the answer where there is one.

    ``made_id`` is the reading that an approved one led to.
    """

    id: int
    reading_id: int
    value: Decimal
    reason: str
    evidence: str
    evidence_sha256: str | None
    asked_by_id: int
    asked_by: str
    asked_at: datetime
    approved: bool | None
    answer: str | None
    made_id: int | None
    answered_by_id: int | None
    answered_by: str | None
    answered_at: datetime | None


def void_requests(session: Session, coupon_id: int) -> list[VoidLine]:
    """Requests to void readings of the coupon, in the order asked; one query."""
    return [VoidLine(*row) for row in session.execute(_asked(VoidRequest, VoidAnswer, coupon_id))]


def correction_requests(session: Session, coupon_id: int) -> list[CorrectionLine]:
    """Corrections asked for on readings of the coupon, in the order asked; one query."""
    return [
        CorrectionLine(*row)
        for row in session.execute(_asked(CorrectionRequest, CorrectionAnswer, coupon_id))
    ]


def _asked(
    request: type[VoidRequest] | type[CorrectionRequest],
    answer: type[VoidAnswer] | type[CorrectionAnswer],
    coupon_id: int,
) -> Any:
    asker, answerer = aliased(Person), aliased(Person)
    says: tuple[Any, ...] = (VoidRequest.cause,)
    if request is CorrectionRequest:
        says = (CorrectionRequest.value, CorrectionRequest.reason)
    made = (CorrectionAnswer.reading_id,) if answer is CorrectionAnswer else ()
    return (
        select(
            request.id,
            request.reading_id,
            *says,
            request.evidence,
            request.evidence_sha256,
            request.asked_by_id,
            asker.full_name,
            request.asked_at,
            answer.approved,
            answer.reason,
            *made,
            answer.answered_by_id,
            answerer.full_name,
            answer.answered_at,
        )
        .join(Reading, Reading.id == request.reading_id)
        .join(asker, asker.id == request.asked_by_id)
        .outerjoin(answer, answer.request_id == request.id)
        .outerjoin(answerer, answerer.id == answer.answered_by_id)
        .where(Reading.coupon_id == coupon_id)
        .order_by(request.id)
    )


def readers(session: Session, coupon_ids: Collection[int]) -> set[int]:
    """Ids of everybody who took, corrected or voided a reading of these coupons; three queries.

    The further coupons of their retests are included. Whoever took a reading that was later voided
    or corrected, and whoever approved that, is included too: they had a hand in the result.
    """
    own = select(Retest.id).where(Retest.coupon_id.in_(coupon_ids))
    concerned = Reading.coupon_id.in_(coupon_ids) | Reading.retest_id.in_(own)
    people = set(session.scalars(select(Reading.taken_by_id).where(concerned).distinct()))
    for request, answer in ((VoidRequest, VoidAnswer), (CorrectionRequest, CorrectionAnswer)):
        both: Any = (
            select(request.asked_by_id, answer.answered_by_id)
            .join(answer, answer.request_id == request.id)
            .join(Reading, Reading.id == request.reading_id)
            .where(concerned, answer.approved)
        )
        for asked_by_id, answered_by_id in session.execute(both):
            people |= {asked_by_id, answered_by_id}
    return people
