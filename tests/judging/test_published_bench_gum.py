"""Combined and expanded uncertainty against the guide's and others' printed examples."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.rounding import mean
from app.judging.witness.budget import Budget, Part, combine, root, scatter, two_digits
from app.judging.witness.outliers import grubbs_test

NONE: tuple[Fraction, ...] = ()


def budget(*standard: str, expanded: tuple[str, ...] = ()) -> Budget:
    parts = [Part(f"part {figure}", Decimal(figure), repeats=True) for figure in standard]
    parts += [Part(f"part {figure}", Decimal(figure), is_expanded=True) for figure in expanded]
    return Budget(tuple(parts))


def standard_uncertainty(parts: Budget) -> float:
    return float(combine(parts, NONE, averaged=False, unit="nm").value) / 2


def test_jcgm_100_h_1_comparison_of_end_gauges() -> None:
    """JCGM 100:2008, H.1.3.2: 5.8, 3.9 and 6.7 nm give 9.7 nm (figures seen in public examples)."""
    assert round(standard_uncertainty(budget("5.8", "3.9", "6.7")), 1) == 9.7


def test_jcgm_100_h_1_length_of_the_end_gauge_from_memory() -> None:
    """JCGM 100:2008, H.1.4: 25, 9.7, 2.9 and 16.6 nm give 32 nm (table H.1, from memory)."""
    assert round(standard_uncertainty(budget("25", "9.7", "2.9", "16.6"))) == 32


def test_ea_4_02_s2_weight_of_10_kg_as_worked_on_a_public_page() -> None:
    """EA-4/02, S2, as worked on metrodata.de (seen), in mg: U = 45 with k = 2, and 8.66, 14.2,
    5.77, 5.77: u = 29.1 and U = 58.
    """
    parts = budget("8.66", "14.2", "5.77", "5.77", expanded=("45",))
    combined = combine(parts, NONE, averaged=False, unit="mg")
    assert round(float(combined.value) / 2, 1) == 29.1
    assert combined.text == "58"


def test_guide_for_micrometers_point_of_21_5_mm() -> None:
    """A calibration guide's worked point (talalspecialbolt.com, seen), in mm: s = 0.00058 over
    sqrt(3) = 0.00033, step 0.001 over sqrt(12) = 0.00029, certificate U = 0.00050 with k = 2:
    u = 0.00051 and U = 0.0010.
    """
    parts = Budget(
        (
            Part("repeatability", Decimal("0.00058"), repeats=True),
            Part("resolution", Decimal("0.00029")),
            Part("gauge block", Decimal("0.00050"), is_expanded=True),
        )
    )
    three = (Fraction(0),) * 3
    combined = combine(parts, three, averaged=True, unit="mm")
    # The page adds its own roundings: the fifth decimal may differ by one.
    assert float(combined.value) / 2 == pytest.approx(0.00051, abs=1e-5)
    assert combined.text == "0.0010"


def test_nist_reference_page_on_uncertainty_example_2() -> None:
    """physics.nist.gov, examples of uncertainty statements, 2 (seen): u = 0.35 mg, U = 0.70 mg."""
    assert combine(budget("0.35"), NONE, averaged=False, unit="mg").text == "0.70"


def test_jcgm_100_4_4_3_twenty_temperatures_from_memory() -> None:
    """JCGM 100:2008, 4.4.3, table 1 (from memory): mean 100.145, s 1.489, mean's 0.333 degC."""
    observed = """96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 100.33 100.42 100.68
        100.95 101.11 101.20 101.57 101.84 102.36 102.72"""
    values = tuple(Fraction(one) for one in observed.split())
    assert round(float(mean(values)), 3) == 100.145
    assert round(float(root(scatter(values))), 3) == 1.489
    assert round(float(root(scatter(values) / len(values))), 3) == 0.333


@pytest.mark.parametrize(
    ("observed", "middle", "uncertainty"),
    [
        ("5.007 4.994 5.005 4.990 4.999", 4.9990, 0.0032),
        ("19.663 19.639 19.640 19.685 19.678", 19.6610, 0.0095),
        ("1.0456 1.0438 1.0468 1.0428 1.0433", 1.04446, 0.00075),
    ],
)
def test_jcgm_100_h_2_five_sets_of_voltage_current_and_phase(
    observed: str, middle: float, uncertainty: float
) -> None:
    """JCGM 100:2008, H.2, table H.2: observations as seen in a public library's tests, means and
    their standard uncertainties from memory.
    """
    values = tuple(Fraction(one) for one in observed.split())
    assert float(mean(values)) == pytest.approx(middle, rel=1e-9)
    assert two_digits(root(scatter(values) / 5)) == str(uncertainty)


def test_jcgm_100_f_2_2_1_display_step_is_0_29_of_a_step_from_memory() -> None:
    """JCGM 100:2008, F.2.2.1 (from memory): a display's step has a standard uncertainty of 0.29."""
    values = [Fraction(0), Fraction(0), Fraction(6)]
    with_step, without = grubbs_test(values, step=Fraction(1)), grubbs_test(values)
    assert with_step is not None
    assert without is not None
    share = (with_step.deviation**2 - without.deviation**2) ** 0.5
    assert round(share, 2) == 0.29
