"""Whether a paper is in date, and corrections as typed. Pure: days and texts in, values out.

A certificate, survey or test is in date from the day it was made to the day it is due, both
included. The one that counts on a day is the newest made on or before it, even where an older one
would have lasted longer: the newest says how the instrument is.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NoReturn

from app.errors import Refusal

SOON_DAYS = 30
"""A paper this many days or fewer from its due day is said to be due soon. Our own choice."""

THERMOCOUPLE_TYPES = ("K", "N", "T", "J", "E", "R", "S", "B", "C", "A")
"""Letter designations of IEC 60584-1:2013 (from memory)."""

LARGEST_CORRECTION_C = Decimal(10)
"""A larger correction is taken for a slip of the pen, included. Our own choice."""

_MOST_POINTS = 40
_PAIR = 2


class DueState(StrEnum):
    """Where a thing stands with its papers."""

    IN_DATE = "in date"
    DUE_SOON = "due soon"
    OVERDUE = "overdue"
    FAILED = "failed"
    MISSING = "missing"


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


def in_date(done_on: date, due_on: date, *, on: date) -> bool:
    """Whether a paper holds on a day; both its ends are included."""
    return done_on <= on <= due_on


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


def due_by(last_day: date, *, on: date) -> Due:
    """How a thing stands that may be used up to and including ``last_day``."""
    if on > last_day:
        return Due(DueState.OVERDUE, f"overdue since {last_day}", last_day)
    left = (last_day - on).days
    if left > SOON_DAYS:
        return Due(DueState.IN_DATE, f"in date until {last_day}", last_day)
    words = {0: "today is the last day", 1: "one day left"}.get(left, f"{left} days left")
    return Due(DueState.DUE_SOON, f"in date until {last_day}: {words}", last_day)


def worst_due(states: Iterable[Due]) -> Due:
    """The state that stands in the way most; of two alike, the one that is due first."""
    order = [
        DueState.FAILED,
        DueState.MISSING,
        DueState.OVERDUE,
        DueState.DUE_SOON,
        DueState.IN_DATE,
    ]
    return min(states, key=lambda one: (order.index(one.state), one.due_on or date.min))


def corrections_from_lines(typed: str) -> list[list[str]]:
    """Pairs [temperature read, correction to add] in degC, as texts, from one pair a line.

    Empty lines are passed over; the sign of a correction may be left out where it is plus.

    Raises:
        Refusal: a line is no pair of numbers, the temperatures do not rise, or a correction is
            larger than ``LARGEST_CORRECTION_C``; the sentence names the line.
    """
    pairs: list[list[str]] = []
    previous: Decimal | None = None
    for number, line in enumerate(typed.splitlines(), start=1):
        if not line.strip():
            continue
        read, add = _pair(line, number)
        if previous is not None and read <= previous:
            _refuse(
                f"Line {number}: {read} degC does not come after {previous} degC; give the "
                "temperatures in rising order, each once."
            )
        previous = read
        pairs.append([format(read, "f"), format(add, "f")])
    if len(pairs) > _MOST_POINTS:
        _refuse(f"{len(pairs)} pairs are more than a certificate has; give at most {_MOST_POINTS}.")
    return pairs


def _pair(line: str, number: int) -> tuple[Decimal, Decimal]:
    parts = line.split()
    if len(parts) != _PAIR:
        _refuse(
            f"Line {number}: {line.strip()[:40]!r} is not a temperature and a correction; write "
            "both in degC with a space between, such as 150 +0.4."
        )
    read, add = (_figure(part, number) for part in parts)
    if abs(add) > LARGEST_CORRECTION_C:
        _refuse(
            f"Line {number}: a correction of {add} degC is more than {LARGEST_CORRECTION_C} degC; "
            "check the certificate and the decimal point."
        )
    return read, add


def _figure(part: str, number: int) -> Decimal:
    text = part.replace(",", ".").replace("\N{MINUS SIGN}", "-")
    plain = text.removeprefix("-").removeprefix("+").replace(".", "", 1)
    if not (plain.isascii() and plain.isdigit()):
        _refuse(f"Line {number}: {part[:40]!r} is not a number; write it like 150 or -0.4.")
    return Decimal(text)


def _refuse(sentence: str) -> NoReturn:
    raise Refusal(sentence, fields={"corrections": sentence})
