"""Probability of conformity under a normal model, against printed examples."""

from fractions import Fraction

import pytest

from app.judging.witness.uncertainty import probability_of_conformity


def test_jcgm_106_clause_7_zener_voltage_from_memory() -> None:
    """JCGM 106:2012, 7: limit -5.40 V, estimate -5.47 V, u = 0.05 V: 0.92 (from memory)."""
    chance = probability_of_conformity(Fraction("-5.47"), Fraction("0.10"), None, Fraction("-5.40"))
    assert round(chance, 2) == 0.92


def test_jcgm_106_7_4_two_sided_example() -> None:
    """JCGM 106:2012, 7.4 as quoted on metrologyrules.com: 13.6, u = 1.8, 12.5 to 16.3.

    The probability 0.66 is from memory.
    """
    chance = probability_of_conformity(
        Fraction("13.6"), Fraction("3.6"), Fraction("12.5"), Fraction("16.3")
    )
    assert round(chance, 2) == 0.66


@pytest.mark.parametrize(("value", "outside"), [("10", 0.01242), ("10.5", 0.10574)])
def test_public_uncertainty_library_specific_risk(value: str, outside: float) -> None:
    """A public uncertainty library's own tests: limits 9 and 11, standard deviation 0.4."""
    chance = probability_of_conformity(Fraction(value), Fraction("0.8"), Fraction(9), Fraction(11))
    assert 1 - chance == pytest.approx(outside, abs=5e-6)


def test_iso_14253_1_one_sided_guard_of_1_65_u_is_95_percent_from_memory() -> None:
    """ISO 14253-1:2017: a guard band of 1.65 u proves conformity at 95 % (from memory)."""
    chance = probability_of_conformity(Fraction("1.65"), Fraction(2), Fraction(0), None)
    assert chance == pytest.approx(0.95, abs=0.001)


def test_without_uncertainty_the_probability_is_one_or_nothing() -> None:
    assert probability_of_conformity(Fraction(5), Fraction(0), Fraction(5), Fraction(6)) == 1
    assert probability_of_conformity(Fraction(7), Fraction(0), Fraction(5), Fraction(6)) == 0
