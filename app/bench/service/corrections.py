"""Correct a reading, or void it with its cause. What was recorded first always stays to be seen."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.records import Reading, VoidAnswer, VoidCause, VoidRequest
from app.bench.rules.coupon_file import CouponFile, judge_file
from app.bench.rules.plausibility import plausible_reading, why_impossible, why_unlikely
from app.bench.rules.verdict import Judged
from app.bench.service.readings import Saved
from app.bench.service.retests import stated_reason
from app.bench.service.sessions import refuse_fields
from app.bench.service.verdicts import judge_again
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.units import Quantity
from app.judging.verdict import Outcome, Verdict
from app.panels.queries import coupon as coupon_of
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class Correction:
    """A reading's right figure, with the reason; ``submission`` names the form."""

    coupon_code: str
    reading_id: int
    value: Decimal
    reason: str
    submission: str
    confirmed: bool = False


def correct_reading(
    database: Database, correction: Correction, *, by: Actor, at: datetime, zone: tzinfo
) -> Saved:
    """Set a slip of the key right with a new reading that names the old one, and judge again.

    The correction counts as taken when the old one was. Where it takes away what did not conform,
    or readings too far apart, it must be made by a person who did not take the reading.

    Raises:
        NotFound: the coupon has no such reading.
        Conflict: the reading was voided or corrected before.
        NotAllowed: it would turn the result, and the same person took the reading.
        Refusal: the figure cannot be or is unchanged, or the reason is too short.
    """
    require(by, Act.MEASURE)
    reason = stated_reason(correction.reason, "what was wrong and how you know the right figure")
    with database.write() as session:
        again = session.scalars(
            select(Reading).where(Reading.submission == correction.submission)
        ).first()
        old = _live_reading(
            session,
            correction.coupon_code,
            correction.reading_id,
            corrected_by=again.id if again is not None else None,
        )
        file = queries.coupon_files(session, [old.coupon_id])[old.coupon_id]
        if again is not None:
            latest = queries.latest_coupon_verdicts(session, [old.coupon_id])[old.coupon_id]
            return Saved(file.code, Verdict(latest.verdict), latest.provisional)
        _refuse_value(file, old, correction)
        before = _judged_now(session, old.coupon_id, zone)
        row = _corrected(old, correction, reason, by=by, at=at)
        session.add(row)
        append(
            session,
            Tag.READING_CORRECTED,
            by=by,
            at=at,
            about=("coupon", file.code),
            rows=[row],
            note=f"{old.value} {old.unit} corrected to {row.value} {row.unit}: {reason}",
        )
        after = judge_again(session, [old.coupon_id], by=by, at=at, zone=zone)[old.coupon_id]
        if by.id in _takers(session, old) and _against(before) - _against(after):
            raise NotAllowed(
                f"This correction would take away what speaks against {file.code}, and "
                "you took the reading yourself. A second person who did not take it must "
                "check and make the correction. Nothing was recorded."
            )
        return Saved(file.code, after.verdict, after.provisional)


def _corrected(
    old: Reading, correction: Correction, reason: str, *, by: Actor, at: datetime
) -> Reading:
    return Reading(
        session_id=old.session_id,
        coupon_id=old.coupon_id,
        quantity=old.quantity,
        unit=old.unit,
        value=correction.value,
        coupon_c=old.coupon_c,
        block_c=old.block_c,
        frequency_khz=old.frequency_khz,
        spacing_confirmed=old.spacing_confirmed,
        report=old.report,
        retest_id=old.retest_id,
        set_number=old.set_number,
        submission=correction.submission,
        replaces_id=old.id,
        reason=reason,
        taken_by_id=by.id,
        taken_at=old.taken_at,
        entered_at=at,
    )


