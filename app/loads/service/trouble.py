"""Coupons that are missing, unmarked or doubled: reported by one person, decided by another.

A report puts the panel on hold in the same transaction. Nothing here makes a coupon evidence again
but its mark, read by a second person, and a custody that shows where it was.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.errors import Conflict, NotAllowed, refuse
from app.loads import queries
from app.loads.records import Load, LoadCoupon
from app.loads.service.refusals import panel_in, refuse_cancelled
from app.loads.trouble_queries import Trouble, ridden, trouble, troubled
from app.loads.trouble_records import CouponTrouble, TroubleAnswer, TroubleKind, TroubleOutcome
from app.loads.trouble_rules import (
    Ridden,
    end_of,
    why_no_spare,
    why_not_doubled,
    why_not_reported_missing,
    why_not_the_missing_one,
    why_not_unmarked,
)
from app.panels.queries import coupon as coupon_of
from app.panels.records import Coupon, Custody, CustodyStep, HoldCause
from app.panels.service import put_on_hold
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign

SHORTEST = 10
"""Letters and signs of what was found, and of the reason for an answer."""


@dataclass(frozen=True, slots=True)
class Report:
    """What was found.

    ``coupon`` is the one of that mark; of one without a mark, the one at whose place it lay, empty
    where nobody can say. ``other`` is the other coupon that a doubled mark may belong to.
    """

    kind: TroubleKind
    found: str
    coupon: str = ""
    other: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What is decided. ``mark`` is as read on the coupon in hand; ``spare`` stands in."""

    outcome: TroubleOutcome
    reason: str
    mark: str = ""
    spare: str = ""


def report_trouble(
    database: Database, load_code: str, panel_code: str, report: Report, *, by: Actor, at: datetime
) -> int:
    """Keep what was found of a coupon and put its panel on hold, both or neither; its number.

    A doubled mark puts the panel of the other coupon on hold too, with a report of its own.

    Raises:
        NotAllowed, NotFound, Conflict: who may; no such load; it was cancelled.
        Refusal: the panel or coupon is not of the load, it is reported already, or too few words.
    """
    require(by, Act.REPORT_TROUBLE)
    found = " ".join(report.found.split())
    if len(found) < SHORTEST:
        refuse("found", f"Say what was found and where it was searched, in {SHORTEST} signs.")
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        panel = panel_in(session, load, panel_code)
        coupons = ridden(session, load.id, panel.id)
        nameless = report.kind is TroubleKind.UNMARKED and not report.coupon
        if report.coupon not in coupons and not nameless:
            refuse("coupon", f"Choose the coupon: one that rode on {panel.code} in {load.code}.")
        other = _other(session, report)
        row = _row(report, load.id, panel.id, coupons, by=by, at=at)
        row.found = found
        row.other_id = row.other_id if other is None else other.id
        _refuse_reported(session, row, coupons)
        _report(session, [row, *_twins(session, row, other)], by=by, at=at)
        return row.id


def _row(
    report: Report,
    load_id: int,
    panel_id: int,
    coupons: Mapping[str, tuple[int, Ridden]],
    *,
    by: Actor,
    at: datetime,
) -> CouponTrouble:
    """The report as it is kept: a coupon without a mark is only known by its place."""
    key = coupons[report.coupon][0] if report.coupon else None
    unmarked = report.kind is TroubleKind.UNMARKED
    return CouponTrouble(
        load_id=load_id,
        panel_id=panel_id,
        coupon_id=None if unmarked else key,
        other_id=key if unmarked else None,
        kind=report.kind,
        found=report.found,
        reported_by_id=by.id,
        reported_at=at,
    )


def note_at_unwrapping(
    session: Session,
    load: Load,
    panel_id: int,
    reports: Sequence[Report],
    *,
    by: Actor,
    at: datetime,
) -> None:
    """Keep what an unwrapping found of coupons and hold the panel; part of that decision.

    A coupon with a report that stands gets no second one.
    """
    coupons = ridden(session, load.id, panel_id)
    rows = [
        _row(one, load.id, panel_id, coupons, by=by, at=at)
        for one in reports
        if coupons[one.coupon][1].doubt is None
    ]
    _report(session, rows, by=by, at=at)


