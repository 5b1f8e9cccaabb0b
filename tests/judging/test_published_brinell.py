"""Brinell numbers from the indentation against printed ones."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.rounding import round_to_place
from app.judging.witness.indentation import BrinellIndentation, hardness_number

NEWTONS_OF_ONE_KGF = Decimal("9.80665")


def brinell(kgf: str, ball: str, *diameters: str) -> Fraction:
    sizes = tuple(Decimal(diameter) for diameter in diameters)
    force = Decimal(kgf) * NEWTONS_OF_ONE_KGF
    return hardness_number(BrinellIndentation(force, Decimal(ball), sizes)).value


@pytest.mark.parametrize(
    ("diameter", "printed"),
    [
        ("2.50", 601),
        ("2.55", 578),
        ("2.95", 429),
        ("3.00", 415),
        ("3.05", 401),
        ("3.10", 388),
        ("3.15", 375),
        ("3.20", 363),
    ],
)
def test_failure_analysis_of_heat_treated_steel_components_table_a3_4(
    diameter: str, printed: int
) -> None:
    """Canale, Mesquita, Totten, Table A3.4: 10 mm tungsten carbide ball, 3000 kgf.

    0.102 for 1/9.80665 adds 0.03 %, which the table's whole numbers may show as 1.
    """
    assert abs(brinell("3000", "10", diameter) - printed) < Fraction("0.7")


def test_materials_science_textbook_problem_6_54a() -> None:
    """Callister, problem 6.54 (a), solution as published: 1000 kg, 10 mm, 2.50 mm gives 200.48.

    The textbook takes kgf as they are; 0.102 for 1/9.80665 adds 0.03 %.
    """
    assert abs(brinell("1000", "10", "2.50") / Fraction("200.48") - 1) < Fraction("0.0004")


@pytest.mark.parametrize(
    ("diameter", "printed"), [("2.50", "100"), ("3.00", "69.1"), ("2.00", "158")]
)
def test_astm_e10_table_of_500_kgf_from_memory(diameter: str, printed: str) -> None:
    """ASTM E10 / ISO 6506-4 tables, 10 mm ball and 500 kgf, three figures, from memory."""
    place = Decimal((0, (1,), Decimal(printed).as_tuple().exponent))
    assert round_to_place(brinell("500", "10", diameter), to=place) == Decimal(printed)


def test_the_same_force_ratio_gives_the_same_number_on_a_smaller_ball() -> None:
    """ISO 6506-1: equal F/D^2 and d/D give the same number (geometry, from memory)."""
    smaller = brinell("31.25", "2.5", "0.625")
    assert abs(smaller - brinell("500", "10", "2.5")) < Fraction("1e-40")
