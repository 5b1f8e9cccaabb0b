"""Whether a paper is in date, and corrections as typed."""

from datetime import date
from decimal import Decimal

import pytest

from app.equipment.rules import (
    THERMOCOUPLE_TYPES,
    DatedPaper,
    DueState,
    corrections_from_lines,
    due,
    due_by,
    governing,
    worst_due,
)
from app.errors import Refusal

MARCH, MAY = date(2026, 3, 1), date(2026, 5, 31)


@pytest.mark.parametrize(
    ("on", "holds"),
    [
        pytest.param(date(2026, 2, 28), False, id="the-day-before-it-was-done"),
        pytest.param(MARCH, True, id="the-day-it-was-done"),
        pytest.param(MAY, True, id="its-last-day"),
        pytest.param(date(2026, 6, 1), False, id="the-day-after"),
    ],
)
def test_a_paper_holds_on_both_its_days(on: date, *, holds: bool) -> None:
    assert due([DatedPaper(MARCH, MAY)], on=on).is_in_date is holds


def test_the_newest_paper_made_by_that_day_counts_even_where_an_older_one_lasts_longer() -> None:
    older, newer = DatedPaper(date(2025, 1, 1), date(2027, 1, 1)), DatedPaper(MARCH, MAY)
    assert governing([newer, older], on=date(2026, 4, 1)) == newer
    assert governing([newer, older], on=date(2026, 2, 1)) == older
    assert due([newer, older], on=date(2026, 6, 1)).state is DueState.OVERDUE


def test_of_two_papers_of_one_day_the_one_entered_last_counts() -> None:
    failed, passed = DatedPaper(MARCH, MAY, passed=False), DatedPaper(MARCH, MAY)
    assert due([failed, passed], on=MARCH).state is DueState.FAILED
    assert due([passed, failed], on=MARCH).is_in_date


def test_a_paper_still_to_come_proves_nothing() -> None:
    state = due([DatedPaper(MARCH, MAY)], on=date(2026, 2, 1))
    assert state.state is DueState.MISSING
    assert not state.is_in_date


@pytest.mark.parametrize(
    ("on", "state", "words"),
    [
        (date(2026, 4, 30), DueState.IN_DATE, "in date until 2026-05-31"),
        (date(2026, 5, 1), DueState.DUE_SOON, "in date until 2026-05-31: 30 days left"),
        (date(2026, 5, 30), DueState.DUE_SOON, "in date until 2026-05-31: one day left"),
        (MAY, DueState.DUE_SOON, "in date until 2026-05-31: today is the last day"),
        (date(2026, 6, 1), DueState.OVERDUE, "overdue since 2026-05-31"),
    ],
)
def test_a_due_day_is_said_in_words(on: date, state: DueState, words: str) -> None:
    assert (due_by(MAY, on=on).state, due_by(MAY, on=on).words) == (state, words)


def test_the_worst_paper_speaks_for_the_furnace() -> None:
    on = date(2026, 6, 1)
    failed = due([DatedPaper(MARCH, MAY, passed=False)], on=on)
    states = [due_by(date(2027, 1, 1), on=on), due_by(MAY, on=on), due([], on=on), failed]
    assert worst_due(states) is failed
    assert worst_due(states[:3]).state is DueState.MISSING
    assert worst_due(states[:2]).state is DueState.OVERDUE


def test_corrections_keep_their_digits_and_pass_over_empty_lines() -> None:
    typed = "100 -0.10\n\n 150   +0,4 \n160.0 0.6\n170 \N{MINUS SIGN}1\n"
    assert corrections_from_lines(typed) == [
        ["100", "-0.10"],
        ["150", "0.4"],
        ["160.0", "0.6"],
        ["170", "-1"],
    ]
    assert corrections_from_lines(" \n") == []


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("150", "Line 1: '150' is not a temperature and a correction"),
        ("100 0.1\n150 +0.4 +0.6", "Line 2"),
        ("150 x", "Line 1: 'x' is not a number"),
        ("150 1e1", "is not a number"),
        ("150 nan", "is not a number"),
        ("100 0.1\n100 0.2", "Line 2: 100 degC does not come after 100 degC"),
        ("160 0.1\n150 0.2", "rising order"),
        ("150 +40", "a correction of 40 degC is more than 10 degC"),
        ("\n".join(f"{step} 0" for step in range(41)), "41 pairs"),
    ],
)
def test_a_line_that_is_no_correction_is_named(typed: str, says: str) -> None:
    with pytest.raises(Refusal) as refused:
        corrections_from_lines(typed)
    assert says in refused.value.sentence
    assert refused.value.fields == {"corrections": refused.value.sentence}


def test_a_correction_of_exactly_the_largest_is_taken() -> None:
    assert corrections_from_lines("150 -10") == [["150", "-10"]]
    assert Decimal(corrections_from_lines("150 10.0")[0][1]) == 10


def test_iec_60584_1_thermocouple_letters() -> None:
    """IEC 60584-1:2013, its letter designations (from memory)."""
    assert set(THERMOCOUPLE_TYPES) == set("RSBJTEKNCA")
