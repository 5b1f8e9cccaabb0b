"""What to do, in which order, about a conductivity that does not conform. Pure.

First the meter is checked again, then the hardness is measured, only then is anything decided.
Source: MIL-STD-1537C, 5.1.2 (quoted from an extract); the judging rules, 3.5.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from enum import StrEnum

from app.bench.rules.bracketing import not_checked_after
from app.bench.rules.coupon_file import CouponFile, ReadingFile, still_needed, why_not_counted
from app.bench.rules.verdict import Judged, failing
from app.judging.units import Quantity
from app.judging.witness.coupons import all_criteria


class Step(StrEnum):
    """The moves, in their order."""

    CHECK_METER = "check the meter again"
    MEASURE_HARDNESS = "measure the hardness"
    DECIDE = "decide"


@dataclass(frozen=True, slots=True)
class Move:
    """One move: whether it is done, whether it comes next, and why, as sentences.

    ``session_id`` is the session whose meter is to be checked, for the first move while it is open.
    """

    step: Step
    done: bool
    is_next: bool
    why: str
    session_id: int | None = None


def moves(file: CouponFile, judged: Judged, zone: tzinfo) -> tuple[Move, ...]:
    """The moves for a coupon, in order; none where its conductivity does not speak against it.

    ``judged`` is the coupon's verdict; what counts is its first test. The first move that is not
    done comes next.
    """
    if Quantity.CONDUCTIVITY not in failing(judged.first):
        return ()
    meter_done, meter_why, session_id = _meter(file, zone)
    hardness_done, hardness_why = _hardness(file, judged, zone)
    decided = file.retest is not None
    made = (
        (Step.CHECK_METER, meter_done, meter_why, session_id),
        (Step.MEASURE_HARDNESS, hardness_done, hardness_why, None),
        (Step.DECIDE, decided, _deciding(file, judged), None),
    )
    first_open = next((step for step, done, *_ in made if not done), None)
    return tuple(
        Move(step, done, step is first_open, why, number) for step, done, why, number in made
    )


def why_not_decided_yet(made: Sequence[Move]) -> str | None:
    """The sentence that refuses a decision while a move before it is open; None where none is."""
    for move in made:
        if move.step is not Step.DECIDE and not move.done:
            return f"Not yet: {move.why}"
    return None


def next_move(made: Sequence[Move]) -> Move | None:
    """The move that comes next, or None where all are done."""
    return next((move for move in made if move.is_next), None)


def _meter(file: CouponFile, zone: tzinfo) -> tuple[bool, str, int | None]:
    """Whether each meter that took the readings was checked after them, and where it was not."""
    taken = [
        (one, one.session_id)
        for one in file.readings
        if one.quantity is Quantity.CONDUCTIVITY and one.session_id is not None
        if why_not_counted(one, file, zone)[0] is None and not _is_of_a_set(one, file)
    ]
    for one, session_id in taken:
        bench = file.sessions[session_id]
        unchecked = not_checked_after(one.taken_at, bench.checks)
        if unchecked:
            on = " and ".join(block for block in unchecked if block) or "its reference standard"
            why = (
                f"Check {bench.tester} again on {on}: a meter that reads wrongly fails good metal."
            )
            return False, why, session_id
    if not taken:
        return True, "The conductivity is a laboratory's; its report answers for the meter.", None
    testers = dict.fromkeys(file.sessions[session_id].tester for _, session_id in taken)
    says = f"{' and '.join(testers)} was checked again after the readings and reads rightly."
    return True, says, None


def _is_of_a_set(reading: ReadingFile, file: CouponFile) -> bool:
    """Whether a reading belongs to a further set of the coupon's own retest."""
    return file.retest is not None and reading.retest_id == file.retest.id


def _hardness(file: CouponFile, judged: Judged, zone: tzinfo) -> tuple[bool, str]:
    """Whether the hardness that the table asks for is measured."""
    asked = [] if judged.entry is None else list(all_criteria(judged.entry.criteria))
    hard = [one for one in asked if one.quantity is Quantity.HARDNESS]
    if not hard:
        return True, "The table asks for no hardness of this coupon."
    for one in hard:
        missing = still_needed(file, zone, quantity=one.quantity, unit=one.unit)
        if missing:
            why = (
                f"Measure the hardness of {file.code} ({missing} in {one.unit} to take): with the "
                "conductivity it tells what became of the metal."
            )
            return False, why
    return True, "Its hardness is measured."


def _deciding(file: CouponFile, judged: Judged) -> str:
    if file.retest is not None:
        return "The table's retest is open; what it comes to decides."
    if judged.entry is not None and judged.entry.retest is not None:
        return (
            "Decide: a supervisor opens the retest that the table permits, or the panel goes to "
            "its disposition."
        )
    return "Decide: the table permits no retest, so the panel goes to a supervisor's disposition."
