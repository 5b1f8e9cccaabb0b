"""Open a bench session, and check its tester on reference blocks."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.queries.evidence import certificates_of
from app.bench.queries.sessions import BenchAtWork
from app.bench.records import BenchSession, BlockCheck, CheckMoment, Reading
from app.bench.rules.bracketing import Standing, day_of, why_out_of_date
from app.bench.rules.plausibility import (
    plausible_check,
    why_impossible,
    why_no_room_temperature,
    why_unlikely,
)
from app.bench.rules.verdict import finding_paper
from app.bench.service.verdicts import judge_again
from app.database import Database
from app.equipment.queries import block as reference_block
from app.equipment.queries import tester as tester_of
from app.equipment.records import ReferenceBlock
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.verdict import Finding
from app.judging.witness.reference_block import judge_block_check
from app.people.rights import Act, Role, require

CHECK_READINGS = {"hardness": 2, "conductivity": 1}
"""Fewest readings of a check. Hardness: ASTM E18, daily verification, at least two tests (from
memory); conductivity: common practice."""
MOST_READINGS = 20
"""Readings taken from one form at the most."""


def open_session(
    database: Database, *, tester_code: str, by: Actor, at: datetime, zone: tzinfo
) -> int:
    """Open a session at a tester and hand back its number.

    A person who has opened one there already, and not yet used it, is given the same one.

    Raises:
        NotFound: there is no such tester.
        Refusal: it is not in calibration today.
        Conflict: somebody's session is running at it; the sentence says whose.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        tester = tester_of(session, tester_code)
        refuse_out_of_date(session, tester.id, tester.code, at=at, zone=zone)
        for running in queries.running_sessions(session, tester.id):
            if running.operator_id == by.id:
                return running.id
            raise _busy(running.tester, running.operator)
        latest = queries.latest_session_of(session, tester_id=tester.id, operator_id=by.id)
        if latest is not None:
            standing = queries.bench_session(session, latest).standing
            if standing is Standing.AWAITING_OPENING:
                return latest
        opened = BenchSession(tester_id=tester.id, operator_id=by.id, opened_at=at)
        session.add(opened)
        session.flush()
        append(
            session,
            Tag.BENCH_OPENED,
            by=by,
            at=at,
            about=("tester", tester.code),
            rows=[opened],
            note=f"session {opened.id}",
        )
        return opened.id


def refuse_out_of_date(
    session: Session, tester_id: int, code: str, *, at: datetime, zone: tzinfo
) -> None:
    """Pass if the tester is in calibration on that day; part of a deciding transaction.

    Raises:
        Refusal: it is not; says since when.
    """
    certificates = certificates_of(session, [tester_id]).get(tester_id, [])
    reason = why_out_of_date([one.paper for one in certificates], day_of(at, zone))
    if reason is not None:
        raise Refusal(
            f"{code} may not be used: {reason}. Use another tester, or have an engineer enter "
            "its new certificate."
        )


def _busy(tester: str, operator: str) -> Conflict:
    return Conflict(
        f"{operator} has a session running at {tester}. It must end with its closing check before "
        "another begins."
    )


@dataclass(frozen=True, slots=True)
class CheckTaken:
    """A check as keyed. ``confirmed``: figures far from the block's value were read again."""

    moment: CheckMoment
    block_code: str
    readings: tuple[Decimal, ...]
    block_c: Decimal | None = None
    confirmed: bool = False


