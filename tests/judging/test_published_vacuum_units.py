"""Units of vacuum against printed factors."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.errors import Refusal
from app.judging.rounding import round_to_place
from app.judging.units import PASCALS, kilopascals


@pytest.mark.parametrize(
    ("unit", "printed"),
    [
        ("inHg", "3386.389"),
        ("mmHg", "133.3224"),
        ("Torr", "133.3224"),
        ("psi", "6894.757"),
        ("mbar", "100"),
    ],
)
def test_nist_sp_811_appendix_b8(unit: str, printed: str) -> None:
    """NIST SP 811 (2008), Appendix B.8, pascals; seen as quoted in public code and pages."""
    figure = Decimal(printed)
    place = Decimal((0, (1,), figure.as_tuple().exponent))
    assert round_to_place(PASCALS[unit], to=place) == figure


def test_the_conventional_millimetre_of_mercury() -> None:
    """133.322387415 Pa (13.5951 g/cm3, 9.80665 m/s2), as quoted from ISO 80000-4."""
    assert PASCALS["mmHg"] == Fraction(Decimal("133.322387415"))
    assert PASCALS["inHg"] == PASCALS["mmHg"] * Fraction(Decimal("25.4"))


def test_an_atmosphere_is_760_torr_exactly() -> None:
    """1 atm = 101 325 Pa = 760 Torr by definition (NIST SP 811, Appendix B.8)."""
    assert kilopascals(Decimal(760), "Torr") == Fraction(Decimal("101.325"))


def test_us_army_manual_on_bags() -> None:
    """TM 1-1500-204-23-11: 1 inHg = 0.49116 psi, 2.036 inHg = 1 psi, 22 inHg about 10.8 psi."""
    psi_of_inhg = PASCALS["inHg"] / PASCALS["psi"]
    assert round_to_place(psi_of_inhg, to=Decimal("0.0001")) == Decimal("0.4912")
    assert round_to_place(1 / psi_of_inhg, to=Decimal("0.001")) == Decimal("2.036")
    assert round_to_place(22 * psi_of_inhg, to=Decimal("0.1")) == Decimal("10.8")


@pytest.mark.parametrize("unit", ["kPa", "hPa", "mbar", "Pa"])
def test_si_units_are_powers_of_ten(unit: str) -> None:
    pascals = {"kPa": 1000, "hPa": 100, "mbar": 100, "Pa": 1}[unit]
    assert kilopascals(Decimal("70.5"), unit) == Fraction(Decimal("70.5")) * pascals / 1000


def test_another_unit_is_refused_with_the_list() -> None:
    with pytest.raises(Refusal, match="'bar' is no unit of vacuum here; use one of kPa, mbar"):
        kilopascals(Decimal(1), "bar")