def _refuse_value(file: CouponFile, old: Reading, correction: Correction) -> None:
    if correction.value == old.value and str(correction.value) == str(old.value):
        says = f"The reading is {old.value} {old.unit} already."
        raise Refusal(says, fields={"value": says})
    bounds = plausible_reading(Quantity(old.quantity), old.unit, file.entry())
    impossible = why_impossible(correction.value, bounds)
    unlikely = why_unlikely(correction.value, bounds)
    refuse_fields(
        {} if impossible is None else {"value": impossible},
        {} if unlikely is None else {"value": unlikely},
        confirmed=correction.confirmed,
    )


def _judged_now(session: Session, coupon_id: int, zone: tzinfo) -> Judged:
    files = queries.coupon_files(session, [coupon_id])
    return judge_file(files[coupon_id], files, zone)


def _against(judged: Judged) -> frozenset[tuple[str, str]]:
    """What speaks against the coupon, in the first test and over all, quantity by quantity.

    Readings too far apart count among it: the range hides that one of them is below its limit.
    """
    return frozenset(
        (test, finding.code.split(".")[0])
        for test, findings in (("first", judged.first.findings), ("over all", judged.findings))
        for finding in findings
        if finding.outcome is Outcome.DOES_NOT_CONFORM or finding.code.endswith(".range")
    )


def _takers(session: Session, reading: Reading) -> set[int]:
    """Everybody who took the reading or one that it corrects."""
    people = {reading.taken_by_id}
    while reading.replaces_id is not None:
        reading = session.get_one(Reading, reading.replaces_id)
        people.add(reading.taken_by_id)
    return people


def _live_reading(
    session: Session, coupon_code: str, reading_id: int, *, corrected_by: int | None = None
) -> Reading:
    """A reading of the coupon that is neither voided nor corrected yet.

    ``corrected_by`` is the correction that may name it, where its form came a second time.
    """
    coupon = coupon_of(session, coupon_code)
    reading = session.get(Reading, reading_id)
    if reading is None or reading.coupon_id != coupon.id:
        raise NotFound(f"Coupon {coupon_code} has no such reading. Load its page again.")
    correction = session.scalar(select(Reading.id).where(Reading.replaces_id == reading_id))
    if correction is not None and correction != corrected_by:
        raise Conflict("That reading has been corrected already; look at its page again.")
    voided = session.scalar(
        select(VoidAnswer.id)
        .join(VoidRequest, VoidRequest.id == VoidAnswer.request_id)
        .where(VoidRequest.reading_id == reading_id, VoidAnswer.approved)
    )
    if voided is not None:
        raise Conflict("That reading has been voided already; look at its page again.")
    return reading


def ask_void(
    database: Database,
    *,
    coupon_code: str,
    reading_id: int,
    cause: VoidCause,
    evidence: str,
    by: Actor,
    at: datetime,
) -> int:
    """Ask that a reading be voided for an assignable cause; hand back the request's number.

    A low result is not a cause. Nothing changes until a second person has approved it.

    Raises:
        NotFound: the coupon has no such reading.
        Conflict: it was voided or corrected, or a request for it is waiting.
        Refusal: the evidence is too short.
    """
    require(by, Act.ASK_VOID)
    evidence = stated_reason(evidence, "what shows the cause", field="evidence")
    with database.write() as session:
        reading = _live_reading(session, coupon_code, reading_id)
        waiting = session.scalar(
            select(VoidRequest.id)
            .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
            .where(VoidRequest.reading_id == reading.id, VoidAnswer.id.is_(None))
        )
        if waiting is not None:
            raise Conflict("A request to void that reading waits for a supervisor's answer.")
        row = VoidRequest(
            reading_id=reading.id,
            cause=cause,
            evidence=evidence,
            asked_by_id=by.id,
            asked_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.VOID_ASKED,
            by=by,
            at=at,
            about=("coupon", coupon_code),
            rows=[row],
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
        reading = _live_reading(session, coupon_code, request.reading_id)
        if by.id in {request.asked_by_id, *_takers(session, reading)}:
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
