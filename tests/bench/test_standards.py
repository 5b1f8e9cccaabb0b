"""Two standards about the limits, a stated distance apart: which do, and what is said of others."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.bench.rules.bracketing import CLOSING, OPENING, Check
from app.bench.rules.standards import (
    Standard,
    StandardsWanted,
    frames,
    pair_for,
    standards_of,
    standards_wanted,
    why_no_help,
    why_not_framed,
)
from app.database import paper_text
from app.documents.table import load_table
from app.judging.units import Quantity
from tests.makers import TABLE_PAPER

ENTRY = load_table(paper_text(TABLE_PAPER)).entries[0]
CONDUCTIVITY = next(one for one in ENTRY.criteria if one.quantity is Quantity.CONDUCTIVITY)
WANTED = StandardsWanted(Decimal("37.0"), Decimal("41.0"), Decimal(8), "%IACS")
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
USABLE = [Standard("S-29", Decimal("29.2")), Standard("S-39", Decimal("38.9"))]
USABLE += [Standard("S-42", Decimal("41.8"))]


def _figures(*texts: str) -> list[Decimal]:
    return [Decimal(text) for text in texts]


@pytest.mark.parametrize(
    ("certified", "met"),
    [
        (("29.2", "41.8"), True),
        (("37.0", "45.0"), True),  # both ends and the distance included
        (("33.0", "41.0"), True),
        (("37.1", "46.0"), False),  # not below every limit
        (("29.2", "40.9"), False),  # not above every limit
        (("36.0", "43.9"), False),  # too close together
        (("29.2",), False),
        ((), False),
        (("38.9", "29.2", "41.8"), True),
    ],
)
def test_two_standards_lie_about_the_limits_and_far_enough_apart(certified, met) -> None:
    assert frames(WANTED, _figures(*certified), "%IACS") is met


def test_standards_in_the_other_unit_are_converted_exactly() -> None:
    # 37.0 and 41.0 %IACS are 21.46 and 23.78 MS/m, 8 %IACS are 4.64 MS/m.
    assert frames(WANTED, _figures("21.46", "26.10"), "MS/m")
    assert not frames(WANTED, _figures("21.47", "26.11"), "MS/m")
    assert not frames(WANTED, _figures("21.46", "26.09"), "MS/m")
    assert not frames(WANTED, _figures("29.2", "41.8"), "HRB")


@given(st.lists(st.decimals(20, 60, places=1), max_size=5))
def test_a_pair_is_found_exactly_where_the_standards_frame(values: list[Decimal]) -> None:
    usable = [Standard(f"S-{number}", value) for number, value in enumerate(values)]
    found = pair_for(WANTED, usable, "%IACS", with_one=None)
    assert (found is not None) == frames(WANTED, values, "%IACS")
    if found is not None:
        low, high = sorted(one.value for one in found)
        assert low <= WANTED.lowest
        assert high >= WANTED.highest
        assert high - low >= WANTED.apart


def test_a_table_that_says_nothing_of_standards_wants_none() -> None:
    assert standards_of(CONDUCTIVITY) is None
    assert standards_wanted(ENTRY, Quantity.CONDUCTIVITY, "%IACS") == ()
    assert standards_wanted(None, Quantity.CONDUCTIVITY, "%IACS") == ()


def test_what_is_wanted_reaches_from_the_lowest_limit_to_the_highest_of_all_zones() -> None:
    asks = replace(CONDUCTIVITY, standards_apart=Decimal(8))
    entry = replace(ENTRY, criteria=(asks,))
    # Lowest and highest figure of the zones.
    wanted = StandardsWanted(Decimal("36.9"), Decimal("42.1"), Decimal(8), "%IACS")
    assert standards_wanted(entry, Quantity.CONDUCTIVITY, "MS/m") == (wanted,)
    assert standards_wanted(entry, Quantity.HARDNESS, "HRB") == ()


def _session(*said: tuple[str, str, str]) -> list[Check]:
    return [
        Check(
            moment,
            conforms=True,
            at=START + timedelta(hours=number),
            block=block,
            certified=Decimal(certified),
        )
        for number, (moment, block, certified) in enumerate(said)
    ]


def test_the_opening_must_frame_and_the_close_too_once_it_is_made() -> None:
    low, high = ("S-29", "29.2"), ("S-42", "41.8")
    assert "opening checks" in (why_not_framed(WANTED, _session((OPENING, *low)), "%IACS") or "")
    opened = [(OPENING, *low), (OPENING, *high)]
    assert why_not_framed(WANTED, _session(*opened), "%IACS") is None
    closed = _session(*opened, (CLOSING, *low), (CLOSING, *high))
    assert why_not_framed(WANTED, closed, "%IACS") is None
    stand_in = _session(*opened, (CLOSING, *low), (CLOSING, "S-39", "38.9"))
    assert "closing checks" in (why_not_framed(WANTED, stand_in, "%IACS") or "")


def test_who_measures_blind_is_told_no_limit() -> None:
    checks = _session((OPENING, "S-29", "29.2"))
    assert "41.0" in (why_not_framed(WANTED, checks, "%IACS") or "")
    blind = why_not_framed(WANTED, checks, "%IACS", blind=True) or ""
    assert "about the table's limits" in blind
    assert "37.0" not in blind
    assert "41.0" not in blind


def _no_help(chosen: Standard, *opened: Standard, usable: list[Standard] = USABLE) -> str | None:
    return why_no_help([WANTED], chosen, opened=opened, usable=usable, unit="%IACS")


def test_a_standard_that_is_no_half_of_a_pair_is_refused_with_the_pair_that_would_do() -> None:
    low, middle, high = USABLE
    assert _no_help(low) is None
    assert _no_help(high) is None
    assert _no_help(middle) == (
        "S-39 does not lie about the limits of the coupons that wait, as their table asks. Take "
        "S-29 and S-42."
    )
    assert _no_help(high, low) is None
    assert _no_help(middle, low) == (
        "S-29 and S-39 do not lie about the limits of the coupons that wait, as their table asks. "
        "Take S-29 and S-42."
    )


def test_nothing_is_refused_where_no_pair_would_do_or_nothing_is_wanted_any_more() -> None:
    low, middle, high = USABLE
    assert _no_help(middle, usable=[low, middle]) is None
    assert _no_help(middle, low, high) is None
    assert why_no_help([], middle, opened=[], usable=USABLE, unit="%IACS") is None
