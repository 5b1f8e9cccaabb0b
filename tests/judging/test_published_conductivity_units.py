"""100 %IACS is 58 MS/m: figures printed by others, each with its source."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.rounding import round_to_place
from app.judging.units import convert


def test_iec_60028_annealed_copper_is_58_ms_per_m_from_memory() -> None:
    assert convert(Decimal(100), "%IACS", to="MS/m") == 58
    resistivity_nohm_m = 1000 / convert(Decimal(100), "%IACS", to="MS/m")
    assert round_to_place(resistivity_nohm_m, to=Decimal("0.001")) == Decimal("17.241")


def test_nde_education_page_on_iacs_iron_of_10_44_ms_per_m_is_18_percent() -> None:
    """ndt-ed.org, IACS conversion page: 1.044e7 S/m is given as 18 %IACS."""
    assert convert(Decimal("10.44"), "MS/m", to="%IACS") == 18


def test_electromagnetic_testing_book_table_5_1_aluminium() -> None:
    """Electromagnetic Testing, Table 5.1: 37.67 MS/m beside 64.94 %IACS (printed, 0.01 apart)."""
    percent = convert(Decimal("37.67"), "MS/m", to="%IACS")
    assert abs(percent - Fraction("64.94")) <= Fraction("0.011")


@pytest.mark.parametrize(
    ("percent", "ms_per_m"),
    [("50.0", "29.0"), ("40.0", "23.2"), ("34.0", "19.72"), ("38.0", "22.04"), ("30.0", "17.4")],
)
def test_public_table_of_alloy_conductivities_agrees(percent: str, ms_per_m: str) -> None:
    """matmake.com, electrical conductivity of aluminium alloys: %IACS beside 1e7 S/m."""
    assert convert(Decimal(percent), "%IACS", to="MS/m") == Fraction(ms_per_m)
