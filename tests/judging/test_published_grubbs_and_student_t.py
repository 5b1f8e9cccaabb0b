"""Grubbs' test and Student's t against printed tables and examples."""

from fractions import Fraction

import pytest

from app.judging.witness.outliers import grubbs_critical, grubbs_test, student_t_upper

URANIUM = ("199.31", "199.53", "200.19", "200.82", "201.92", "201.95", "202.18", "245.57")
VENUS = (
    *("-1.40", "-0.44", "-0.30", "-0.24", "-0.22", "-0.13", "-0.05", "0.06"),
    *("0.10", "0.18", "0.20", "0.39", "0.48", "0.63", "1.01"),
)


def test_nist_handbook_1_3_5_17_1_uranium_isotopes() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1: G = 2.4687, one-sided critical value 2.032."""
    test = grubbs_test([Fraction(value) for value in URANIUM])
    assert test is not None
    assert test.statistic == pytest.approx(2.4687, abs=1e-4)
    assert URANIUM[test.index] == "245.57"
    assert test.is_suspicious
    assert grubbs_critical(8, sides=1) == pytest.approx(2.032, abs=5e-4)


@pytest.mark.parametrize(
    ("count", "printed"),
    [
        *((3, 1.155), (4, 1.481), (5, 1.715), (6, 1.887), (8, 2.126), (9, 2.215), (10, 2.290)),
        *((11, 2.355), (12, 2.412), (13, 2.462), (14, 2.507), (15, 2.549)),
    ],
)
def test_libretexts_appendix_7_two_sided_5_percent(count: int, printed: float) -> None:
    """LibreTexts Chemistry, Appendix 7. Its row for 7 (2.202) is a misprint and left out."""
    assert grubbs_critical(count) == pytest.approx(printed, abs=0.0011)


@pytest.mark.parametrize(
    ("count", "printed"),
    [
        *((3, 1.1531), (4, 1.4625), (5, 1.6714), (6, 1.8221), (7, 1.9381), (8, 2.0317)),
        *((9, 2.1096), (10, 2.1761), (11, 2.2339)),
    ],
)
def test_public_table_of_one_sided_5_percent(count: int, printed: float) -> None:
    """A critical-value table in a public source file."""
    assert grubbs_critical(count, sides=1) == pytest.approx(printed, abs=1.01e-4)


def test_nist_dataplot_venus_semi_diameters() -> None:
    """NIST Dataplot TIETMOO1.DAT, from Grubbs (1950): the lowest value is furthest out."""
    test = grubbs_test([Fraction(value) for value in VENUS])
    assert test is not None
    assert VENUS[test.index] == "-1.40"


@pytest.mark.parametrize(
    ("freedom", "printed"),
    [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01)],
)
def test_nist_tn_1297_table_b_1_95_percent(freedom: int, printed: float) -> None:
    """NIST TN 1297, Table B.1, column 95: t of the two-sided interval."""
    assert student_t_upper(0.025, freedom) == pytest.approx(printed, abs=0.0051)


@pytest.mark.parametrize(
    ("freedom", "probability", "printed"),
    [(1, 0.001, 318.313), (2, 0.01, 6.965), (7, 0.05, 1.895), (30, 0.005, 2.750)],
)
def test_nist_handbook_upper_critical_values_of_t(
    freedom: int, probability: float, printed: float
) -> None:
    """NIST/SEMATECH e-Handbook, upper critical values of Student's t."""
    assert student_t_upper(probability, freedom) == pytest.approx(printed, rel=2e-5, abs=6e-4)


def test_two_readings_or_equal_ones_have_no_outlier() -> None:
    assert grubbs_test([Fraction(1), Fraction(2)]) is None
    assert grubbs_test([Fraction(1)] * 5) is None
