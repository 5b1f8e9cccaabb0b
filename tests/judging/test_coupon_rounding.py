from decimal import Decimal
from fractions import Fraction

import pytest

from app.judging.rounding import last_place, mean, round_to_place, shown, shown_working


@pytest.mark.parametrize(
    ("limit", "place"), [("80", "1"), ("38.0", "0.1"), ("8E+1", "1E+1"), ("0.05", "0.01")]
)
def test_the_last_place_is_the_one_the_limit_is_written_to(limit: str, place: str) -> None:
    assert str(last_place(Decimal(limit))) == place


@pytest.mark.parametrize(
    ("value", "step", "rounded"),
    [
        ("82.5", "1", "82"),
        ("83.5", "1", "84"),
        ("82.50000000000000000000000001", "1", "83"),
        ("-0.4", "1", "0"),
        ("-1.5", "1", "-2"),
        ("39.95", "0.1", "40.0"),
        ("1.25", "0.5", "1.0"),
        ("1.75", "0.5", "2.0"),
        ("0.15", "0.10", "0.20"),
    ],
)
def test_a_value_half_way_goes_to_the_even_multiple(value: str, step: str, rounded: str) -> None:
    assert str(round_to_place(Decimal(value), to=Decimal(step))) == rounded


def test_a_mean_of_thirds_is_exact_until_it_is_rounded() -> None:
    middle = mean((Fraction("38.0"), Fraction("38.0"), Fraction("38.1")))
    assert middle == Fraction(1141, 30)
    assert str(round_to_place(middle, to=Decimal("0.01"))) == "38.03"


def test_figures_are_shown_as_they_were_written() -> None:
    assert shown(Decimal("38.0")) == "38.0"
    assert shown(Decimal("8E+1")) == "80"
    assert shown(Fraction(5, 2)) == "2.5"
    assert shown(Fraction(1, 3)) == "0.333333"
    assert shown_working(Fraction(1, 3)) == "0.333333..."
    assert shown_working(Fraction(600)) == "600"
