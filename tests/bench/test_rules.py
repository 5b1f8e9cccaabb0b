"""What the bench's rules say, without a database."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.bench.rules.bracketing import (
    CLOSING,
    INTERIM,
    OPENING,
    Check,
    Standing,
    bracket,
    checked_on_day,
    session_standing,
)
from app.bench.rules.plausibility import (
    plausible_check,
    plausible_reading,
    readings_needed,
    why_impossible,
    why_unlikely,
)
from app.database import paper_text
from app.documents.table import load_table
from app.judging.units import UNITS, Quantity
from tests.makers import TABLE_PAPER

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ENTRY = load_table(paper_text(TABLE_PAPER)).entries[0]


def _checks(*said: str) -> list[Check]:
    """Checks an hour apart: "opening", "closing failed" and so on."""
    return [
        Check(words.split()[0], "failed" not in words, START + timedelta(hours=number))
        for number, words in enumerate(said)
    ]


@pytest.mark.parametrize(
    ("said", "standing"),
    [
        ((), Standing.AWAITING_OPENING),
        (("opening failed",), Standing.AWAITING_OPENING),
        (("opening failed", "opening"), Standing.OPEN),
        (("opening",), Standing.OPEN),
        (("opening", "interim"), Standing.OPEN),
        (("opening", "interim failed"), Standing.FAILED),
        (("opening", "closing"), Standing.CLOSED),
        (("opening", "closing failed"), Standing.FAILED),
    ],
)
def test_where_a_session_stands_follows_from_its_last_check(said, standing) -> None:
    assert session_standing(_checks(*said)) is standing


@pytest.mark.parametrize(
    ("said", "hours", "counts", "provisional"),
    [
        ((), 0.5, False, False),
        (("opening",), 0.5, True, True),
        (("opening",), -0.5, False, False),
        (("opening failed",), 0.5, False, False),
        (("opening", "closing"), 0.5, True, False),
        (("opening", "closing failed"), 0.5, False, False),
        (("opening", "interim"), 0.5, True, True),
        (("opening", "interim", "closing failed"), 0.5, True, False),
        (("opening", "interim", "closing failed"), 1.5, False, False),
        (("opening", "interim failed"), 0.5, False, False),
        # At the instant of a check: the opening one came first, the others after.
        (("opening",), 0, True, True),
        (("opening", "closing failed"), 1, False, False),
    ],
)
def test_a_reading_counts_between_two_conforming_checks(said, hours, counts, provisional) -> None:
    reason, is_provisional = bracket(START + timedelta(hours=hours), _checks(*said))
    assert (reason is None, is_provisional) == (counts, provisional)


@given(
    st.lists(st.tuples(st.sampled_from([OPENING, INTERIM, CLOSING]), st.booleans()), max_size=6),
    st.integers(-1, 7),
)
def test_no_reading_counts_finally_beside_a_failed_check(said, half_hours) -> None:
    checks = [Check(m, ok, START + timedelta(hours=n)) for n, (m, ok) in enumerate(said)]
    at = START + timedelta(hours=half_hours, minutes=30)
    reason, provisional = bracket(at, checks)
    before = [check for check in checks if check.at < at]
    after = [check for check in checks if check.at > at]
    if reason is None:
        assert before[-1].conforms
        assert not after or after[0].conforms
        assert after or provisional or session_standing(checks) is not Standing.OPEN
    else:
        assert not provisional


def test_a_check_of_yesterday_in_the_shops_zone_is_not_todays() -> None:
    checks = _checks("opening")
    assert checked_on_day(checks, at=START + timedelta(hours=14, minutes=59), zone=UTC)
    assert not checked_on_day(checks, at=START + timedelta(hours=15), zone=UTC)
    zone = ZoneInfo("Europe/Vienna")
    assert not checked_on_day(checks, at=START + timedelta(hours=14), zone=zone)


def test_bounds_follow_the_limits_and_include_their_ends() -> None:
    bounds = plausible_reading(Quantity.CONDUCTIVITY, "%IACS", ENTRY)
    # Lowest and highest figure of the zones: 36.9 and 42.1; our choice of half and double.
    assert (bounds.least, bounds.most) == (Fraction("18.45"), Fraction("84.2"))
    assert why_impossible(Decimal("18.45"), bounds) is None
    assert why_impossible(Decimal("84.2"), bounds) is None
    assert why_impossible(Decimal("18.44"), bounds) is not None
    assert why_impossible(Decimal("84.3"), bounds) is not None


def test_bounds_are_converted_to_the_testers_unit() -> None:
    bounds = plausible_reading(Quantity.CONDUCTIVITY, "MS/m", ENTRY)
    assert bounds.least == Fraction("18.45") * Fraction(58, 100)
    assert "did you mean 22.6?" in (why_impossible(Decimal("2.26"), bounds) or "")


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_scale_and_unit_has_bounds_without_a_table(quantity: Quantity) -> None:
    for unit in UNITS[quantity]:
        bounds = plausible_reading(quantity, unit, None)
        assert bounds.most >= 64
        assert why_impossible(Decimal(50), bounds) is None
        assert why_impossible(Decimal(int(bounds.most)) + 1, bounds) is not None
        assert (why_impossible(Decimal(0), bounds) is None) is (quantity is Quantity.ELONGATION)


def test_a_rockwell_b_number_is_never_above_130() -> None:
    """From memory of the scale's definition: HRB = 130 - h / 0.002 mm."""
    assert plausible_reading(Quantity.HARDNESS, "HRB", ENTRY).most == 130


@given(st.decimals("0.01", "999", places=2))
def test_a_meant_figure_has_the_same_digits_and_is_usual(value: Decimal) -> None:
    bounds = plausible_reading(Quantity.HARDNESS, "HRB", ENTRY)
    says = why_impossible(value, bounds)
    if says is not None and "did you mean" in says:
        meant = Decimal(says.split("mean ")[1].rstrip("?"))
        assert why_unlikely(meant, bounds) is None
        assert meant.normalize().as_tuple().digits == value.normalize().as_tuple().digits


def test_a_check_reading_ten_permitted_errors_off_is_still_usual() -> None:
    bounds = plausible_check(Decimal("85.0"), Decimal("1.0"), "HRB")
    assert why_unlikely(Decimal("95.0"), bounds) is None
    assert why_unlikely(Decimal("95.1"), bounds) is not None
    assert why_impossible(Decimal("42.5"), bounds) is None
    assert why_impossible(Decimal("42.4"), bounds) is not None


def test_the_entry_says_how_many_readings_it_asks_for() -> None:
    assert readings_needed(ENTRY, Quantity.HARDNESS, "HRB") == 3
    assert readings_needed(ENTRY, Quantity.YIELD_STRENGTH, "ksi") == 1
    assert readings_needed(ENTRY, Quantity.HARDNESS, "HBW 10/500") == 1
    assert readings_needed(None, Quantity.HARDNESS, "HRB") == 1
