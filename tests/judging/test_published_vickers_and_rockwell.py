"""Vickers and Rockwell numbers from the indentation against printed ones."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.witness.indentation import RockwellIndentation, VickersIndentation, hardness_number

HALF_KGF_IN_NEWTON = Decimal("4.903325")


@pytest.mark.parametrize(
    ("first_mm", "second_mm", "printed"),
    [("0.07492", "0.07401", "167.22"), ("0.07393", "0.07526", "166.62")],
)
def test_virtual_laboratory_iit_kanpur_aluminium_at_half_a_kgf(
    first_mm: str, second_mm: str, printed: str
) -> None:
    """IIT Kanpur virtual laboratory, micro-hardness of an aluminium alloy (agrees to 0.02 HV)."""
    diagonals = (Decimal(first_mm), Decimal(second_mm))
    number = hardness_number(VickersIndentation(HALF_KGF_IN_NEWTON, diagonals)).value
    assert abs(number - Fraction(printed)) <= Fraction("0.02")


def test_iso_6507_1_constant_in_kgf_from_memory() -> None:
    """ISO 6507-1: 0.1891 F/d^2 in newton is 1.8544 F/d^2 in kgf (from memory)."""
    number = hardness_number(VickersIndentation(Decimal("9.80665"), (Decimal(1),))).value
    assert abs(number - Fraction("1.8544")) < Fraction("0.0001")


def test_iso_6508_1_depth_of_hrb_84_from_memory() -> None:
    """ISO 6508-1: HRB = 130 - h / 0.002 mm (from memory): 0.092 mm is 84."""
    rockwell = RockwellIndentation(Decimal(130), Decimal("0.002"), Decimal("0.092"))
    assert hardness_number(rockwell).value == 84
