"""Whether a paper is in date. Pure: days in, where a thing stands out.

A certificate, survey or test is in date from the day it was made to the day it is due, both
included. The one that counts on a day is the newest made on or before it, even where an older one
would have lasted longer: the newest says how the instrument is.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

SOON_DAYS = 30
"""A paper this many days or fewer from its due day is said to be due soon. Our own choice."""


class DueState(StrEnum):
    """Where a thing stands with its papers."""

    IN_DATE = "in date"
    DUE_SOON = "due soon"
    OVERDUE = "overdue"
    FAILED = "failed"
    MISSING = "missing"
    WAITING = "waits for review"
    ASKED_FOR = "asked for"
    NOT_PROVEN = "not proven"
    OUT_OF_USE = "out of use"
    USED_UP = "used up"


@dataclass(frozen=True, slots=True)
class DatedPaper:
    """A certificate, survey or test: made on, due on (both included), and whether it passed."""

    done_on: date
    due_on: date
    passed: bool = True


@dataclass(frozen=True, slots=True)
class Due:
    """How a thing stands on a day, with the day in words."""

    state: DueState
    words: str
    due_on: date | None = None

    @property
    def is_in_date(self) -> bool:
        """Whether it may be used on that day."""
        return self.state in {DueState.IN_DATE, DueState.DUE_SOON}


def governing(papers: Iterable[DatedPaper], *, on: date) -> DatedPaper | None:
    """The paper that counts on a day: the newest made on or before it; of two of a day, the first.

    ``papers`` come newest entry first.
    """
    made = [paper for paper in papers if paper.done_on <= on]
    return max(made, key=lambda paper: paper.done_on) if made else None


def due(papers: Sequence[DatedPaper], *, on: date) -> Due:
    """How a thing stands on a day by its papers, which come newest entry first."""
    paper = governing(papers, on=on)
    if paper is None:
        return Due(DueState.MISSING, "no paper on record")
    if not paper.passed:
        return Due(DueState.FAILED, f"failed on {paper.done_on}", paper.due_on)
    return due_by(paper.due_on, on=on)


def due_by(last_day: date, *, on: date, soon_days: int = SOON_DAYS) -> Due:
    """How a thing stands that may be used up to and including ``last_day``.

    It is due soon when ``soon_days`` days or fewer are left.
    """
    if on > last_day:
        return Due(DueState.OVERDUE, f"overdue since {last_day}", last_day)
    left = (last_day - on).days
    if left > soon_days:
        return Due(DueState.IN_DATE, f"in date until {last_day}", last_day)
    words = {0: "today is the last day", 1: "one day left"}.get(left, f"{left} days left")
    return Due(DueState.DUE_SOON, f"in date until {last_day}: {words}", last_day)


def out_of_use() -> Due:
    """How a tester in quarantine stands, whatever its papers say."""
    return Due(DueState.OUT_OF_USE, "out of use")


def worst_due(states: Iterable[Due]) -> Due:
    """The state that stands in the way most; of two alike, the one that is due first."""
    return min(states, key=urgency)


def urgency(one: Due) -> tuple[int, date]:
    """A key that sorts what stands in the way most first; of two alike, the one due first."""
    order = [
        DueState.OUT_OF_USE,
        DueState.FAILED,
        DueState.USED_UP,
        DueState.MISSING,
        DueState.OVERDUE,
        DueState.ASKED_FOR,
        DueState.WAITING,
        DueState.NOT_PROVEN,
        DueState.DUE_SOON,
        DueState.IN_DATE,
    ]
    return order.index(one.state), one.due_on or date.min
