"""Correct a reading, or ask a second person for it. What was recorded first stays to be seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.records import CorrectionAnswer, CorrectionRequest, Reading
from app.bench.rules.turning import what_turns
from app.bench.service.changing import (
    SHORTEST_REASON,
    live_reading,
    reading_of,
    stated_reason,
    takers_on,
)
from app.bench.service.right_figure import (
    Correction,
    Right,
    refuse_figure,
    refuse_set_aside,
    right_figure,
)
from app.bench.service.verdicts import judge_again
from app.database import Base, Database
from app.equipment.service.terms import keep_file
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.verdict import Verdict
from app.people.rights import Act, require, require_to_measure


@dataclass(frozen=True, slots=True)
class Corrected:
    """What a correction led to. ``waits``: nothing is changed until a second person approves."""

    coupon_code: str
    verdict: Verdict
    provisional: bool
    waits: bool = False


def correct_reading(
    database: Database, correction: Correction, *, by: Actor, at: datetime, zone: tzinfo
) -> Corrected:
    """Set a slip of the key right with a new reading that names the old one, and judge again.

    The correction counts as taken when the old one was. Where it takes away what did not conform,
    or readings too far apart, it needs evidence and a person who took none of the coupon's
    readings; from anybody else it becomes a request that such a person answers.

    Raises:
        NotFound: the coupon has no such reading.
        Conflict: the reading was voided or corrected before, or a request for it waits.
        Refusal: a failed check set the reading aside, the figure cannot be or is unchanged, the
            reason is too short, or evidence is wanted (field ``evidence``).
    """
    require(by, Act.MEASURE)
    reason = stated_reason(correction.reason, "what was wrong and how you know the right figure")
    with database.write() as session:
        named = reading_of(session, correction.coupon_code, correction.reading_id)
        if named.session_id is not None:
            require_to_measure(by, named.quantity)
        right = right_figure(session, named, correction)
        again = _sent_before(session, correction, right)
        if again is not None:
            return again
        old = live_reading(session, correction.coupon_code, correction.reading_id)
        files = queries.coupon_files(session, [old.coupon_id])
        file = files[old.coupon_id]
        refuse_set_aside(file, old, right)
        refuse_figure(file, old, right, confirmed=correction.confirmed)
        turned = what_turns(
            file,
            files,
            zone,
            reading_id=old.id,
            value=right.value,
            indentation=right.measured,
        )
        evidence = " ".join(correction.evidence.split())
        if turned:
            _refuse_without_evidence(file.code, evidence)
        digest, kept = keep_file(session, correction.file, at=at)
        if turned and by.is_among(takers_on(session, old.coupon_id)):
            request = CorrectionRequest(
                reading_id=old.id,
                value=right.value,
                indentation=right.indentation,
                reason=reason,
                evidence=evidence,
                evidence_sha256=digest,
                submission=correction.submission,
                asked_by_id=by.id,
                asked_at=at,
            )
            _ask(session, old, request, file.code, kept, by=by, at=at)
            return _standing(session, file.code, old.coupon_id, waits=True)
        row = _corrected(old, right, correction.submission, by_id=by.id, at=at)
        row.reason, row.evidence, row.evidence_sha256 = reason, evidence or None, digest
        _keep(session, old, row, file.code, kept, by=by, at=at)
        judged = judge_again(session, [old.coupon_id], by=by, at=at, zone=zone)[old.coupon_id]
        return Corrected(file.code, judged.verdict, judged.provisional)


def _sent_before(session: Session, correction: Correction, right: Right) -> Corrected | None:
    """What the same form led to when it came the first time; None where it is new."""
    code, submission = correction.coupon_code, correction.submission
    made = session.scalars(select(Reading).where(Reading.submission == submission)).first()
    asked = session.scalars(
        select(CorrectionRequest).where(CorrectionRequest.submission == submission)
    ).one_or_none()
    if made is None and asked is None:
        return None
    named = made.replaces_id if made is not None else None
    value = made.value if made is not None else None
    if made is None and asked is not None:
        named, value = asked.reading_id, asked.value
    if (named, value) != (correction.reading_id, right.value):
        raise Conflict(
            "This form was recorded before with something else in it. Load the coupon's page again "
            "for a new form."
        )
    old = reading_of(session, code, correction.reading_id)
    return _standing(session, code, old.coupon_id, waits=made is None)


def _standing(session: Session, code: str, coupon_id: int, *, waits: bool) -> Corrected:
    latest = queries.latest_coupon_verdicts(session, [coupon_id])[coupon_id]
    return Corrected(code, Verdict(latest.verdict), latest.provisional, waits)


def _refuse_without_evidence(code: str, evidence: str) -> None:
    if len(evidence) >= SHORTEST_REASON:
        return
    raise Refusal(
        f"This correction would take away what speaks against {code}, so it needs evidence and a "
        "second person who took none of its readings. Say what shows the right figure and send it "
        "again; nothing was recorded yet.",
        fields={
            "evidence": (
                f"Say in at least {SHORTEST_REASON} characters what shows the right figure: a "
                "print-out, the display's photograph, who saw it."
            )
        },
    )


def _ask(
    session: Session,
    old: Reading,
    request: CorrectionRequest,
    code: str,
    kept: Sequence[Base],
    *,
    by: Actor,
    at: datetime,
) -> None:
    waiting = session.scalar(
        select(CorrectionRequest.id)
        .outerjoin(CorrectionAnswer, CorrectionAnswer.request_id == CorrectionRequest.id)
        .where(CorrectionRequest.reading_id == old.id, CorrectionAnswer.id.is_(None))
    )
    if waiting is not None:
        raise Conflict("A request to correct that reading waits for a second person's answer.")
    session.add(request)
    append(
        session,
        Tag.CORRECTION_ASKED,
        by=by,
        at=at,
        about=("coupon", code),
        rows=[*kept, request],
        note=f"{old.value} {old.unit} to {request.value} {old.unit}: {request.reason}",
    )


def _keep(
    session: Session,
    old: Reading,
    row: Reading,
    code: str,
    kept: Sequence[Base],
    *,
    by: Actor,
    at: datetime,
) -> None:
    session.add(row)
    append(
        session,
        Tag.READING_CORRECTED,
        by=by,
        at=at,
        about=("coupon", code),
        rows=[*kept, row],
        note=f"{old.value} {old.unit} corrected to {row.value} {row.unit}: {row.reason}",
    )


def _corrected(old: Reading, right: Right, submission: str, *, by_id: int, at: datetime) -> Reading:
    """The new reading: the old one's circumstances, taken when it was, with another figure."""
    return Reading(
        session_id=old.session_id,
        coupon_id=old.coupon_id,
        quantity=old.quantity,
        unit=old.unit,
        value=right.value,
        indentation=right.indentation,
        coupon_c=old.coupon_c,
        block_c=old.block_c,
        frequency_khz=old.frequency_khz,
        spacing_confirmed=old.spacing_confirmed,
        report=old.report,
        retest_id=old.retest_id,
        set_number=old.set_number,
        submission=submission,
        replaces_id=old.id,
        taken_by_id=by_id,
        taken_at=old.taken_at,
        entered_at=at,
        late_reason=old.late_reason,
    )


