"""ASTM E29, rounding method: examples of its Table 1, from memory."""

from decimal import Decimal

import pytest

from app.judging.rounding import round_to_place


@pytest.mark.parametrize(
    ("observed", "step", "limit", "side", "rounded", "conforms"),
    [
        ("35940", "1E+2", "36000", "minimum", "35900", "no"),
        ("35950", "1E+2", "36000", "minimum", "36000", "yes"),
        ("35960", "1E+2", "36000", "minimum", "36000", "yes"),
        ("56.4", "1", "57", "minimum", "56", "no"),
        ("56.5", "1", "57", "minimum", "56", "no"),
        ("56.6", "1", "57", "minimum", "57", "yes"),
        ("40.4", "1", "40", "maximum", "40", "yes"),
        ("40.5", "1", "40", "maximum", "40", "yes"),
        ("40.6", "1", "40", "maximum", "41", "no"),
        ("0.54", "0.1", "0.5", "maximum", "0.5", "yes"),
        ("0.55", "0.1", "0.5", "maximum", "0.6", "no"),
        ("0.56", "0.1", "0.5", "maximum", "0.6", "no"),
    ],
)
def test_astm_e29_table_1_examples_from_memory(
    observed: str, step: str, limit: str, side: str, rounded: str, conforms: str
) -> None:
    to_step = round_to_place(Decimal(observed), to=Decimal(step))
    assert to_step == Decimal(rounded)
    met = to_step >= Decimal(limit) if side == "minimum" else to_step <= Decimal(limit)
    assert met is (conforms == "yes")
