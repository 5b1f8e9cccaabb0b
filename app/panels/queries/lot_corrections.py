"""What was found to be entered wrongly of lots: asked, answered, waiting."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from app.audit.facts import row_facts
from app.database import paper_sha256
from app.panels.records import LotCorrection, LotCorrectionAnswer, MaterialLot
from app.panels.rules import FIGURES, Change, changes_of
from app.people.records import Meaning, Person, Signature


@dataclass(frozen=True, slots=True)
class LotAnswerLine:
    """A second person's answer. ``coupons`` are the codes of those that changed with the lot.

    ``intact``: the signature is over this answer to this correction.
    """

    approved: bool
    reason: str
    coupons: tuple[str, ...]
    printed_name: str
    meaning: str
    at: datetime
    intact: bool


@dataclass(frozen=True, slots=True)
class LotCorrectionLine:
    """A correction of a lot: what was asked, why, on what evidence; ``answer`` None: it waits."""

    id: int
    lot: str
    changes: tuple[Change, ...]
    reason: str
    evidence: str
    evidence_sha256: str | None
    upstream_hold_id: int
    asked_by_id: int
    asked_by: str
    asked_at: datetime
    answer: LotAnswerLine | None


def figures_of(lot: MaterialLot) -> dict[str, str]:
    """What is entered of a lot, each figure as text by its column."""
    return {name: str(getattr(lot, name)) for name in FIGURES}


def figures_seen(lot: MaterialLot) -> str:
    """What a form carries of the figures it was filled in with."""
    return paper_sha256(figures_of(lot))


def answer_content(
    correction: LotCorrection, *, approved: bool, reason: str, coupons: Sequence[Mapping[str, Any]]
) -> str:
    """The SHA-256 of what is signed with an answer: the correction whole, and the answer."""
    return paper_sha256(
        {
            "correction": row_facts(correction),
            "approved": approved,
            "reason": reason,
            "coupons": [dict(one) for one in coupons],
        }
    )


def lot_corrections(session: Session, lot_id: int) -> list[LotCorrectionLine]:
    """Every correction of a lot, the newest first; one query."""
    return _lines(session, LotCorrection.lot_id == lot_id)


def waiting_lot_corrections(session: Session, *, most: int = 100) -> list[LotCorrectionLine]:
    """Corrections that nobody has answered, the oldest first; one query."""
    return _lines(session, LotCorrectionAnswer.id.is_(None))[::-1][:most]


def waiting_correction(session: Session, *, lot_id: int) -> LotCorrection | None:
    """The lot's correction that waits for an answer; there is never more than one."""
    return session.scalars(_waiting().where(LotCorrection.lot_id == lot_id)).first()


def waits_under(session: Session, upstream_hold_id: int) -> bool:
    """Whether the correction that an upstream hold was placed for waits for an answer."""
    held = _waiting().where(LotCorrection.upstream_hold_id == upstream_hold_id)
    return session.scalars(held).first() is not None


def _waiting() -> Any:
    return (
        select(LotCorrection)
        .outerjoin(LotCorrectionAnswer, LotCorrectionAnswer.correction_id == LotCorrection.id)
        .where(LotCorrectionAnswer.id.is_(None))
    )


def _lines(session: Session, wanted: Any) -> list[LotCorrectionLine]:
    asker = aliased(Person)
    rows = session.execute(
        select(
            LotCorrection,
            LotCorrectionAnswer,
            MaterialLot.code,
            asker.full_name,
            Signature.printed_name,
            Signature.meaning,
            Signature.content_sha256,
        )
        .join(MaterialLot, MaterialLot.id == LotCorrection.lot_id)
        .join(asker, asker.id == LotCorrection.asked_by_id)
        .outerjoin(LotCorrectionAnswer, LotCorrectionAnswer.correction_id == LotCorrection.id)
        .outerjoin(Signature, Signature.id == LotCorrectionAnswer.signature_id)
        .where(wanted)
        .order_by(LotCorrection.id.desc())
    )
    return [_line(row) for row in rows]


def _line(row: Any) -> LotCorrectionLine:
    asked: LotCorrection = row[0]
    return LotCorrectionLine(
        id=asked.id,
        lot=row.code,
        changes=changes_of(asked.before, asked.after),
        reason=asked.reason,
        evidence=asked.evidence,
        evidence_sha256=asked.evidence_sha256,
        upstream_hold_id=asked.upstream_hold_id,
        asked_by_id=asked.asked_by_id,
        asked_by=row.full_name,
        asked_at=asked.asked_at,
        answer=_answer(asked, row),
    )


def _answer(asked: LotCorrection, row: Any) -> LotAnswerLine | None:
    made: LotCorrectionAnswer | None = row[1]
    if made is None:
        return None
    signed: Meaning = row.meaning
    content = answer_content(
        asked, approved=made.approved, reason=made.reason, coupons=made.coupons
    )
    return LotAnswerLine(
        approved=made.approved,
        reason=made.reason,
        coupons=tuple(one["code"] for one in made.coupons),
        printed_name=row.printed_name,
        meaning=signed.value,
        at=made.answered_at,
        intact=row.content_sha256 == content,
    )
