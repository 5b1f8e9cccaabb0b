"""ISO 80000-1, Annex B, rule A (the even multiple): its examples, from memory."""

from decimal import Decimal

import pytest

from app.judging.rounding import round_to_place


@pytest.mark.parametrize(
    ("value", "rounding_range", "rounded"),
    [
        ("12.223", "0.1", "12.2"),
        ("12.251", "0.1", "12.3"),
        ("12.275", "0.1", "12.3"),
        ("12.25", "0.1", "12.2"),
        ("12.35", "0.1", "12.4"),
        ("1225.0", "10", "1220"),
        ("1235.0", "10", "1240"),
    ],
)
def test_iso_80000_1_annex_b_examples_from_memory(
    value: str, rounding_range: str, rounded: str
) -> None:
    assert round_to_place(Decimal(value), to=Decimal(rounding_range)) == Decimal(rounded)
