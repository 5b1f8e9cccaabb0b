"""Decisions about custody: who handed which coupon over, when, and where it is now."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import NotFound, Refusal
from app.panels import queries
from app.panels.records import Coupon, Custody, CustodyStep
from app.panels.rules import one_line, why_not
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class HandOver:
    """What happened to a coupon, and where it is now.

    ``taken_at`` is when it happened where that was before it is entered; None is now.
    """

    step: Custody
    place: str
    note: str = ""
    taken_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Among:
    """The coupons that a hand-over may be about, and of what they are, in words."""

    words: str
    codes: frozenset[str]


def record_custody(
    database: Database,
    *,
    coupon: str,
    step: Custody,
    place: str,
    note: str = "",
    taken_at: datetime | None = None,
    by: Actor,
    at: datetime,
) -> str:
    """Record one hand-over of a coupon, in its order; hands back the coupon's identity.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such coupon, or what has to come first.
    """
    require(by, Act.RECORD_CUSTODY)
    given = HandOver(step, place, note, taken_at)
    _refuse_future(given, at)
    with database.write() as session:
        return _hand_over(session, coupon, given, by=by, at=at)


def record_hand_overs(
    database: Database,
    codes: Sequence[str],
    given: HandOver,
    *,
    by: Actor,
    at: datetime,
    among: Among | None = None,
) -> list[str]:
    """Record the same hand-over of several coupons, all or none; hands back their identities.

    ``among`` are the coupons it may be about, where not any.

    Raises:
        NotAllowed: the person hands over no coupons.
        Refusal: with a sentence for every coupon that stands in the way (field ``codes``).
    """
    require(by, Act.RECORD_CUSTODY)
    _refuse_future(given, at)
    done: list[str] = []
    wrong: list[str] = []
    with database.write() as session:
        for code in codes:
            if among is not None and code not in among.codes:
                wrong.append(f"{code} is not a coupon of {among.words}; check its mark.")
                continue
            try:
                done.append(_hand_over(session, code, given, by=by, at=at))
            except Refusal as refusal:
                wrong.append(refusal.sentence)
        if wrong:
            told = " ".join(wrong)
            if len(codes) > 1:
                told = f"None was recorded. {told}"
            raise Refusal(told, fields={"codes": told})
    return done


def _refuse_future(given: HandOver, at: datetime) -> None:
    if given.taken_at is not None and given.taken_at > at:
        sentence = "A hand-over cannot be recorded before it happens; correct the time."
        raise Refusal(sentence, fields={"taken_at": sentence})


def _hand_over(session: Session, code: str, given: HandOver, *, by: Actor, at: datetime) -> str:
    """One coupon's next step with its entry on the trail; part of a deciding transaction."""
    found = _coupon(session, code)
    happened = given.taken_at or at
    last = queries.last_step(session, found.id)
    problem = why_not(None if last is None else last.step, given.step)
    if problem is not None:
        sentence = f"{found.code}: {problem}"
        raise Refusal(sentence, fields={"step": sentence})
    if last is not None and happened < last.taken_at:
        sentence = (
            f"{found.code} was {last.step.value} later than that; give the time it was "
            f"{given.step.value}, after that step."
        )
        raise Refusal(sentence, fields={"taken_at": sentence})
    row = CustodyStep(
        coupon_id=found.id,
        step=given.step,
        place=one_line(given.place),
        note=given.note,
        by_id=by.id,
        taken_at=happened,
        entered_at=at,
    )
    session.add(row)
    append(
        session,
        Tag.CUSTODY_RECORDED,
        by=by,
        at=at,
        about=("coupon", found.code),
        rows=[row],
        note=f"{given.step.value}, {row.place}{f': {given.note}' if given.note else ''}",
    )
    return found.code


def _coupon(session: Session, code: str) -> Coupon:
    """The coupon as scanned; what is no coupon is said beside the field it was scanned into."""
    try:
        return queries.coupon(session, code.strip().upper())
    except NotFound as fault:
        raise NotFound(fault.sentence, fields={"coupon": fault.sentence}) from None
