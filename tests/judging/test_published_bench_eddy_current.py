"""Depth of penetration against figures printed by a maker of eddy-current sensors."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.witness.eddy_current import standard_depth_mm, too_thin

# Lion Precision TechNote LT02-0011 (seen): depth = 50.3 * sqrt(rho / f) mm with rho in
# microohm cm, and a least thickness of three depths for each metal.


@pytest.mark.parametrize(
    ("resistivity", "megahertz", "printed_mm"),
    [("1.59", "1", "0.19"), ("1.59", "0.5", "0.27"), ("1.71", "1", "0.2")],
)
def test_lion_precision_lt02_0011_three_depths(
    resistivity: str, megahertz: str, printed_mm: str
) -> None:
    conductivity = 100 / Fraction(resistivity)
    depth = standard_depth_mm(conductivity, Decimal(megahertz) * 1000)
    place = Decimal((0, (1,), Decimal(printed_mm).as_tuple().exponent))
    assert (3 * depth).quantize(place) == Decimal(printed_mm)


def test_lion_precision_lt02_0011_constant_50_3() -> None:
    depth = standard_depth_mm(Fraction(100), Decimal("0.001"))
    assert depth.quantize(Decimal("0.1")) == Decimal("50.3")


def test_lion_precision_lt02_0011_silver_of_0_18_mm_is_too_thin_for_three_depths() -> None:
    silver = 100 / Fraction("1.59")
    thin, _ = too_thin(Decimal("0.18"), silver, Decimal(1000), Decimal(3))
    enough, _ = too_thin(Decimal("0.20"), silver, Decimal(1000), Decimal(3))
    assert thin is not None
    assert enough is None
