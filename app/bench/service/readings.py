"""Record what was read on a coupon: at the bench, or by a laboratory."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.queries.places import Place, place_for
from app.bench.queries.sessions import BenchAtWork
from app.bench.queries.waiting import Seat
from app.bench.records import Reading
from app.bench.rules.bracketing import Standing, checked_on_day
from app.bench.rules.coupon_file import CouponFile
from app.bench.rules.plausibility import (
    asked_criteria,
    known_unit,
    plausible_reading,
    why_impossible,
    why_no_room_temperature,
    why_unlikely,
)
from app.bench.service.sessions import MOST_READINGS, refuse_fields, refuse_out_of_date
from app.bench.service.verdicts import judge_again
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.judging.witness.eddy_current import temperatures_too_far_apart
from app.panels.records import Custody, CustodyStep
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class ReadingsTaken:
    """One form of readings as keyed, in the order taken and in the tester's unit.

    ``submission`` names the form, so that one sent twice is recorded once. ``spacing_confirmed``
    is the tick for hardness; the temperatures are asked for conductivity. ``confirmed``: what was
    unusual has been read again.
    """

    coupon_code: str
    values: tuple[Decimal, ...]
    submission: str
    coupon_c: Decimal | None = None
    block_c: Decimal | None = None
    spacing_confirmed: bool = False
    confirmed: bool = False


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

    The first reading also records that the coupon is at the bench.

    Raises:
        NotFound: there is no such session or coupon.
        NotAllowed: it is somebody else's session.
        Conflict: the same form was recorded with other figures.
        Refusal: the session takes no readings, the coupon is not expected, or a figure cannot be;
            ``fields`` names ``reading_1`` and so on, and ``confirmed`` where a tick would do.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        bench = queries.bench_session(session, session_id)
        if bench.operator_id != by.id:
            raise NotAllowed(
                f"This session at {bench.tester} is {bench.operator}'s; open your own to take "
                "readings."
            )
        before = _recorded_before(session, taken.submission)
        if before:
            return _same_again(session, before, taken)
        _refuse_session(session, bench, at=at, zone=zone)
        seat = queries.expected_coupon(session, taken.coupon_code)
        file = queries.coupon_files(session, [seat.coupon_id])[seat.coupon_id]
        quantity = Quantity(bench.quantity)
        place = place_for(session, file, quantity, bench.unit, zone)
        _refuse_readings(file, place, quantity, bench.unit, taken)
        rows = [
            Reading(
                session_id=bench.id,
                coupon_id=seat.coupon_id,
                quantity=quantity.value,
                unit=bench.unit,
                value=value,
                coupon_c=taken.coupon_c,
                block_c=taken.block_c,
                frequency_khz=bench.frequency_khz,
                spacing_confirmed=(
                    taken.spacing_confirmed if quantity is Quantity.HARDNESS else None
                ),
                report=None,
                retest_id=place.retest_id,
                set_number=place.set_number,
                submission=taken.submission,
                taken_by_id=by.id,
                taken_at=at,
                entered_at=at,
            )
            for value in taken.values
        ]
        note = f"session {bench.id}, {bench.tester}: {_listed(taken.values)} {bench.unit}"
        return _keep(session, rows, seat, Tag.READINGS_RECORDED, note, by=by, at=at, zone=zone)


@dataclass(frozen=True, slots=True)
class LaboratoryResult:
    """A result from outside the bench, with the report that states it."""

    coupon_code: str
    quantity: str
    unit: str
    value: Decimal
    report: str
    tested_at: datetime
    submission: str
    confirmed: bool = False


def record_laboratory_result(
    database: Database, result: LaboratoryResult, *, by: Actor, at: datetime, zone: tzinfo
) -> Saved:
    """Record a laboratory's result on a coupon, with its report, and judge the coupon.

    Raises:
        NotFound: there is no such coupon.
        Conflict: the same form was recorded with another figure.
        Refusal: the coupon is not expected, the test lies in the future, or a figure cannot be.
    """
    require(by, Act.MEASURE)
    if not known_unit(result.quantity, result.unit):
        says = f"{result.quantity} in {result.unit} is not measured here; choose from the list."
        raise Refusal(says, fields={"test": says})
    if not result.report.strip():
        raise Refusal("Name the report.", fields={"report": "Name the report that states it."})
    if result.tested_at > at:
        says = "The test cannot have been made later than now."
        raise Refusal(says, fields={"tested_at": says})
    quantity = Quantity(result.quantity)
    with database.write() as session:
        taken = ReadingsTaken(
            result.coupon_code, (result.value,), result.submission, confirmed=result.confirmed
        )
        before = _recorded_before(session, result.submission)
        if before:
            return _same_again(session, before, taken)
        seat = queries.expected_coupon(session, result.coupon_code)
        file = queries.coupon_files(session, [seat.coupon_id])[seat.coupon_id]
        place = place_for(session, file, quantity, result.unit, zone)
        wrong, odd = _judge_figures(file, quantity, result.unit, taken.values)
        refuse_fields(_on_value(wrong), _on_value(odd), confirmed=result.confirmed)
        row = Reading(
            coupon_id=seat.coupon_id,
            quantity=quantity.value,
            unit=result.unit,
            value=result.value,
            report=result.report.strip(),
            retest_id=place.retest_id,
            set_number=place.set_number,
            submission=result.submission,
            taken_by_id=by.id,
            taken_at=result.tested_at,
            entered_at=at,
        )
        note = f"{quantity.words} {result.value} {result.unit}, report {row.report}"
        tag = Tag.LABORATORY_RESULT_RECORDED
        return _keep(session, [row], seat, tag, note, by=by, at=at, zone=zone)


def _keep(
    session: Session,
    rows: list[Reading],
    seat: Seat,
    tag: Tag,
    note: str,
    *,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Saved:
    about = ("coupon", seat.coupon)
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
    session.add_all(rows)
    append(session, tag, by=by, at=at, about=about, rows=rows, note=note)
    judged = judge_again(session, [seat.coupon_id], by=by, at=at, zone=zone)[seat.coupon_id]
    return Saved(seat.coupon, judged.verdict, judged.provisional)


def _recorded_before(session: Session, submission: str) -> list[Reading]:
    if not submission:
        raise Refusal("The form is incomplete. Load the page again and repeat the entry.")
    return list(
        session.scalars(
            select(Reading).where(Reading.submission == submission).order_by(Reading.id)
        )
    )


def _same_again(session: Session, before: list[Reading], taken: ReadingsTaken) -> Saved:
    """The answer to a form that was sent twice: what it led to the first time."""
    coupon_id = before[0].coupon_id
    file = queries.coupon_files(session, [coupon_id])[coupon_id]
    if file.code != taken.coupon_code or tuple(row.value for row in before) != taken.values:
        raise Conflict(
            f"This form was recorded before, on {file.code}, with other figures "
            f"({_listed([row.value for row in before])}). Scan the coupon again for a new form."
        )
    latest = queries.latest_coupon_verdicts(session, [coupon_id])[coupon_id]
    return Saved(file.code, Verdict(latest.verdict), latest.provisional)


def _refuse_session(session: Session, bench: BenchAtWork, *, at: datetime, zone: tzinfo) -> None:
    standing = bench.standing
    if standing is Standing.AWAITING_OPENING:
        raise Refusal("The opening check comes first: no reading counts without it.")
    if standing is not Standing.OPEN:
        raise Conflict(f"This session is {standing.value}; open a new one to take readings.")
    if not checked_on_day(bench.bracketing, at=at, zone=zone):
        raise Refusal(
            f"The last check of {bench.tester} was not made today. Make the closing check and open "
            "a new session, or make an interim check first."
        )
    refuse_out_of_date(session, bench.tester_id, bench.tester, at=at, zone=zone)


def _refuse_readings(
    file: CouponFile, place: Place, quantity: Quantity, unit: str, taken: ReadingsTaken
) -> None:
    if not 1 <= len(taken.values) <= MOST_READINGS:
        says = f"Key 1 to {MOST_READINGS} readings."
        raise Refusal(says, fields={"reading_1": says})
    wrong, odd = _judge_figures(file, quantity, unit, taken.values)
    if len(taken.values) < place.missing:
        odd[f"reading_{len(taken.values) + 1}"] = (
            f"The table asks for {place.missing}, and {len(taken.values)} "
            f"{'is' if len(taken.values) == 1 else 'are'} keyed."
        )
    if quantity is Quantity.HARDNESS and not taken.spacing_confirmed:
        wrong["spacing_confirmed"] = (
            "Confirm that spacing and edge distances were kept; where they were not, make the "
            "indents again elsewhere."
        )
    if quantity is Quantity.CONDUCTIVITY:
        _judge_temperatures(taken, wrong, odd)
    refuse_fields(wrong, odd, confirmed=taken.confirmed)


def _judge_figures(
    file: CouponFile, quantity: Quantity, unit: str, values: tuple[Decimal, ...]
) -> tuple[dict[str, str], dict[str, str]]:
    """What cannot be and what is unusual, by field."""
    entry = file.entry()
    bounds = plausible_reading(quantity, unit, entry)
    wrong, odd = {}, {}
    for number, value in enumerate(values, start=1):
        impossible = why_impossible(value, bounds)
        if impossible is not None:
            wrong[f"reading_{number}"] = impossible
        elif (unlikely := why_unlikely(value, bounds)) is not None:
            odd[f"reading_{number}"] = unlikely
    if entry is not None and not asked_criteria(entry, quantity, unit):
        odd.setdefault(
            "reading_1",
            f"The table asks for no {quantity.words} in {unit} on this coupon: these would not "
            "count.",
        )
    return wrong, odd


def _on_value(problems: dict[str, str]) -> dict[str, str]:
    """The same sentences on the one field of a form with a single figure."""
    return {"value": " ".join(problems.values())} if problems else {}


def _judge_temperatures(taken: ReadingsTaken, wrong: dict[str, str], odd: dict[str, str]) -> None:
    for field, name, value in (
        ("coupon_c", "coupon", taken.coupon_c),
        ("block_c", "reference block", taken.block_c),
    ):
        if value is None:
            wrong[field] = f"Give the temperature of the {name}; conductivity changes with it."
        elif (says := why_no_room_temperature(value)) is not None:
            wrong[field] = says
    if taken.coupon_c is None or taken.block_c is None:
        return
    apart = temperatures_too_far_apart(taken.coupon_c, taken.block_c)
    if apart is not None:
        odd["coupon_c"] = f"These readings would not count: {apart}. Let both rest side by side."


def _listed(values: list[Decimal] | tuple[Decimal, ...]) -> str:
    return ", ".join(str(value) for value in values)
