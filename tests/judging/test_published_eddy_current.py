"""Depth of penetration and the rules of the eddy-current method against printed figures."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.witness.eddy_current import (
    standard_depth_mm,
    temperatures_too_far_apart,
    too_thin,
)

SIGMA_32_PERCENT = Fraction("18.56")
FACTOR = Decimal("2.6")


def test_mil_std_1537c_3_7_2_metric_constant_656_5() -> None:
    """MIL-STD-1537C 3.7.2: depth (mm) = 656.5 / sqrt(f * %IACS), which is 0.66 % low."""
    printed = Decimal("656.5") / (Decimal(60_000) * 32).sqrt()
    assert abs(standard_depth_mm(SIGMA_32_PERCENT, Decimal(60)) / printed - 1) < Decimal("0.0067")


def test_conductivity_meter_manual_6_3_constant_503() -> None:
    """A conductivity meter's manual, 6.3: depth (mm) = 503 / sqrt(f * MS/m)."""
    printed = Decimal(503) / (Decimal(60_000) * Decimal("18.56")).sqrt()
    assert abs(standard_depth_mm(SIGMA_32_PERCENT, Decimal(60)) / printed - 1) < Decimal("0.001")


def test_mil_std_1537c_4_4_3_example_1_sheet_of_0_050_inch_is_thick_enough() -> None:
    """MIL-STD-1537C 4.4.3, example 1: 60 kHz, 32 %IACS, least thickness 0.050 in (1.27 mm)."""
    reason, _ = too_thin(Decimal("1.27"), SIGMA_32_PERCENT, Decimal(60), FACTOR)
    assert reason is None


def test_mil_std_1537c_4_4_3_example_1_sheet_of_0_040_inch_is_too_thin() -> None:
    """MIL-STD-1537C 4.4.3, example 1: 0.040 in (1.016 mm) must be stacked."""
    reason, _ = too_thin(Decimal("1.016"), SIGMA_32_PERCENT, Decimal(60), FACTOR)
    assert reason is not None


@pytest.mark.parametrize(
    ("percent", "kilohertz", "depth"),
    [(30, 60, "0.4926"), (40, 60, "0.4266"), (32, 120, "0.3372"), (32, 480, "0.1686")],
)
def test_depths_from_the_definition_as_computed_by_others_from_memory(
    percent: int, kilohertz: int, depth: str
) -> None:
    """1 / sqrt(pi f mu sigma) with 100 %IACS = 58 MS/m (definition, from memory)."""
    computed = standard_depth_mm(percent * Fraction("0.58"), Decimal(kilohertz))
    assert round(computed, 4) == Decimal(depth)


def test_mil_std_1537c_5_1_2_three_degrees_apart_still_counts() -> None:
    """MIL-STD-1537C 5.1.2: coupon and reference within 3 degC of each other."""
    assert temperatures_too_far_apart(Decimal("23.0"), Decimal("20.0")) is None
    assert temperatures_too_far_apart(Decimal("17.0"), Decimal("20.0")) is None
    assert temperatures_too_far_apart(Decimal("23.1"), Decimal("20.0")) is not None
