"""Ranges, inverses and tolerance classes of thermocouples."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import Refusal
from app.judging.furnace.its90 import REFERENCE_FUNCTIONS
from app.judging.furnace.thermocouples import (
    LETTERS,
    emf_mv,
    highest_c,
    lowest_c,
    temperature_c,
    tolerance_c,
)


@given(st.sampled_from(LETTERS), st.decimals(0, 1, places=6))
def test_solving_gives_back_the_temperature_it_came_from(letter: str, share: Decimal) -> None:
    lower = Decimal(250) if letter == "B" else lowest_c(letter)
    at = lower + share * (highest_c(letter) - lower)
    # Where two polynomials meet they differ by less than 1e-7 mV, so by less than 1e-5 degC.
    assert abs(temperature_c(letter, emf_mv(letter, at)) - at) < Decimal("1e-5")


@pytest.mark.parametrize("letter", LETTERS)
def test_every_function_rises_and_joins(letter: str) -> None:
    at = Decimal(250) if letter == "B" else lowest_c(letter)
    before = emf_mv(letter, at)
    while at + 1 <= highest_c(letter):
        at += 1
        assert emf_mv(letter, at) > before
        before = emf_mv(letter, at)
    for part in REFERENCE_FUNCTIONS[letter][1:]:
        above = emf_mv(letter, part.lower_c + Decimal("1e-12"))
        assert abs(emf_mv(letter, part.lower_c) - above) < Decimal("1e-6")


@pytest.mark.parametrize(
    ("letter", "voltage", "sentence"),
    [
        ("K", "60", "no voltage of a type K thermocouple between -270 and 1372 degC"),
        ("K", "-7", "no voltage of a type K"),
        ("B", "0.2", "no voltage of a type B thermocouple between 250 and 1820 degC"),
        ("Q", "1", "'Q' is no thermocouple type"),
    ],
)
def test_what_no_thermocouple_gives_is_refused(letter: str, voltage: str, sentence: str) -> None:
    with pytest.raises(Refusal, match=sentence):
        temperature_c(letter, Decimal(voltage))


def test_a_temperature_beyond_the_type_is_refused() -> None:
    with pytest.raises(Refusal, match=r"400\.1 degC is outside the range of a type T .* 400 degC"):
        emf_mv("T", Decimal("400.1"))


@pytest.mark.parametrize(
    ("letter", "tolerance_class", "at", "tolerance"),
    [
        ("K", 1, "150", "1.5"),
        ("K", 2, "150", "2.5"),
        ("K", 2, "400", "3"),
        ("T", 1, "150", "0.6"),
        ("T", 2, "120", "1"),
        ("T", 2, "200", "1.5"),
        ("N", 3, "-180", "2.7"),
        ("S", 2, "700", "1.75"),
        ("B", 3, "1000", "5"),
        ("J", 3, "20", None),
        ("T", 1, "360", None),
        ("K", 2, "-41", None),
    ],
)
def test_tolerance_classes_as_quoted(
    letter: str, tolerance_class: int, at: str, tolerance: str | None
) -> None:
    """IEC 60584-1:2013, as quoted in two makers' tables: the greater of degC and share."""
    expected = None if tolerance is None else Decimal(tolerance)
    assert tolerance_c(letter, tolerance_class, Decimal(at)) == expected
