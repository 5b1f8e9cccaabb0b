"""Record what was read on a coupon at the bench."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append, together
from app.bench import queries
from app.bench.queries.entry import TesterAt, tester_at, why_not_here
from app.bench.queries.places import place_for
from app.bench.queries.sessions import BenchAtWork
from app.bench.queries.unmoved import Unmoved, unmoved
from app.bench.queries.waiting import Seat
from app.bench.records import Reading
from app.bench.rules.bracketing import Standing, checked_on_day, day_of
from app.bench.rules.coupon_file import CouponFile
from app.bench.rules.sizes import indentation_paper
from app.bench.service.drafts import drop_draft
from app.bench.service.figures import ReadingsTaken, refuse_readings, taken_at, values_of
from app.bench.service.sessions import refuse_out_of_date
from app.bench.service.verdicts import judge_with
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.panels.records import Custody, CustodyStep
from app.people.rights import Act, require, require_to_measure

_OF_FORM = select(Reading).where(Reading.submission == bindparam("form")).order_by(Reading.id)


@dataclass(frozen=True, slots=True)
class Saved:
    """What is on record after a form was taken, also when it came a second time."""

    coupon_code: str
    verdict: Verdict
    provisional: bool


def record_readings(
    database: Database,
    taken: ReadingsTaken,
    *,
    session_id: int,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Saved:
    """Record the readings of one coupon in a running session and judge the coupon at once.

    The first reading also records that the coupon is at the bench. The draft of what was keyed
    until now goes with it.

    Raises:
        NotFound: there is no such session or coupon.
        NotAllowed: it is somebody else's session.
        Conflict: the same form was recorded with other figures, or somebody recorded readings of
            the coupon since the form was shown.
        Refusal: the session takes no readings, the coupon is not expected, or a figure cannot be;
            ``fields`` names ``reading_1`` and so on, and ``confirmed`` where a tick would do.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        known = unmoved(session)
        bench = known.ask(
            ("session", session_id), lambda: queries.bench_session(session, session_id)
        )
        if bench.operator_id != by.id:
            raise NotAllowed(
                f"This session at {bench.tester} is {bench.operator}'s; open your own to take "
                "readings."
            )
        require_to_measure(by, bench.quantity)
        tester = known.ask(("tester", bench.tester_id), lambda: tester_at(session, bench.tester_id))
        values = values_of(taken, tester)
        before = recorded_before(session, taken.submission)
        if before:
            return same_again(session, before, taken, values)
        measured_at = _refuse_session(session, known, bench, taken, at=at, zone=zone)
        seat, file = queries.expected_file(session, taken.coupon_code, known=known)
        _refuse_overtaken(file, taken)
        place = place_for(
            session, file, Quantity(bench.quantity), bench.unit, zone, operator_id=by.id
        )
        refuse_readings(
            file,
            tester,
            taken,
            values,
            place=place,
            quantity=Quantity(bench.quantity),
            why_not=why_not_here(file, bench, tester),
        )
        rows = _rows(bench, tester, taken, values)
        for row in rows:
            row.coupon_id = seat.coupon_id
            row.retest_id, row.set_number = place.retest_id, place.set_number
            row.taken_by_id, row.taken_at, row.entered_at = by.id, measured_at, at
        if seat.has_drafts:
            drop_draft(session, session_id=bench.id, coupon_id=seat.coupon_id)
        note = _note(bench, taken, values, measured_at, zone)
        tag = Tag.READINGS_RECORDED
        return keep_readings(
            session, rows, seat, tag, note, file=file, known=known, by=by, at=at, zone=zone
        )


def _rows(
    bench: BenchAtWork, tester: TesterAt, taken: ReadingsTaken, values: Sequence[Decimal]
) -> list[Reading]:
    """The readings without coupon, place, person and times."""
    sized = tester.sized
    papers = [
        None if sized is None else indentation_paper(sizes, sized) for sizes in taken.sizes
    ] or [None] * len(values)
    return [
        Reading(
            session_id=bench.id,
            quantity=bench.quantity,
            unit=bench.unit,
            value=value,
            indentation=paper,
            coupon_c=taken.coupon_c,
            block_c=taken.block_c,
            frequency_khz=bench.frequency_khz,
            spacing_confirmed=(
                taken.spacing_confirmed if bench.quantity == Quantity.HARDNESS.value else None
            ),
            late_reason=None if taken.measured_at is None else taken.late_reason.strip(),
            submission=taken.submission,
        )
        for value, paper in zip(values, papers, strict=True)
    ]


