"""When a check is due again: calendar rules over whole days. Pure.

Nothing here reads a clock or knows a time zone of its own: the day of a moment is its day in the
shop's zone, and every rule counts calendar days, so that a day of 23 or 25 hours is one day.

Source: the judging rules, 4.5.2.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from enum import StrEnum

from app.errors import Refusal

DAYS_OF_WEEK = 7
MONTHS_OF_YEAR = 12
MOST_DAYS = 3660
"""The longest interval, ten years of days with room; a longer one is a slip of the pen."""


class Span(StrEnum):
    """What an interval is counted in."""

    DAYS = "days"
    WEEKS = "weeks"
    MONTHS = "months"


class MonthEnd(StrEnum):
    """What a count of months comes to where the month it ends in has no such day."""

    LAST_DAY = "last day of the month"
    """31 January and one month: 28 February, or 29 in a leap year."""

    NEXT_FIRST = "first day of the next month"
    """31 January and one month: 1 March."""


@dataclass(frozen=True, slots=True)
class Every:
    """An interval: at least one day, week or month, and at most ``MOST_DAYS`` days in all.

    Raises:
        Refusal: the count is below 1 or the interval is longer than ten years.
    """

    count: int
    span: Span

    def __post_init__(self) -> None:
        longest = {Span.DAYS: 1, Span.WEEKS: DAYS_OF_WEEK, Span.MONTHS: 31}[self.span]
        if not 1 <= self.count <= MOST_DAYS // longest:
            raise Refusal(
                f"An interval of {self.count} {self.span} is not between one day and ten years; "
                "correct its count."
            )

    @property
    def words(self) -> str:
        """The interval as spoken: "3 months", "1 week"."""
        return f"{self.count} {self.span if self.count > 1 else self.span.removesuffix('s')}"


def due_on(done_on: date, every: Every, rule: MonthEnd) -> date:
    """The day on which something done on a day is due again.

    Days are counted on; a week is seven days, so a weekly check is due on the same weekday; months
    keep the day's number, and ``rule`` says what happens where the month has no such day.

    Raises:
        Refusal: the due day lies beyond the calendar.
    """
    try:
        if every.span is Span.MONTHS:
            return _months_on(done_on, every.count, rule)
        days = every.count * (DAYS_OF_WEEK if every.span is Span.WEEKS else 1)
        return done_on + timedelta(days=days)
    except (OverflowError, ValueError) as error:
        raise Refusal(f"{every.words} after {done_on} is no day; correct the date.") from error


def last_good_day(due: date, *, due_day_counts: bool) -> date:
    """The last day on which what is due on a day still holds: that day itself, or the one before.

    Raises:
        Refusal: there is no day before.
    """
    if due_day_counts:
        return due
    if due == date.min:
        raise Refusal(f"There is no day before {due}; correct the date.")
    return due - timedelta(days=1)


def day_in_zone(moment: datetime, zone: tzinfo) -> date:
    """The day that the shop's calendar shows at a moment.

    Raises:
        Refusal: the moment says nothing of its own zone.
    """
    if moment.tzinfo is None:
        raise Refusal(f"{moment} has no time zone; state one.")
    return moment.astimezone(zone).date()


def _months_on(done_on: date, months: int, rule: MonthEnd) -> date:
    years, before = divmod(done_on.month - 1 + months, MONTHS_OF_YEAR)
    year, month = done_on.year + years, before + 1
    if year > date.max.year:
        raise OverflowError(f"the year {year} is beyond the calendar")
    days = monthrange(year, month)[1]
    if done_on.day <= days:
        return date(year, month, done_on.day)
    if rule is MonthEnd.LAST_DAY:
        return date(year, month, days)
    return date(year, month, days) + timedelta(days=1)
