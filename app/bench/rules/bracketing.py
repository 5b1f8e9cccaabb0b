"""Where a bench session stands, and which of its readings its checks prove. Pure.

Source: the judging rules, 3.2 and 3.4.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from enum import StrEnum

from app.equipment.rules import DatedPaper, due

OPENING, INTERIM, CLOSING = "opening", "interim", "closing"


@dataclass(frozen=True, slots=True)
class Check:
    """A check on a reference block: when in the session, and whether the tester read it rightly."""

    moment: str
    conforms: bool
    at: datetime


class Standing(StrEnum):
    """Where a session stands. Only an open one takes readings."""

    AWAITING_OPENING = "awaiting its opening check"
    OPEN = "open"
    CLOSED = "closed"
    FAILED = "ended by a failed check"


def session_standing(checks: Sequence[Check]) -> Standing:
    """Where the session stands after its checks, given in the order made.

    A failed opening check may be made again; any other failed check ends the session, so that the
    tester is not used again before the next session's opening check.
    """
    if not checks or (checks[-1].moment == OPENING and not checks[-1].conforms):
        return Standing.AWAITING_OPENING
    if not checks[-1].conforms:
        return Standing.FAILED
    return Standing.CLOSED if checks[-1].moment == CLOSING else Standing.OPEN


def bracket(taken_at: datetime, checks: Sequence[Check]) -> tuple[str | None, bool]:
    """Why the checks about a reading do not prove it (None where they do), and if provisionally.

    The last check before it and the first after it must conform. It is provisional until the
    session has ended. ``checks`` are in the order made.
    """
    before = [check for check in checks if _precedes(check, taken_at)]
    after = checks[len(before) :]
    if not before or not before[-1].conforms:
        return "no conforming check on a reference block stands before it", False
    if after and not after[0].conforms:
        reason = (
            f"the {after[0].moment} check after it failed, so nothing since the last conforming "
            "check is proven; measure again"
        )
        return reason, False
    return None, session_standing(checks) is Standing.OPEN


def _precedes(check: Check, taken_at: datetime) -> bool:
    # At one and the same instant an opening check came first and any other came after.
    return check.at < taken_at or (check.at == taken_at and check.moment == OPENING)


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
