"""Check a session's tester on reference blocks; a failed check takes it out of use."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.queries.baseline import judged_with_baselines
from app.bench.queries.sessions import BenchAtWork
from app.bench.records import BenchSession, BlockCheck, CheckMoment, Reading
from app.bench.rules.bracketing import (
    CHECK_READINGS,
    Check,
    Standing,
    day_of,
    newly_unproven,
    takes_out_of_use,
)
from app.bench.rules.plausibility import (
    plausible_check,
    why_impossible,
    why_no_room_temperature,
    why_unlikely,
)
from app.bench.rules.standards import Standard, why_no_help
from app.bench.rules.verdict import finding_paper
from app.bench.service.sessions import (
    MOST_READINGS,
    busy,
    refuse_fields,
    refuse_out_of_date,
    refuse_quarantined,
)
from app.bench.service.verdicts import judge_again
from app.database import Database
from app.equipment import queries as equipment
from app.equipment.records import ReferenceBlock, Tester, TesterQuarantine
from app.equipment.rules import indents_left_of
from app.equipment.service import FailedCheck, quarantine_tester
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.verdict import Finding, Outcome
from app.judging.witness.reference_block import judge_block_check
from app.loads.queries import goes_ahead
from app.loads.records import LoadCoupon
from app.panels.records import HoldCause, HoldOn
from app.panels.service import put_on_hold, refuse_held
from app.people.rights import Act, Role, require, require_to_measure


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

    A failed check takes the tester out of use and puts on hold every panel with readings that it
    leaves unproven; only a first failed opening check may be tried again. A closing check may also
    be made by a supervisor, so that a tester is never left locked by somebody who has gone home.

    Raises:
        NotFound: there is no such session or block.
        NotAllowed: it is somebody else's session.
        Conflict: the tester is out of use or in another running session; it or the block is held.
        Refusal: the moment or the block does not fit, or a figure cannot be.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        bench = queries.bench_session(session, session_id)
        _refuse_not_theirs(bench, by, closing=taken.moment is CheckMoment.CLOSING)
        require_to_measure(by, bench.quantity)
        refuse_quarantined(session, bench.tester_id, bench.tester)
        _refuse_out_of_turn(session, bench, taken)
        if taken.moment is CheckMoment.OPENING:
            refuse_out_of_date(session, bench.tester_id, bench.tester, at=at, zone=zone)
            refuse_held(session, HoldOn.TESTER, bench.tester, at=at)
            refuse_held(session, HoldOn.REFERENCE_BLOCK, taken.block_code.upper(), at=at)
        block = equipment.block(session, taken.block_code)
        _refuse_block(session, bench, block, taken, by=by, at=at, zone=zone)
        _refuse_figures(bench, block, taken)
        finding = _judged(bench, block, taken)
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
        readings = _readings(session, bench.id)
        if finding.outcome is not Outcome.CONFORMS:
            _take_out_of_use(session, bench, row, block, readings, by=by, at=at)
        measured = {coupon_id for coupon_id, _ in readings.values()}
        measured |= judged_with_baselines(session, bench.id)
        judge_again(session, measured, by=by, at=at, zone=zone)
    return finding


def _judged(bench: BenchAtWork, block: ReferenceBlock, taken: CheckTaken) -> Finding:
    return judge_block_check(
        taken.readings,
        certified=block.certified_value,
        permitted_error=block.permitted_error,
        unit=bench.unit,
        readings_min=CHECK_READINGS[bench.quantity],
        source=f"reference block {block.code}, certificate {block.certificate}",
    )


def _take_out_of_use(
    session: Session,
    bench: BenchAtWork,
    row: BlockCheck,
    block: ReferenceBlock,
    readings: dict[int, tuple[int, datetime]],
    *,
    by: Actor,
    at: datetime,
) -> None:
    """Quarantine the tester of a failed check, and hold the panels it leaves without proof."""
    failed = Check(row.moment.value, False, at, block.code, block.certified_value)  # noqa: FBT003 - the outcome stands beside its moment
    checks = (*bench.bracketing, failed)
    again = takes_out_of_use(checks) or _failed_before(session, bench, row)
    if not again:
        return
    tester = session.get_one(Tester, bench.tester_id)
    says = f"its {row.moment.value} check on {block.code} failed in session {bench.id}"
    quarantine_tester(
        session,
        tester,
        reason=says,
        check=FailedCheck(row.id, bench.operator_id),
        by=by,
        at=at,
    )
    taken = [(key, taken_at) for key, (_, taken_at) in readings.items()]
    unproven = newly_unproven(taken, checks)
    panels = _panels(session, {readings[key][0] for key in unproven})
    number = f"{len(unproven)} reading{'' if len(unproven) == 1 else 's'}"
    put_on_hold(
        session,
        panels,
        reason=(
            f"{bench.tester}: {says}; {number} since its last conforming check "
            f"{'is' if len(unproven) == 1 else 'are'} not proven. Measure again with another "
            "tester."
        ),
        cause=HoldCause.FAILED_CHECK,
        by=by,
        at=at,
    )


def _failed_before(session: Session, bench: BenchAtWork, row: BlockCheck) -> bool:
    """Whether the tester's check before this one was a failed opening check of another session.

    One that took it out of use does not count any more: a second person has let it be used again.
    """
    if row.moment is not CheckMoment.OPENING:
        return False
    before = session.scalars(
        select(BlockCheck)
        .join(BenchSession, BenchSession.id == BlockCheck.session_id)
        .where(BenchSession.tester_id == bench.tester_id, BlockCheck.id < row.id)
        .order_by(BlockCheck.id.desc())
        .limit(1)
    ).one_or_none()
    if before is None or before.moment is not CheckMoment.OPENING:
        return False
    lifted = session.scalar(select(exists().where(TesterQuarantine.check_id == before.id)))
    return before.outcome != Outcome.CONFORMS.value and not lifted


def _panels(session: Session, coupon_ids: set[int]) -> list[int]:
    """The panels that the coupons rode on."""
    return list(
        session.scalars(
            select(LoadCoupon.panel_id)
            .where(LoadCoupon.coupon_id.in_(coupon_ids), goes_ahead(LoadCoupon.load_id))
            .distinct()
            .order_by(LoadCoupon.panel_id)
        )
    )


def _readings(session: Session, session_id: int) -> dict[int, tuple[int, datetime]]:
    """Coupon and time of each reading of the session, by key."""
    rows = session.execute(
        select(Reading.id, Reading.coupon_id, Reading.taken_at)
        .where(Reading.session_id == session_id)
        .order_by(Reading.id)
    )
    return {row.id: (row.coupon_id, row.taken_at) for row in rows}


def _refuse_not_theirs(bench: BenchAtWork, by: Actor, *, closing: bool) -> None:
    if by.id == bench.operator_id or (closing and Role.SUPERVISOR.value in by.roles):
        return
    raise NotAllowed(
        f"This session at {bench.tester} is {bench.operator}'s; open your own at the bench page."
    )


def _refuse_out_of_turn(session: Session, bench: BenchAtWork, taken: CheckTaken) -> None:
    standing, moment = bench.standing, taken.moment
    if standing in {Standing.CLOSED, Standing.FAILED}:
        raise Conflict(
            f"This session is {standing.value}. Open a new one; it begins with an opening check."
        )
    if standing is Standing.AWAITING_OPENING:
        if moment is not CheckMoment.OPENING:
            raise Refusal("The opening check comes first.", fields={"moment": "Opening first."})
        for running in queries.running_sessions(session, bench.tester_id):
            raise busy(running.tester, running.operator)
    elif standing is Standing.CLOSING and moment is not CheckMoment.CLOSING:
        raise Conflict(
            "This session is being closed: make the closing check on "
            f"{' and '.join(bench.to_close)} too."
        )
    elif moment is CheckMoment.OPENING:
        if taken.block_code in bench.opened_on:
            raise Conflict("This session has its opening check already; it is ready for readings.")
        if queries.is_used(session, bench):
            raise Conflict(
                "A further opening check comes before the first reading. Close this session and "
                "open a new one with all its standards."
            )


def _refuse_block(
    session: Session,
    bench: BenchAtWork,
    block: ReferenceBlock,
    taken: CheckTaken,
    *,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Pass if the block fits the tester, may be used, and is one that the session wants."""
    says = why_not_fitting(session, bench, block, len(taken.readings), at=at, zone=zone)
    if says is None and taken.moment is CheckMoment.OPENING:
        says = _why_no_help(session, bench, block, at=at, zone=zone)
    elif says is None:
        wanted = bench.to_close if taken.moment is CheckMoment.CLOSING else bench.opened_on
        if block.code not in wanted and not _may_stand_in(
            session, bench, wanted, by, at=at, zone=zone
        ):
            says = (
                f"This session was opened on {' and '.join(bench.opened_on)}: make the "
                f"{taken.moment.value} check on {' or '.join(wanted)}. If a block cannot be used "
                "any more, a supervisor makes the closing check on another one."
            )
    if says is not None:
        raise Refusal(says, fields={"block": says})


