"""Record what is read on a coupon before it goes into the furnace. It decides nothing."""

from datetime import datetime, tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.queries.baseline import BaselineOffer, baseline_offer
from app.bench.queries.entry import tester_at
from app.bench.queries.sessions import BenchAtWork
from app.bench.records import Baseline
from app.bench.rules.bracketing import Standing, checked_on_day
from app.bench.rules.plausibility import (
    plausible_reading,
    why_beyond_tester,
    why_impossible,
    why_unlikely,
)
from app.bench.service.figures import ReadingsTaken, judge_temperature
from app.bench.service.sessions import MOST_READINGS, refuse_fields, refuse_out_of_date
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.units import Quantity
from app.panels import queries as panels
from app.people.rights import Act, require, require_to_measure


def record_baseline(
    database: Database,
    taken: ReadingsTaken,
    *,
    session_id: int,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> str:
    """Keep the readings of a coupon whose load has not been started; hands back its identity.

    The same form sent again is recorded once. A later form stands in place of an earlier one.

    Raises:
        NotFound: there is no such session or coupon.
        NotAllowed: it is somebody else's session.
        Conflict: the session takes no readings, or the form was recorded with other figures.
        Refusal: the coupon is further than that, or a figure cannot be.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        bench = queries.bench_session(session, session_id)
        if bench.operator_id != by.id:
            raise NotAllowed(
                f"This session at {bench.tester} is {bench.operator}'s; open your own to take "
                "readings."
            )
        require_to_measure(by, bench.quantity)
        if _recorded_before(session, taken):
            return taken.coupon_code
        _refuse_session(session, bench, at=at, zone=zone)
        offer = _offer(session, taken.coupon_code, bench)
        _refuse_figures(session, bench, taken)
        row = Baseline(
            coupon_id=offer.coupon_id,
            session_id=bench.id,
            quantity=bench.quantity,
            unit=bench.unit,
            readings=taken.values,
            coupon_c=taken.coupon_c,
            block_c=taken.block_c,
            submission=taken.submission,
            taken_by_id=by.id,
            taken_at=at,
        )
        session.add(row)
        read = ", ".join(str(value) for value in taken.values)
        append(
            session,
            Tag.BASELINE_RECORDED,
            by=by,
            at=at,
            about=("coupon", offer.coupon),
            rows=[row],
            note=f"session {bench.id}, {bench.tester}: {read} {bench.unit} before the furnace",
        )
        return offer.coupon


def _recorded_before(session: Session, taken: ReadingsTaken) -> bool:
    if not taken.submission:
        raise Refusal("The form is incomplete. Load the page again and repeat the entry.")
    before = session.scalars(
        select(Baseline).where(Baseline.submission == taken.submission)
    ).one_or_none()
    if before is None:
        return False
    code = panels.coupon(session, taken.coupon_code)
    if before.coupon_id != code.id or before.readings != taken.values:
        raise Conflict(
            "This form was recorded before, with other figures. Scan the coupon again for a new "
            "form."
        )
    return True


def _refuse_session(session: Session, bench: BenchAtWork, *, at: datetime, zone: tzinfo) -> None:
    if bench.standing is Standing.AWAITING_OPENING:
        raise Conflict("The opening check comes first: nothing counts without it.")
    if bench.standing is not Standing.OPEN:
        raise Conflict(f"This session is {bench.standing.value}; open a new one to take readings.")
    if not checked_on_day(bench.bracketing, at=at, zone=zone):
        raise Conflict(
            f"The last check of {bench.tester} was not made today. Make the closing check and open "
            "a new session, or make an interim check first."
        )
    refuse_out_of_date(session, bench.tester_id, bench.tester, at=at, zone=zone)


def _offer(session: Session, code: str, bench: BenchAtWork) -> BaselineOffer:
    """The coupon, if it can be read before the furnace.

    Raises:
        NotFound: there is no such coupon.
        Refusal: it is further than that.
    """
    offer = baseline_offer(session, code, bench)
    if offer is not None:
        return offer
    last = panels.last_step(session, panels.coupon(session, code).id)
    stands = "not on record" if last is None else last.step.value
    sentence = (
        f"{code} is {stands}. A baseline is read before the coupon's load is started; there is "
        "none to take any more."
    )
    raise Refusal(sentence, fields={"coupon": sentence})


def _refuse_figures(session: Session, bench: BenchAtWork, taken: ReadingsTaken) -> None:
    """Refuse what cannot be; ask about what is unusual. No table is asked: none governs yet."""
    if not 1 <= len(taken.values) <= MOST_READINGS:
        says = f"Key 1 to {MOST_READINGS} readings."
        raise Refusal(says, fields={"reading_1": says})
    quantity = Quantity(bench.quantity)
    tester = tester_at(session, bench.tester_id)
    bounds = plausible_reading(quantity, bench.unit, None)
    wrong, odd = {}, {}
    for number, value in enumerate(taken.values, start=1):
        beyond = why_beyond_tester(value, tester.unit, tester.code, tester.reach)
        cannot = why_impossible(value, bounds) or beyond
        if cannot is not None:
            wrong[f"reading_{number}"] = cannot
        elif (unlikely := why_unlikely(value, bounds)) is not None:
            odd[f"reading_{number}"] = unlikely
    if quantity is Quantity.HARDNESS and not taken.spacing_confirmed:
        wrong["spacing_confirmed"] = (
            "Confirm that spacing and edge distances were kept, and that room is left for the "
            "indents after the furnace."
        )
    if quantity is Quantity.CONDUCTIVITY:
        for field, name, degrees in (
            ("coupon_c", "coupon", taken.coupon_c),
            ("block_c", "reference block", taken.block_c),
        ):
            problem = judge_temperature(name, degrees)
            wrong.update({} if problem is None else {field: problem})
    refuse_fields(wrong, odd, confirmed=taken.confirmed)
