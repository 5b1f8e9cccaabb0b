"""Void a reading with its cause, by two persons. What was recorded first stays to be seen."""

from datetime import datetime, tzinfo

from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench.records import Reading, VoidAnswer, VoidCause, VoidRequest
from app.bench.service.changing import live_reading, reading_of, stated_reason, takers
from app.bench.service.verdicts import judge_again
from app.database import Database
from app.equipment.rules.reports import SentFile
from app.equipment.service.terms import keep_file
from app.errors import Conflict, NotAllowed, NotFound
from app.people.rights import Act, require


def ask_void(
    database: Database,
    *,
    coupon_code: str,
    reading_id: int,
    cause: VoidCause,
    evidence: str,
    by: Actor,
    at: datetime,
    file: SentFile | None = None,
) -> int:
    """Ask that a reading be voided for an assignable cause; hand back the request's number.

    A low result is not a cause. Nothing changes until a second person has approved it.

    Raises:
        NotFound: the coupon has no such reading.
        Conflict: it was voided or corrected, or a request for it is waiting.
        Refusal: the evidence is too short, or the file is none that is kept.
    """
    require(by, Act.ASK_VOID)
    evidence = stated_reason(evidence, "what shows the cause", field="evidence")
    with database.write() as session:
        reading = live_reading(session, coupon_code, reading_id)
        waiting = session.scalar(
            select(VoidRequest.id)
            .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
            .where(VoidRequest.reading_id == reading.id, VoidAnswer.id.is_(None))
        )
        if waiting is not None:
            raise Conflict("A request to void that reading waits for a supervisor's answer.")
        digest, kept = keep_file(session, file, at=at)
        row = VoidRequest(
            reading_id=reading.id,
            cause=cause,
            evidence=evidence,
            asked_by_id=by.id,
            asked_at=at,
            evidence_sha256=digest,
        )
        session.add(row)
        append(
            session,
            Tag.VOID_ASKED,
            by=by,
            at=at,
            about=("coupon", coupon_code),
            rows=[*kept, row],
            note=f"{reading.value} {reading.unit}, {cause.value}: {evidence}",
        )
        return row.id


def answer_void(
    database: Database,
    *,
    coupon_code: str,
    request_id: int,
    approved: bool,
    reason: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Approve or decline a void, as a second person, and judge the coupon again.

    What was corrected or voided meanwhile can only be declined.

    Raises:
        NotFound: the coupon has no such request.
        NotAllowed: they asked for it, or took the reading, themselves.
        Conflict: it has been answered, or the reading was corrected meanwhile.
        Refusal: the reason is too short.
    """
    require(by, Act.APPROVE_VOID)
    reason = stated_reason(reason, "why you approve or decline")
    with database.write() as session:
        request = session.get(VoidRequest, request_id)
        if request is None:
            raise NotFound(f"Coupon {coupon_code} has no such request. Load its page again.")
        answered = session.scalar(select(VoidAnswer.id).where(VoidAnswer.request_id == request_id))
        if answered is not None:
            raise Conflict("Somebody has answered this request meanwhile; load the page again.")
        find = live_reading if approved else reading_of
        reading: Reading = find(session, coupon_code, request.reading_id)
        if by.is_among({request.asked_by_id, *takers(session, reading)}):
            raise NotAllowed(
                "A void is approved by a second person: you asked for this one or took the "
                "reading. Another supervisor must answer."
            )
        row = VoidAnswer(
            request_id=request.id,
            approved=approved,
            reason=reason,
            answered_by_id=by.id,
            answered_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.VOID_DECIDED,
            by=by,
            at=at,
            about=("coupon", coupon_code),
            rows=[row],
            note=f"{'approved' if approved else 'declined'}: {reason}",
        )
        judge_again(session, [reading.coupon_id], by=by, at=at, zone=zone)
