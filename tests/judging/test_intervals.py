"""Due days: hand cases, properties, and an independent reckoning."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from app.errors import Refusal
from app.judging.furnace.intervals import (
    Every,
    MonthEnd,
    Span,
    day_in_zone,
    due_on,
    last_good_day,
)

DAYS = st.dates(date(1990, 1, 1), date(2190, 12, 31))
LAST, NEXT = MonthEnd.LAST_DAY, MonthEnd.NEXT_FIRST


@pytest.mark.parametrize(
    ("done_on", "count", "span", "last", "following"),
    [
        ("2031-01-31", 1, "months", "2031-02-28", "2031-03-01"),
        ("2032-01-31", 1, "months", "2032-02-29", "2032-03-01"),
        ("2032-01-29", 1, "months", "2032-02-29", "2032-02-29"),
        ("2031-01-29", 1, "months", "2031-02-28", "2031-03-01"),
        ("2032-02-29", 12, "months", "2033-02-28", "2033-03-01"),
        ("2032-02-29", 48, "months", "2036-02-29", "2036-02-29"),
        ("2096-02-29", 48, "months", "2100-02-28", "2100-03-01"),  # 2100 is no leap year
        ("2031-02-28", 1, "months", "2031-03-28", "2031-03-28"),  # not the month's last day
        ("2031-12-31", 1, "months", "2032-01-31", "2032-01-31"),
        ("2031-11-30", 3, "months", "2032-02-29", "2032-03-01"),
        ("2031-10-31", 1, "months", "2031-11-30", "2031-12-01"),
        ("2031-12-15", 12, "months", "2032-12-15", "2032-12-15"),
        ("2031-12-30", 2, "days", "2032-01-01", "2032-01-01"),
        ("2032-02-28", 1, "days", "2032-02-29", "2032-02-29"),
        ("2031-02-28", 1, "days", "2031-03-01", "2031-03-01"),
        ("2031-12-29", 1, "weeks", "2032-01-05", "2032-01-05"),
        ("2032-02-23", 1, "weeks", "2032-03-01", "2032-03-01"),
    ],
)
def test_due_days_by_hand(done_on: str, count: int, span: str, last: str, following: str) -> None:
    every = Every(count, Span(span))
    assert due_on(date.fromisoformat(done_on), every, LAST) == date.fromisoformat(last)
    assert due_on(date.fromisoformat(done_on), every, NEXT) == date.fromisoformat(following)


def test_a_weekly_check_is_due_on_the_same_weekday_as_published() -> None:
    """AMS2750E 2.2.25, as quoted in a public forum: the same weekday of the following week."""
    done = date(2031, 3, 4)
    due = due_on(done, Every(1, Span.WEEKS), LAST)
    assert due.weekday() == done.weekday()
    assert (due - done).days == 7


@given(DAYS, st.integers(1, 118))
def test_months_agree_with_an_independent_reckoning(done_on: date, months: int) -> None:
    """python-dateutil's relativedelta clips to the month's last day."""
    every = Every(months, Span.MONTHS)
    clipped = done_on + relativedelta(months=months)
    assert due_on(done_on, every, LAST) == clipped
    lost = clipped.day != done_on.day
    assert due_on(done_on, every, NEXT) == clipped + timedelta(days=1 if lost else 0)


@given(DAYS, st.integers(1, 100), st.sampled_from(Span), st.sampled_from(MonthEnd))
def test_a_due_day_is_later_and_keeps_its_order(
    done_on: date, count: int, span: Span, rule: MonthEnd
) -> None:
    every = Every(count, span)
    due = due_on(done_on, every, rule)
    assert due > done_on
    assert due_on(done_on + timedelta(days=1), every, rule) >= due
    assert due_on(done_on, Every(count + 1, span), rule) > due


@given(DAYS, st.integers(1, 100), st.sampled_from([Span.DAYS, Span.WEEKS]))
def test_days_and_weeks_do_not_know_of_months(done_on: date, count: int, span: Span) -> None:
    days = count * (7 if span is Span.WEEKS else 1)
    for rule in MonthEnd:
        assert (due_on(done_on, Every(count, span), rule) - done_on).days == days


def test_the_due_day_counts_or_not_as_stated() -> None:
    assert last_good_day(date(2032, 3, 1), due_day_counts=True) == date(2032, 3, 1)
    assert last_good_day(date(2032, 3, 1), due_day_counts=False) == date(2032, 2, 29)


@pytest.mark.parametrize(
    ("end", "day"),
    [
        # Rome: 02:00 becomes 03:00 on 30 March 2031, and 03:00 becomes 02:00 on 26 October.
        (datetime(2031, 3, 29, 22, 59, tzinfo=UTC), date(2031, 3, 29)),
        (datetime(2031, 3, 29, 23, 0, tzinfo=UTC), date(2031, 3, 30)),
        (datetime(2031, 3, 30, 21, 59, tzinfo=UTC), date(2031, 3, 30)),
        (datetime(2031, 3, 30, 22, 0, tzinfo=UTC), date(2031, 3, 31)),
        (datetime(2031, 10, 25, 22, 0, tzinfo=UTC), date(2031, 10, 26)),
        (datetime(2031, 10, 26, 22, 59, tzinfo=UTC), date(2031, 10, 26)),
        (datetime(2031, 10, 26, 23, 0, tzinfo=UTC), date(2031, 10, 27)),
    ],
)
def test_the_day_of_a_moment_is_the_shop_s_own(end: datetime, day: date) -> None:
    assert day_in_zone(end, ZoneInfo("Europe/Rome")) == day


def test_a_day_ends_at_midnight_in_the_shop_whatever_day_it_is_elsewhere() -> None:
    zone = timezone(timedelta(hours=-5))
    last_minute = datetime(2031, 6, 2, 4, 59, tzinfo=UTC)
    assert day_in_zone(last_minute, zone) == date(2031, 6, 1)
    assert day_in_zone(last_minute + timedelta(minutes=1), zone) == date(2031, 6, 2)


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(Refusal, match="no time zone"):
        day_in_zone(datetime(2031, 6, 1, 12, 0), UTC)  # noqa: DTZ001 - that is the fault


@pytest.mark.parametrize(("count", "span"), [(0, "days"), (-1, "months"), (4000, "days")])
def test_an_interval_is_between_a_day_and_ten_years(count: int, span: str) -> None:
    with pytest.raises(Refusal, match="between one day and ten years"):
        Every(count, Span(span))


@given(st.integers(0, 20), st.integers(31, 100), st.sampled_from(Span))
def test_the_end_of_the_calendar_is_refused_in_words(left: int, count: int, span: Span) -> None:
    with pytest.raises(Refusal, match="is no day"):
        due_on(date.max - timedelta(days=left), Every(count, span), NEXT)


def test_intervals_are_spoken() -> None:
    assert Every(1, Span.WEEKS).words == "1 week"
    assert Every(3, Span.MONTHS).words == "3 months"