def answer_trouble(
    database: Database, key: int, answer: Answer, *, password: str, by: Actor, at: datetime
) -> str:
    """Decide about a reported coupon, signed; hands back how it ended, as a phrase.

    Raises:
        NotAllowed: the person is no supervisor, or reported it.
        NotFound: there is no such report.
        Conflict: it is decided already.
        Refusal: too few words, a wrong password, or what stands against the answer.
    """
    require(by, Act.ANSWER_TROUBLE)
    reason = " ".join(answer.reason.split())
    if len(reason) < SHORTEST:
        refuse("reason", f"Give the reason in {SHORTEST} signs or more; it is kept for good.")
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        found = trouble(session, key)
        _refuse_answered(found, by)
        coupons = ridden(session, found.load_id, found.panel_id)
        named = _named(found, answer, coupons)
        spare = _spare(found, answer, coupons)
        content = {
            "report": found.id,
            "load": found.load,
            "panel": found.panel,
            "coupon": found.about,
            "kind": found.kind.value,
            "outcome": answer.outcome.value,
            "named": None if named is None else named.code,
            "spare": None if spare is None else spare.code,
            "reason": reason,
        }
        signature = sign(
            session,
            proof,
            meaning=Meaning.ANSWERED_TROUBLE,
            content_sha256=paper_sha256(content),
            at=at,
        )
        row = TroubleAnswer(
            trouble_id=found.id,
            outcome=answer.outcome,
            spare_id=None if spare is None else coupons[spare.code][0],
            named_id=None if named is None else coupons[named.code][0],
            reason=reason,
            signature_id=signature.id,
            answered_by_id=by.id,
            answered_at=at,
        )
        rows: list[Base] = [signature, row]
        if named is not None and named.last is Custody.PLACED:
            place = f"found without a legible mark at {named.station}"
            rows.append(
                CustodyStep(
                    coupon_id=coupons[named.code][0],
                    step=Custody.RECOVERED,
                    place=place,
                    note=reason,
                    by_id=by.id,
                    taken_at=at,
                    entered_at=at,
                )
            )
        session.add_all(rows)
        session.flush()
        ended = _in_words(found, named, spare, answer.outcome)
        append(
            session,
            Tag.TROUBLE_ANSWERED,
            by=by,
            at=at,
            about=("load", found.load),
            rows=rows,
            note=f"{found.words}, {found.panel}: {ended}; {reason}",
        )
        return ended


def _refuse_answered(found: Trouble, by: Actor) -> None:
    if not found.is_open:
        raise Conflict(f"{found.answered_by} has decided about this already: {found.ended}.")
    if by.is_person(found.reported_by_id):
        raise NotAllowed("You reported this, so another supervisor decides about it.")


def _named(
    found: Trouble, answer: Answer, coupons: Mapping[str, tuple[int, Ridden]]
) -> Ridden | None:
    """The coupon it is shown to be; None where the answer is another."""
    if answer.outcome is not TroubleOutcome.IDENTIFIED:
        return None
    seat = coupons.get(answer.mark)
    named = None if seat is None else seat[1]
    if found.kind is TroubleKind.UNMARKED:
        problem = why_not_unmarked(answer.mark, named, panel=found.panel, load=found.load)
        _pass_unless("mark", problem)
        return named
    if found.kind is TroubleKind.MISSING or found.coupon is None:
        refuse("outcome", why_not_the_missing_one())
    coupon = coupons[found.coupon][1]
    _pass_unless("mark", why_not_doubled(answer.mark, coupon))
    return coupon


