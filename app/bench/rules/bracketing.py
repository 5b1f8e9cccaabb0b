"""Where a bench session stands, and which of its readings its checks prove. Pure.

A session may be framed by several reference blocks: each is checked at its opening, and each again
at its close. Source: the judging rules, 3.2 and 3.4.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from decimal import Decimal
from enum import StrEnum

from app.equipment.rules import DatedPaper, due

OPENING, INTERIM, CLOSING = "opening", "interim", "closing"
CHECK_READINGS = {"hardness": 2, "conductivity": 1}
"""Fewest readings of a check. Hardness: ASTM E18, daily verification, at least two tests (from
memory); conductivity: common practice."""


@dataclass(frozen=True, slots=True)
class Check:
    """A check on a reference block: when in the session, and whether the tester read it rightly.

    ``block`` is the block's identity, ``certified`` its value in the tester's unit.
    """

    moment: str
    conforms: bool
    at: datetime
    block: str = ""
    certified: Decimal | None = None


class Standing(StrEnum):
    """Where a session stands. Only an open one takes readings."""

    AWAITING_OPENING = "awaiting its opening check"
    OPEN = "open"
    CLOSING = "closing: a block is still to be checked"
    CLOSED = "closed"
    FAILED = "ended by a failed check"


def session_standing(checks: Sequence[Check]) -> Standing:
    """Where the session stands after its checks, given in the order made.

    It is open once the latest opening check on every block conforms, and closed once every block
    of its opening has a conforming closing check.
    """
    if checks and takes_out_of_use(checks):
        return Standing.FAILED
    opening = [check for check in checks if check.moment == OPENING]
    if not opening or not all(check.conforms for check in _latest_by_block(opening)):
        return Standing.AWAITING_OPENING
    if not any(check.moment == CLOSING for check in checks):
        return Standing.OPEN
    return Standing.CLOSING if still_to_close(checks) else Standing.CLOSED


def takes_out_of_use(checks: Sequence[Check]) -> bool:
    """Whether the last check, which must be given, takes its tester out of use.

    A failed opening check may be tried again at once, as the block may have been set down badly;
    a second one in a row, on the same block or on any, may not. Any other failed check does.
    """
    *before, last = checks
    if last.conforms:
        return False
    if last.moment != OPENING:
        return True
    on_this_block = [check for check in before if check.block == last.block]
    return any(several and _failed_opening(several[-1]) for several in (before, on_this_block))


def _failed_opening(check: Check) -> bool:
    return check.moment == OPENING and not check.conforms


def opening_blocks(checks: Iterable[Check]) -> tuple[str, ...]:
    """The blocks of the opening checks, in the order first checked."""
    return tuple(dict.fromkeys(check.block for check in checks if check.moment == OPENING))


def still_to_close(checks: Sequence[Check]) -> tuple[str, ...]:
    """The blocks of the opening that want a closing check yet.

    A block that was not in the opening stands in for one that was, such as one used up meanwhile.
    """
    closed = {check.block for check in checks if check.moment == CLOSING and check.conforms}
    return _not_among(closed, opening_blocks(checks))


def bracket(taken_at: datetime, checks: Sequence[Check]) -> tuple[str | None, bool]:
    """Why the checks about a reading do not prove it (None where they do), and if provisionally.

    On every block, the last check before it and the first after it must conform; once the session
    has ended, every block of its opening must have been checked after it. It is provisional until
    then. ``checks`` are in the order made.
    """
    before = [check for check in checks if _precedes(check, taken_at)]
    after = [check for check in checks if not _precedes(check, taken_at)]
    if not before or not all(check.conforms for check in _latest_by_block(before)):
        return "no conforming check on a reference block stands before it", False
    failed = [check for check in _latest_by_block(reversed(after)) if not check.conforms]
    if failed:
        first = min(failed, key=lambda check: check.at)
        on_block = f" on {first.block}" if len({check.block for check in checks}) > 1 else ""
        reason = (
            f"the {first.moment} check{on_block} after it failed, so nothing since the last "
            "conforming check is proven; measure again"
        )
        return reason, False
    if session_standing(checks) in {Standing.OPEN, Standing.CLOSING}:
        return None, True
    unchecked = not_checked_after(taken_at, checks)
    if unchecked:
        listed = " and ".join(unchecked)
        return f"the session ended before {listed} was checked again; measure again", False
    return None, False


def not_checked_after(taken_at: datetime, checks: Sequence[Check]) -> tuple[str, ...]:
    """The blocks of the opening without a conforming check after that time.

    A block that was not in the opening, and is checked after, stands in for one that was.
    """
    checked = {check.block for check in checks if check.conforms and not _precedes(check, taken_at)}
    opening = [check for check in checks if _precedes(check, taken_at)]
    return _not_among(checked, opening_blocks(opening))


def _not_among(checked: set[str], blocks: Sequence[str]) -> tuple[str, ...]:
    missing = [block for block in blocks if block not in checked]
    stand_ins = len(checked - set(blocks))
    return tuple(missing[stand_ins:])


def _latest_by_block(checks: Iterable[Check]) -> list[Check]:
    """The last given check on each block."""
    return list({check.block: check for check in checks}.values())


def _precedes(check: Check, taken_at: datetime) -> bool:
    # At one and the same instant an opening check came first and any other came after.
    return check.at < taken_at or (check.at == taken_at and check.moment == OPENING)


def newly_unproven(
    taken: Iterable[tuple[int, datetime]], checks: Sequence[Check]
) -> tuple[int, ...]:
    """The keys of those readings that the last check, and no earlier one, leaves unproven.

    ``taken`` are keys of readings with the times they were taken at.
    """
    return tuple(
        key
        for key, at in taken
        if bracket(at, checks)[0] is not None and bracket(at, checks[:-1])[0] is None
    )


def next_check_due(checks: Sequence[Check], every_min: int | None) -> datetime | None:
    """When the next check of an open session is due; None where its tester asks for none.

    It is so many minutes after the latest check on that block whose latest check lies farthest
    back, of as many blocks as the opening had: each of them is checked again in time.
    """
    if every_min is None or session_standing(checks) is not Standing.OPEN:
        return None
    last = sorted(check.at for check in _latest_by_block(checks))
    return last[-len(opening_blocks(checks))] + timedelta(minutes=every_min)


def checked_on_day(checks: Sequence[Check], *, at: datetime, zone: tzinfo) -> bool:
    """Whether the last conforming check was made on the day of ``at``, in the shop's zone.

    Source: common practice (a tester is checked on each day it is used).
    """
    good = [check for check in checks if check.conforms]
    return bool(good) and day_of(good[-1].at, zone) == day_of(at, zone)


def day_of(at: datetime, zone: tzinfo) -> date:
    """The calendar day of a time in the shop's zone."""
    return at.astimezone(zone).date()


def why_out_of_date(papers: Sequence[DatedPaper], day: date) -> str | None:
    """Why the tester was not in calibration on the day, as a phrase; None where it was.

    ``papers`` are its certificates, newest entry first.
    """
    state = due(papers, on=day)
    if state.is_in_date:
        return None
    return f"the tester was not in calibration on {day} ({state.words})"