def _note(
    bench: BenchAtWork,
    taken: ReadingsTaken,
    values: Sequence[Decimal],
    measured_at: datetime,
    zone: tzinfo,
) -> str:
    note = f"session {bench.id}, {bench.tester}: {_listed(values)} {bench.unit}"
    if taken.measured_at is None:
        return note
    when = measured_at.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")
    return f"{note}; LATE, measured {when}: {taken.late_reason.strip()}"


def keep_readings(
    session: Session,
    rows: list[Reading],
    seat: Seat,
    tag: Tag,
    note: str,
    *,
    file: CouponFile,
    known: Unmoved | None = None,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Saved:
    """Add the readings with their trail entry and judge the coupon; part of a deciding transaction.

    The first readings at the bench also record that the coupon is there. ``file`` is the coupon's
    as it was read in this transaction, before these readings; ``known`` what was read before it.
    """
    with together(session):
        _append(session, rows, seat, tag, note, by=by, at=at)
        judged = judge_with(session, file, rows, known=known, by=by, at=at, zone=zone)
    return Saved(seat.coupon, judged.verdict, judged.provisional)


def _append(
    session: Session,
    rows: list[Reading],
    seat: Seat,
    tag: Tag,
    note: str,
    *,
    by: Actor,
    at: datetime,
) -> None:
    about = ("coupon", seat.coupon)
    session.add_all(rows)
    if tag is Tag.READINGS_RECORDED and seat.custody is not Custody.AT_BENCH:
        step = CustodyStep(
            coupon_id=seat.coupon_id,
            step=Custody.AT_BENCH,
            place="bench",
            note="with its first reading",
            by_id=by.id,
            taken_at=at,
            entered_at=at,
        )
        session.add(step)
        append(session, Tag.CUSTODY_RECORDED, by=by, at=at, about=about, rows=[step])
    append(session, tag, by=by, at=at, about=about, rows=rows, note=note)


def recorded_before(session: Session, submission: str) -> list[Reading]:
    """The readings that came with a form of that name.

    Raises:
        Refusal: the form has no name, so that it could be recorded twice.
    """
    if not submission:
        raise Refusal("The form is incomplete. Load the page again and repeat the entry.")
    return list(session.scalars(_OF_FORM, {"form": submission}))


def same_again(
    session: Session, before: list[Reading], taken: ReadingsTaken, values: Sequence[Decimal]
) -> Saved:
    """The answer to a form that was sent twice: what it led to the first time.

    Raises:
        Conflict: it has other figures now.
    """
    coupon_id = before[0].coupon_id
    file = queries.coupon_files(session, [coupon_id])[coupon_id]
    if file.code != taken.coupon_code or [row.value for row in before] != list(values):
        raise Conflict(
            f"This form was recorded before, on {file.code}, with other figures "
            f"({_listed([row.value for row in before])}). Scan the coupon again for a new form."
        )
    latest = queries.latest_coupon_verdicts(session, [coupon_id])[coupon_id]
    return Saved(file.code, Verdict(latest.verdict), latest.provisional)


def _refuse_session(
    session: Session,
    known: Unmoved,
    bench: BenchAtWork,
    taken: ReadingsTaken,
    *,
    at: datetime,
    zone: tzinfo,
) -> datetime:
    """When the readings were taken, if the session takes readings of that time."""
    standing = bench.standing
    if standing is Standing.AWAITING_OPENING:
        raise Refusal("The opening check comes first: no reading counts without it.")
    if standing is not Standing.OPEN:
        raise Conflict(f"This session is {standing.value}; open a new one to take readings.")
    measured_at = taken_at(taken, bench, at=at, zone=zone)
    if not checked_on_day(bench.bracketing, at=measured_at, zone=zone):
        raise Refusal(
            f"The last check of {bench.tester} was not made today. Make the closing check and open "
            "a new session, or make an interim check first."
        )
    known.ask(
        ("in date", bench.tester_id, day_of(measured_at, zone)),
        lambda: refuse_out_of_date(
            session, bench.tester_id, bench.tester, at=measured_at, zone=zone
        ),
    )
    return measured_at


def _refuse_overtaken(file: CouponFile, taken: ReadingsTaken) -> None:
    """Refuse a form that was shown before other readings of the coupon were recorded."""
    if taken.seen is None or taken.seen == len(file.readings):
        return
    more = len(file.readings) - taken.seen
    raise Conflict(
        f"Since this form was opened, {more} reading{'' if more == 1 else 's'} of {file.code} "
        f"{'was' if more == 1 else 'were'} recorded elsewhere, on another tab or by somebody else. "
        "Nothing of this form was recorded. Scan the coupon again to see what it still needs."
    )


def _listed(values: Sequence[Decimal]) -> str:
    return ", ".join(str(value) for value in values)
