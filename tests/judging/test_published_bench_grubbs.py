"""Critical values of Grubbs' test against a public table with three levels."""

import pytest

from app.judging.witness.outliers import grubbs_critical

# A public sheet on Grubbs' test (scribd 76685424; seen), after DIN 32645 and DIN 38402: n from 3
# to 20, one-sided 5, 2.5 and 1 %; 2.5 % on one side is 5 % on both.
FIVE = "1.15 1.46 1.67 1.82 1.94 2.03 2.11 2.18 2.23 2.29 2.33 2.37 2.41 2.44 2.47 2.5 2.53 2.56"
TWO_AND_A_HALF = (
    "1.15 1.48 1.71 1.89 2.02 2.13 2.21 2.29 2.36 2.41 2.46 2.51 2.55 2.59 2.62 2.65 2.68 2.71"
)
ONE = "1.15 1.49 1.75 1.94 2.1 2.22 2.32 2.41 2.48 2.55 2.61 2.66 2.71 2.75 2.79 2.82 2.85 2.88"


@pytest.mark.parametrize(
    ("printed", "significance", "sides"),
    [(FIVE, 0.05, 1), (TWO_AND_A_HALF, 0.025, 1), (TWO_AND_A_HALF, 0.05, 2), (ONE, 0.01, 1)],
)
def test_public_sheet_on_grubbs_test_to_two_decimals(
    printed: str, significance: float, sides: int
) -> None:
    for count, critical in enumerate(printed.split(), start=3):
        found = grubbs_critical(count, significance=significance, sides=sides)
        assert found == pytest.approx(float(critical), abs=0.0055), count


def test_iso_5725_2_seven_readings_from_memory() -> None:
    """ISO 5725-2, table of Grubbs' test, 5 %, seven values: 2.020 (from memory)."""
    assert grubbs_critical(7) == pytest.approx(2.020, abs=6e-4)