def answer_correction(
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
    """Approve or decline a correction that somebody asked for, and judge the coupon again.

    Approved, the new reading stands in the name of whoever asked, with the evidence; a request
    whose reading was corrected or voided meanwhile can only be declined.

    Raises:
        NotFound: the coupon has no such request.
        NotAllowed: they asked for it, or took a reading of the coupon.
        Conflict: it has been answered, or the reading changed meanwhile.
        Refusal: the reason is too short.
    """
    require(by, Act.ANSWER_CORRECTION)
    reason = stated_reason(reason, "why you approve or decline")
    with database.write() as session:
        request = _open_request(session, coupon_code, request_id)
        find = live_reading if approved else reading_of
        old = find(session, coupon_code, request.reading_id)
        if by.is_among({request.asked_by_id, *takers_on(session, old.coupon_id)}):
            raise NotAllowed(
                "A correction that turns a result is approved by a person who took none of the "
                "coupon's readings: you asked for this one or took some. Another supervisor must "
                "answer."
            )
        made = _approve(session, request, old, coupon_code, by=by, at=at) if approved else None
        row = CorrectionAnswer(
            request_id=request.id,
            approved=approved,
            reason=reason,
            reading_id=made,
            answered_by_id=by.id,
            answered_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.CORRECTION_DECIDED,
            by=by,
            at=at,
            about=("coupon", coupon_code),
            rows=[row],
            note=f"{'approved' if approved else 'declined'}: {reason}",
        )
        judge_again(session, [old.coupon_id], by=by, at=at, zone=zone)


def _open_request(session: Session, coupon_code: str, request_id: int) -> CorrectionRequest:
    request = session.get(CorrectionRequest, request_id)
    if request is None:
        raise NotFound(f"Coupon {coupon_code} has no such request. Load its page again.")
    answered = session.scalar(
        select(CorrectionAnswer.id).where(CorrectionAnswer.request_id == request_id)
    )
    if answered is not None:
        raise Conflict("Somebody has answered this request meanwhile; load the page again.")
    return request


def _approve(
    session: Session,
    request: CorrectionRequest,
    old: Reading,
    code: str,
    *,
    by: Actor,
    at: datetime,
) -> int:
    row = _corrected(
        old,
        Right(request.value, request.indentation, "value"),
        request.submission,
        by_id=request.asked_by_id,
        at=at,
    )
    row.reason, row.evidence = request.reason, request.evidence
    row.evidence_sha256 = request.evidence_sha256
    _keep(session, old, row, code, [], by=by, at=at)
    return row.id
