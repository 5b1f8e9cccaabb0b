"""Correction tables against the printed corrections for round pieces and thin sheet."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.judging.witness.acceptance import Criterion, Obtained
from app.judging.witness.corrections import (
    CorrectionReason,
    CorrectionTable,
    Parameter,
    check_correction_table,
    correction_at,
    corrections_of,
)
from app.judging.witness.coupon import Reading
from tests.judging.coupon_makers import entry, judge

# ASTM E18, corrections to be added to Rockwell C, A and D readings on convex cylinders, as printed
# on a tester maker's page (auto-met.com, roundness correction chart; seen).
DIAMETERS = ("6.4", "10", "13", "16", "19", "22", "25", "32", "38")
PRINTED = {
    20: "6.0 4.5 3.5 2.5 2.0 1.5 1.5 1.0 1.0",
    25: "5.5 4.0 3.0 2.5 2.0 1.5 1.0 1.0 1.0",
    30: "5.0 3.5 2.5 2.0 1.5 1.0 1.0 1.0 0.5",
    35: "4.0 3.0 2.0 1.5 1.5 1.0 1.0 0.5 0.5",
    40: "3.5 2.5 2.0 1.5 1.0 1.0 1.0 0.5 0.5",
    45: "3.0 2.0 1.5 1.0 1.0 1.0 0.5 0.5 0.5",
    50: "2.5 2.0 1.5 1.0 1.0 0.5 0.5 0.5 0.5",
    55: "2.0 1.5 1.0 1.0 0.5 0.5 0.5 0.5 0",
    60: "1.5 1.0 1.0 0.5 0.5 0.5 0.5 0 0",
    65: "1.5 1.0 1.0 0.5 0.5 0.5 0.5 0 0",
    70: "1.0 1.0 0.5 0.5 0.5 0.5 0.5 0 0",
}


def e18(rows: list[int]) -> CorrectionTable:
    table = CorrectionTable(
        "CT-E18",
        "Round pieces",
        "1",
        Quantity.HARDNESS,
        "HRC",
        CorrectionReason.CURVATURE,
        Parameter.DIAMETER,
        tuple(Decimal(row) for row in rows),
        tuple(Decimal(one) for one in DIAMETERS),
        tuple(tuple(Decimal(one) for one in PRINTED[row].split()) for row in rows),
        "ASTM E18, convex cylindrical surfaces",
        Obtained.PUBLISHED,
    )
    check_correction_table(table)
    return table


@pytest.mark.parametrize("row", [30, 40, 50, 60])
def test_astm_e18_rows_left_out_lie_on_the_straight_lines_between_their_neighbours(
    row: int,
) -> None:
    """Every second printed row is left out and read off the others: the table steps by 0.5."""
    table = e18([20, 25, 35, 45, 55, 65, 70])
    for diameter, printed in zip(DIAMETERS, PRINTED[row].split(), strict=True):
        found = correction_at(table, Fraction(row), Decimal(diameter))
        assert found is not None
        assert abs(found - Fraction(printed)) <= Fraction("0.5")


def test_astm_e18_printed_figures_are_given_back_at_their_points() -> None:
    table = e18(sorted(PRINTED))
    assert correction_at(table, Fraction(20), Decimal("6.4")) == 6
    assert correction_at(table, Fraction(45), Decimal(13)) == Fraction("1.5")
    assert correction_at(table, Fraction(70), Decimal(38)) == 0


def test_astm_e18_between_its_points_in_both_directions() -> None:
    """37.5 HRC on 11.5 mm: halfway in 3.0, 2.0 (35) and 2.5, 2.0 (40): 2.5, 2.25, so 2.375."""
    assert correction_at(e18(sorted(PRINTED)), Fraction("37.5"), Decimal("11.5")) == Fraction(
        "2.375"
    )


@pytest.mark.parametrize(
    ("percent", "verdict"),
    [
        ("32.0", Verdict.CONFORMS),
        ("36.5", Verdict.CONFORMS),
        ("31.9", Verdict.DOES_NOT_CONFORM),
        ("36.6", Verdict.DOES_NOT_CONFORM),
    ],
)
def test_mil_std_1537c_4_4_3_example_2_thin_sheet(percent: str, verdict: Verdict) -> None:
    """MIL-STD-1537C 4.4.3, example 2 (seen): 30.0 to 34.5 %IACS; a change of 2 %IACS for thin
    sheet makes it 32.0 to 36.5, and readings outside are rejected. Ours corrects the reading.
    """
    sheet = CorrectionTable(
        "CT-SHEET",
        "Thin sheet",
        "1",
        Quantity.CONDUCTIVITY,
        "%IACS",
        CorrectionReason.THICKNESS,
        Parameter.THICKNESS,
        (Decimal(25), Decimal(45)),
        (Decimal(10), Decimal(15)),
        ((Decimal(-2), Decimal(-2)), (Decimal(-2), Decimal(-2))),
        "MIL-STD-1537C 4.4.3",
        Obtained.PUBLISHED,
    )
    value = Decimal(percent)
    applied = corrections_of(
        Fraction(value),
        "%IACS",
        instrument=None,
        table=sheet,
        diameter_mm=None,
        thickness_mm=Decimal("12.5"),
    )
    limits = Criterion(
        Quantity.CONDUCTIVITY,
        "%IACS",
        minimum=Decimal("30.0"),
        maximum=Decimal("34.5"),
        correction="CT-SHEET",
    )
    reading = Reading(Quantity.CONDUCTIVITY, "%IACS", value, addends=applied.addends)
    assert judge(entry(limits), reading).verdict is verdict
