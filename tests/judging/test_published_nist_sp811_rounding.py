"""NIST SP 811 (2008), B.7.1: the Guide's examples, as quoted in public test suites."""

from decimal import Decimal

import pytest

from app.judging.rounding import round_to_place


@pytest.mark.parametrize(
    ("written", "place", "printed"),
    [
        pytest.param("6.9749515", "0.01", "6.97", id="less-than-half"),
        pytest.param("6.9749515", "0.1", "7.0", id="more-than-half"),
        pytest.param("6.9749515", "0.0001", "6.9750", id="five-then-nonzero"),
        pytest.param("6.9749515", "0.000001", "6.974952", id="half-after-odd"),
        pytest.param("6.9749505", "0.000001", "6.974950", id="half-after-even"),
    ],
)
def test_nist_sp_811_b71_printed_examples(written: str, place: str, printed: str) -> None:
    assert str(round_to_place(Decimal(written), to=Decimal(place))) == printed
