"""Stress and temperature units against printed factors."""

from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import round_to_place
from app.judging.units import celsius, convert


def test_residential_structural_design_guide_appendix_b_one_ksi() -> None:
    """Residential Structural Design Guide, Appendix B: 1 ksi is 6.894757 MPa."""
    megapascal = convert(Decimal(1), "ksi", to="MPa")
    assert round_to_place(megapascal, to=Decimal("0.000001")) == Decimal("6.894757")


def test_one_ksi_follows_from_the_pound_force_and_the_inch_from_memory() -> None:
    """1 lbf = 4.4482216152605 N and 1 in = 25.4 mm exactly (from memory)."""
    exact = 1000 * Fraction("4.4482216152605") / Fraction("25.4") ** 2
    assert abs(convert(Decimal(1), "ksi", to="MPa") - exact) < Fraction("1e-12")


def test_ice_and_steam_points_of_the_fahrenheit_scale_from_memory() -> None:
    assert celsius(Decimal(32)) == 0
    assert celsius(Decimal(212)) == 100
    assert celsius(Decimal(302)) == 150