def record_check(
    database: Database,
    taken: CheckTaken,
    *,
    session_id: int,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Finding:
    """Record a check on a reference block, judge it, and judge again the coupons it concerns.

    A closing check may also be made by a supervisor, so that a tester is never left locked by
    somebody who has gone home.

    Raises:
        NotFound: there is no such session or block.
        NotAllowed: it is somebody else's session.
        Conflict: the tester is in another running session.
        Refusal: the moment or the block does not fit, or a figure cannot be.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        bench = queries.bench_session(session, session_id)
        _refuse_not_theirs(bench, by, closing=taken.moment is CheckMoment.CLOSING)
        _refuse_out_of_turn(session, bench, taken.moment)
        if taken.moment is CheckMoment.OPENING:
            refuse_out_of_date(session, bench.tester_id, bench.tester, at=at, zone=zone)
        block = _fitting_block(session, bench, taken, at=at, zone=zone)
        _refuse_figures(bench, block, taken)
        finding = judge_block_check(
            taken.readings,
            certified=block.certified_value,
            permitted_error=block.permitted_error,
            unit=bench.unit,
            readings_min=CHECK_READINGS[bench.quantity],
            source=f"reference block {block.code}, certificate {block.certificate}",
        )
        row = BlockCheck(
            session_id=bench.id,
            moment=taken.moment,
            block_id=block.id,
            readings=taken.readings,
            block_c=taken.block_c,
            outcome=finding.outcome.value,
            finding=finding_paper(finding),
            by_id=by.id,
            taken_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.BLOCK_CHECKED,
            by=by,
            at=at,
            about=("tester", bench.tester),
            rows=[row],
            note=f"session {bench.id}, {taken.moment.value} check on {block.code}: {finding.text}",
        )
        judge_again(session, _measured(session, bench.id), by=by, at=at, zone=zone)
    return finding


def _refuse_not_theirs(bench: BenchAtWork, by: Actor, *, closing: bool) -> None:
    if by.id == bench.operator_id or (closing and Role.SUPERVISOR.value in by.roles):
        return
    raise NotAllowed(
        f"This session at {bench.tester} is {bench.operator}'s; open your own at the bench page."
    )


def _refuse_out_of_turn(session: Session, bench: BenchAtWork, moment: CheckMoment) -> None:
    standing = bench.standing
    if standing in {Standing.CLOSED, Standing.FAILED}:
        raise Conflict(
            f"This session is {standing.value}. Open a new one; it begins with an opening check."
        )
    if standing is Standing.OPEN and moment is CheckMoment.OPENING:
        raise Conflict("This session has its opening check already; it is ready for readings.")
    if standing is Standing.AWAITING_OPENING:
        if moment is not CheckMoment.OPENING:
            raise Refusal("The opening check comes first.", fields={"moment": "Opening first."})
        for running in queries.running_sessions(session, bench.tester_id):
            raise _busy(running.tester, running.operator)


def _fitting_block(
    session: Session, bench: BenchAtWork, taken: CheckTaken, *, at: datetime, zone: tzinfo
) -> ReferenceBlock:
    block = reference_block(session, taken.block_code)
    says = None
    if (block.quantity, block.unit) != (bench.quantity, bench.unit):
        says = (
            f"Reference block {block.code} is for {block.quantity} in {block.unit}; {bench.tester} "
            f"reads {bench.quantity} in {bench.unit}. Take a block of that."
        )
    elif block.expires_on < day_of(at, zone):
        says = (
            f"The certificate of reference block {block.code} ended on {block.expires_on}. Take "
            "another block."
        )
    if says is not None:
        raise Refusal(says, fields={"block": says})
    return block


def _refuse_figures(bench: BenchAtWork, block: ReferenceBlock, taken: CheckTaken) -> None:
    needed = CHECK_READINGS[bench.quantity]
    if not needed <= len(taken.readings) <= MOST_READINGS:
        says = f"Take at least {needed} check readings, and {MOST_READINGS} at most."
        raise Refusal(says, fields={f"reading_{len(taken.readings) + 1}": says})
    bounds = plausible_check(block.certified_value, block.permitted_error, bench.unit)
    wrong: dict[str, str] = {}
    odd: dict[str, str] = {}
    for number, value in enumerate(taken.readings, start=1):
        impossible = why_impossible(value, bounds)
        if impossible is not None:
            wrong[f"reading_{number}"] = impossible
        elif (unlikely := why_unlikely(value, bounds)) is not None:
            odd[f"reading_{number}"] = unlikely
    if taken.block_c is not None:
        nowhere = why_no_room_temperature(taken.block_c)
        wrong.update({} if nowhere is None else {"block_c": nowhere})
    refuse_fields(wrong, odd, confirmed=taken.confirmed)


def refuse_fields(wrong: dict[str, str], odd: dict[str, str], *, confirmed: bool) -> None:
    """Pass if nothing is wrong and what is odd was confirmed.

    Raises:
        Refusal: with the sentence of each field; field ``confirmed`` where a tick would do.
    """
    if wrong:
        raise Refusal("Nothing was recorded: " + " ".join(wrong.values()), fields=wrong)
    if odd and not confirmed:
        asks = "If it is as you read it, tick this to record it so."
        raise Refusal(
            "Not recorded yet: " + " ".join(odd.values()), fields={**odd, "confirmed": asks}
        )


def _measured(session: Session, session_id: int) -> list[int]:
    """The coupons with readings in the session."""
    return list(
        session.scalars(
            select(Reading.coupon_id)
            .where(Reading.session_id == session_id)
            .distinct()
            .order_by(Reading.coupon_id)
        )
    )
