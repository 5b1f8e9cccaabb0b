"""Guarded decisions and the probability behind them against printed figures."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.verdict import Outcome
from app.judging.witness.uncertainty import (
    judge_guarded_maximum,
    judge_guarded_minimum,
    probability_of_conformity,
)

LIMIT = Fraction(10)
U = Fraction("0.2")


@pytest.mark.parametrize(
    ("share", "printed"), [("0.83", 0.05), ("1", 0.025), ("1.5", 0.0016), ("3", 1e-6)]
)
def test_ilac_g8_2019_table_1_risk_of_guard_bands(share: str, printed: float) -> None:
    """ILAC-G8:09/2019, table 1, as quoted on a calibration firm's page (seen): a result at the
    limit less w = 0.83 U, U, 1.5 U, 3 U has a risk of less than 5 %, 2.5 %, 0.16 %, 1 ppm.
    """
    at_the_guard = LIMIT - Fraction(share) * U
    assert 1 - probability_of_conformity(at_the_guard, U, None, LIMIT) < printed


def test_ilac_g8_2019_simple_acceptance_at_the_limit_is_an_even_chance() -> None:
    """The same table (from memory): w = 0, a risk of up to 50 %."""
    assert probability_of_conformity(LIMIT, U, None, LIMIT) == 0.5


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        ("9.8", Outcome.CONFORMS),
        ("9.81", Outcome.NOT_PROVEN),
        ("10", Outcome.NOT_PROVEN),
        ("10.01", Outcome.DOES_NOT_CONFORM),
    ],
)
def test_example_of_10_plus_minus_1_with_u_of_0_2(value: str, outcome: Outcome) -> None:
    """The page's figures, U = 0.2, with w = U (ILAC-G8) at a limit of 10 and mirrored."""
    assert judge_guarded_maximum(Fraction(value), Decimal(10), U**2) is outcome
    mirrored = 2 * LIMIT - Fraction(value)
    assert judge_guarded_minimum(mirrored, Decimal(10), U**2) is outcome


def test_jcgm_106_speed_law_guard_band_of_7_km_per_h_from_memory() -> None:
    """JCGM 106:2012, 8.3.3 (from memory): limit 100 km/h, u = 2 %: at 107 km/h the speed is above
    the limit with 99.9 %, at 106 km/h it is not.
    """
    for measured, proven in ((107, True), (106, False)):
        expanded = Fraction(4, 100) * measured
        chance = probability_of_conformity(Fraction(measured), expanded, Fraction(100), None)
        assert (chance >= 0.999) is proven


def test_jcgm_106_guard_band_of_u_leaves_2_3_percent_from_memory() -> None:
    """JCGM 106:2012, 8.3.2 (from memory): with g = U = 2 u the risk is at most 2.3 %."""
    chance = probability_of_conformity(LIMIT - U, U, None, LIMIT)
    assert 1 - chance == pytest.approx(0.0228, abs=5e-5)
