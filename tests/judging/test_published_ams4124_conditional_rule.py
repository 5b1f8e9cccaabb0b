"""AMS4124's conductivity rule for 7075-T7351, as explained on a metal supplier's public page.

Accepted from 40.0 %IACS; from 38.0 to 39.9 accepted if the yield strength is no more than 11.9 ksi
above the specified minimum; rejected below.
"""

from decimal import Decimal

import pytest

from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.judging.witness.acceptance import Criterion, Zone, ZoneOutcome
from tests.judging.coupon_makers import conductivity, entry, iacs, judge, strength

LEAST_YIELD_KSI = Decimal("56.0")
ALLOWANCE_KSI = Decimal("11.9")


def rule() -> Criterion:
    limit = Criterion(Quantity.YIELD_STRENGTH, "ksi", maximum=LEAST_YIELD_KSI + ALLOWANCE_KSI)
    zones = (
        Zone(None, Decimal("37.9"), ZoneOutcome.REJECT),
        Zone(Decimal("38.0"), Decimal("39.9"), ZoneOutcome.ACCEPT_IF, (limit,)),
        Zone(Decimal("40.0"), None, ZoneOutcome.ACCEPT),
    )
    return conductivity(minimum=None, zones=zones, resolution=Decimal("0.1"))


def test_ams4124_worked_example_38_7_with_yield_59_1_over_56_0_conforms() -> None:
    """The page's own example: 59.1 - 56.0 = 3.1, no more than 11.9."""
    judged = judge(entry(rule()), *iacs("38.7"), *strength("59.1"))
    assert judged.verdict is Verdict.CONFORMS


@pytest.mark.parametrize(
    ("percent", "yield_ksi", "verdict"),
    [
        pytest.param("40.0", None, Verdict.CONFORMS, id="accepted-outright"),
        pytest.param("39.9", None, Verdict.NOT_PROVEN, id="band-without-yield"),
        pytest.param("39.9", "67.9", Verdict.CONFORMS, id="allowance-included"),
        pytest.param("38.0", "68.0", Verdict.DOES_NOT_CONFORM, id="above-the-allowance"),
        pytest.param("37.9", "59.1", Verdict.DOES_NOT_CONFORM, id="below-the-band"),
        pytest.param("39.95", None, Verdict.CONFORMS, id="one-decimal-before-the-band"),
    ],
)
def test_ams4124_bands_carry_one_decimal(
    percent: str, yield_ksi: str | None, verdict: Verdict
) -> None:
    pulled = () if yield_ksi is None else strength(yield_ksi)
    assert judge(entry(rule()), *iacs(percent), *pulled).verdict is verdict
