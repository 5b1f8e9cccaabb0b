"""Numbers from the sizes of an indentation, and what scale symbols say, against printed figures."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.errors import Refusal
from app.judging.witness.indentation import (
    BrinellIndentation,
    RockwellIndentation,
    VickersIndentation,
    hardness_number,
)
from app.judging.witness.indentation_scale import (
    asymmetry_percent,
    brinell_scale,
    check_asymmetry,
    rockwell_scale,
    vickers_scale,
)

NEWTONS_OF_ONE_KGF = Decimal("9.80665")


def brinell(scale: str, diameter: str) -> Fraction:
    says = brinell_scale(scale)
    assert says is not None
    ball, force = says
    return hardness_number(BrinellIndentation(force, ball, (Decimal(diameter),))).value


@pytest.mark.parametrize(
    ("diameter", "printed"),
    [
        *(("2.05", "149.9"), ("2.10", "142.7"), ("2.25", "124.1"), ("2.30", "118.7")),
        *(("2.75", "82.6"), ("3.50", "50.3"), ("4.00", "38.1"), ("6.00", "15.9")),
    ],
)
def test_iso_6506_4_table_of_10_500_from_memory(diameter: str, printed: str) -> None:
    """ISO 6506-4 / ASTM E10 tables, from memory; 0.102 for 1/9.80665 adds 0.03 %."""
    assert abs(brinell("HBW 10/500", diameter) / Fraction(printed) - 1) < Fraction("0.0015")


@pytest.mark.parametrize(
    ("diameter", "printed"),
    [
        ("0.600", "217.8"),
        ("0.700", "159.2"),
        ("0.750", "138.2"),
        ("0.900", "95.0"),
        ("1.0", "76.3"),
    ],
)
def test_iso_6506_4_table_of_2_5_62_5_from_memory(diameter: str, printed: str) -> None:
    """ISO 6506-4 table, from memory."""
    assert abs(brinell("HBW 2.5/62.5", diameter) / Fraction(printed) - 1) < Fraction("0.0015")


def test_astm_e10_66_range_of_500_kgf_as_quoted_by_a_conversion_page() -> None:
    """A conversion page quoting ASTM E10-66: 10 mm ball, 2.5 to 4.75 mm is HB 100 to 26 (seen).

    The range is cut to whole numbers there: 26.5 stands as 26.
    """
    assert int(brinell("HBW 10/500", "2.5")) == 100
    assert int(brinell("HBW 10/500", "4.75")) == 26


def test_air_force_manual_3_225_brinell_of_aluminium() -> None:
    """T.O. 1-1A-9, 3-225 (seen): aluminium is tested with 500 kg on a 10 mm ball."""
    assert brinell_scale("HBW 10/500") == (Decimal(10), 500 * NEWTONS_OF_ONE_KGF)


@pytest.mark.parametrize(
    ("scale", "index"),
    [
        *(("HBW 10/1000", 10), ("HBW 10/500", 5), ("HBW 5/250", 10), ("HBW 5/125", 5)),
        *(("HBW 2.5/62.5", 10), ("HBW 2.5/31.25", 5), ("HBW 2.5/15.625", "2.5")),
        *(("HBW 1/10", 10), ("HBW 1/5", 5)),
    ],
)
def test_hardness_tester_manual_force_index_of_light_metals(scale: str, index: object) -> None:
    """A tester's manual, p. 8 (seen): F/D^2 of light metals is 2.5, 5 or 10 in kgf and mm.

    ISO 6506-1:2014, 5.1 (seen): test forces from 9.807 N to 29.42 kN.
    """
    says = brinell_scale(scale)
    assert says is not None
    ball, force = says
    assert force / NEWTONS_OF_ONE_KGF / ball**2 == Decimal(str(index))
    assert Decimal("9.806") < force < Decimal(29_421)


def test_engineering_class_page_vickers_of_30_kg_and_0_654_mm_is_130() -> None:
    """tectechnicsclassroom.tectechnics.com, Vickers problem (seen): 0.654 mm under 30 kg: 130."""
    force = vickers_scale("HV30")
    assert force is not None
    number = hardness_number(VickersIndentation(force, (Decimal("0.654"),))).value
    assert round(number) == 130


IIT_KANPUR = [
    ("0.025", "0.01647", "0.02109", "131.44"),
    ("0.05", "0.01775", "0.02384", "214.44"),
    ("0.1", "0.02344", "0.03104", "249.84"),
    ("0.05", "0.01651", "0.02071", "267.76"),
]


@pytest.mark.parametrize(("kgf", "first", "second", "printed"), IIT_KANPUR)
def test_virtual_laboratory_iit_kanpur_brass_and_steel(
    kgf: str, first: str, second: str, printed: str
) -> None:
    """IIT Kanpur virtual laboratory (seen): printed to 0.05 %."""
    sizes = (Decimal(first), Decimal(second))
    number = hardness_number(VickersIndentation(Decimal(kgf) * NEWTONS_OF_ONE_KGF, sizes)).value
    assert abs(number / Fraction(printed) - 1) < Fraction("0.0005")


@pytest.mark.parametrize(("kgf", "first", "second", "printed"), IIT_KANPUR)
def test_iso_6507_1_asymmetry_of_5_percent_from_memory(
    kgf: str, first: str, second: str, printed: str
) -> None:
    """ISO 6507-1: diagonals more than 5 % apart are to be pointed out (from memory).

    The laboratory's four indentations in brass and steel differ by more than 20 % (seen).
    """
    sizes = (Decimal(first), Decimal(second))
    assert asymmetry_percent(sizes) > 20
    with pytest.raises(Refusal, match="more than the 5 % permitted"):
        check_asymmetry(sizes, Decimal(5))


@pytest.mark.parametrize(
    ("scale", "depth_mm", "number"),
    [("HRC", "0.08", "60"), ("HRB", "0.08", "90"), ("HRB", "0.06", "100"), ("HRE", "0.1", "80")],
)
def test_public_rockwell_calculator_100_and_130_less_depth_over_0_002(
    scale: str, depth_mm: str, number: str
) -> None:
    """roboculator.com (seen): cone 100 - d / 0.002 mm, ball 130 - d / 0.002 mm."""
    says = rockwell_scale(scale)
    assert says is not None
    indentation = RockwellIndentation(says.full_number, says.step_mm, Decimal(depth_mm))
    assert hardness_number(indentation).value == Decimal(number)


def test_iso_6508_1_superficial_scales_count_thousandths_from_memory() -> None:
    """ISO 6508-1: N and T scales are 100 - h / 0.001 mm (from memory): 0.021 mm is 79."""
    for scale, ball in (("HR15T", Decimal("1.5875")), ("HR30TW", Decimal("1.5875"))):
        says = rockwell_scale(scale)
        assert says is not None
        assert says.ball_mm == ball
        indentation = RockwellIndentation(says.full_number, says.step_mm, Decimal("0.021"))
        assert hardness_number(indentation).value == 79