def why_not_fitting(
    session: Session,
    bench: BenchAtWork,
    block: ReferenceBlock,
    indents: int,
    *,
    at: datetime,
    zone: tzinfo,
) -> str | None:
    """Why the block cannot be checked with the tester now, as a sentence; None where it can."""
    if (block.quantity, block.unit) != (bench.quantity, bench.unit):
        return (
            f"Reference block {block.code} is for {block.quantity} in {block.unit}; {bench.tester} "
            f"reads {bench.quantity} in {bench.unit}. Take a block of that."
        )
    if block.expires_on < day_of(at, zone):
        return (
            f"The certificate of reference block {block.code} ended on {block.expires_on}. Take "
            "another block."
        )
    if block.id not in equipment.accepted_blocks(session, [block.id]):
        return (
            f"No second person has accepted the certificate of reference block {block.code}. Take "
            "another block, or have it reviewed first."
        )
    used = queries.indents_used(session, [block.id])
    left = indents_left_of(block.indents_most, used.get(block.id, 0))
    if left is not None and left < indents:
        room = {0: "no room for indents", 1: "room for 1 indent only"}.get(
            left, f"room for {left} indents only"
        )
        return f"Reference block {block.code} has {room}. Take another block."
    return None


def _may_stand_in(
    session: Session,
    bench: BenchAtWork,
    wanted: tuple[str, ...],
    by: Actor,
    *,
    at: datetime,
    zone: tzinfo,
) -> bool:
    """Whether a block that was not in the opening may be checked in the place of one that was.

    A supervisor may say so, and it goes without saying where one of the blocks is out of date or
    has no room for a check, so that a session can always be closed.
    """
    if Role.SUPERVISOR.value in by.roles:
        return True
    wanted_blocks = [equipment.block(session, code) for code in wanted]
    return any(
        why_not_fitting(session, bench, block, CHECK_READINGS[bench.quantity], at=at, zone=zone)
        for block in wanted_blocks
    )


def _why_no_help(
    session: Session, bench: BenchAtWork, block: ReferenceBlock, *, at: datetime, zone: tzinfo
) -> str | None:
    """Why the block brings the session no nearer to the standards that all waiting coupons want."""
    asked = queries.standards_asked(session, bench, zone=zone)
    if not asked.wanted or asked.without:
        return None
    usable = queries.blocks_for(
        session, quantity=bench.quantity, unit=bench.unit, on=day_of(at, zone)
    )
    opened = [
        Standard(one.block, one.certified)
        for one in bench.checks
        if one.outcome == Outcome.CONFORMS.value
    ]
    return why_no_help(
        asked.wanted,
        Standard(block.code, block.certified_value),
        opened=opened,
        usable=[one.standard for one in usable],
        unit=bench.unit,
    )


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