def _spare(
    found: Trouble, answer: Answer, coupons: Mapping[str, tuple[int, Ridden]]
) -> Ridden | None:
    """The coupon that stands in; None where the answer is another."""
    if answer.outcome is not TroubleOutcome.SPARE:
        return None
    if found.about is None:
        refuse(
            "outcome",
            "Nothing names the coupon that a spare would stand in for. Report the coupon that "
            "should be there as missing, and let the spare stand in for that one.",
        )
    seat = coupons.get(answer.spare)
    spare = None if seat is None else seat[1]
    _pass_unless("spare", why_no_spare(coupons[found.about][1], answer.spare, spare))
    return spare


def _in_words(
    found: Trouble, named: Ridden | None, spare: Ridden | None, outcome: TroubleOutcome
) -> str:
    if named is not None:
        return f"shown to be {named.code} by its mark"
    if spare is not None:
        return (
            f"spare {spare.code} at {spare.station} stands in for {found.about}; both lay at the "
            f"{end_of(spare.x)}"
        )
    return outcome.value


def _other(session: Session, report: Report) -> Coupon | None:
    """The other coupon that a doubled mark may belong to."""
    if not report.other:
        return None
    if report.kind is not TroubleKind.DOUBLED:
        refuse("other", "Another coupon is only named where a mark is on two.")
    if report.other == report.coupon:
        refuse("other", f"Name the other one; {report.coupon} is the mark itself.")
    return coupon_of(session, report.other)


def _twins(session: Session, row: CouponTrouble, other: Coupon | None) -> list[CouponTrouble]:
    """The report about the other coupon, where it rode in a load too and has none yet."""
    if other is None or troubled(session, [other.id]):
        return []
    seat = session.execute(
        select(LoadCoupon.load_id, LoadCoupon.panel_id).where(
            LoadCoupon.coupon_id == other.id, queries.goes_ahead(LoadCoupon.load_id)
        )
    ).one_or_none()
    if seat is None:
        return []
    return [
        CouponTrouble(
            load_id=seat.load_id,
            panel_id=seat.panel_id,
            coupon_id=other.id,
            other_id=row.coupon_id,
            kind=row.kind,
            found=row.found,
            reported_by_id=row.reported_by_id,
            reported_at=row.reported_at,
        )
    ]


def _refuse_reported(
    session: Session, row: CouponTrouble, coupons: Mapping[str, tuple[int, Ridden]]
) -> None:
    """Refuse a coupon that is reported already, or that is not to be reported as missing."""
    about = row.other_id if row.kind is TroubleKind.UNMARKED else row.coupon_id
    if about is None:
        return
    for sentence in troubled(session, [about]).values():
        refuse("coupon", f"It is reported already. {sentence}")
    if row.kind is TroubleKind.MISSING:
        seat = next(coupon for key, coupon in coupons.values() if key == about)
        _pass_unless("coupon", why_not_reported_missing(seat.code, seat.steps))


def _report(session: Session, reports: Sequence[CouponTrouble], *, by: Actor, at: datetime) -> None:
    """Keep the reports, with the step of custody of what is missing, and hold the panels."""
    session.add_all(reports)
    session.flush()
    for row in reports:
        about = trouble(session, row.id)
        rows: list[Base] = [row]
        if row.kind is TroubleKind.MISSING and row.coupon_id is not None:
            steps = ridden(session, row.load_id, row.panel_id)[about.coupon or ""][1].steps
            if not steps or steps[-1] is not Custody.MISSING:
                rows.append(
                    CustodyStep(
                        coupon_id=row.coupon_id,
                        step=Custody.MISSING,
                        place="not found",
                        note=row.found,
                        by_id=by.id,
                        taken_at=at,
                        entered_at=at,
                    )
                )
        session.add_all(rows)
        append(
            session,
            Tag.TROUBLE_REPORTED,
            by=by,
            at=at,
            about=("load", about.load),
            rows=rows,
            note=f"{about.words}, {about.panel}: {row.found}",
        )
        put_on_hold(
            session,
            [row.panel_id],
            reason=f"{about.words} (load {about.load}). {row.found}",
            cause=HoldCause.COUPON_TROUBLE,
            by=by,
            at=at,
        )


def _pass_unless(field: str, problem: str | None) -> None:
    if problem is not None:
        refuse(field, problem)
