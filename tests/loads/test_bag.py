"""A bag's leak check: exact conversion, the limit itself conforms, and what cannot be is refused.

Factors of vacuum units: NIST SP 811 (2008), Appendix B.8, as printed there.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from app.errors import Refusal
from app.loads.bags.bag import LastCheck, LeakReading, judge_bag, judge_leak, refuse_impossible

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def _judged(start: str, end: str, minutes: str, unit: str = "kPa", limit: str = "2.0") -> str:
    reading = LeakReading(Decimal(start), Decimal(end), Decimal(minutes), unit)
    return judge_leak(reading, limit_kpa=Decimal(limit), minutes=Decimal(5)).outcome.value


@pytest.mark.parametrize(
    ("start", "end", "unit", "outcome"),
    [
        ("880", "860", "mbar", "conforms"),  # 20 mbar are 2.0 kPa: the limit itself
        ("880", "859", "mbar", "does_not_conform"),  # 2.1 kPa
        ("88000", "86000", "Pa", "conforms"),
        ("26.0", "25.4", "inHg", "conforms"),  # 0.6 * 3.386389 = 2.0318 rounds to 2.0
        ("26.0", "25.3", "inHg", "does_not_conform"),  # 0.7 * 3.386389 = 2.37
        ("660", "645", "mmHg", "conforms"),  # 15 * 0.1333224 = 1.9998
        ("660", "644", "mmHg", "does_not_conform"),  # 16 * 0.1333224 = 2.133
        ("12.8", "12.5", "psi", "does_not_conform"),  # 0.3 * 6.894757 = 2.068 rounds to 2.1
    ],
)
def test_a_gauge_in_any_unit_meets_the_limit_in_kpa(
    start: str, end: str, unit: str, outcome: str
) -> None:
    assert _judged(start, end, "5", unit) == outcome


def test_the_finding_shows_conversion_rate_and_what_was_read() -> None:
    reading = LeakReading(Decimal("26.0"), Decimal("25.5"), Decimal(10), "inHg")
    finding = judge_leak(reading, limit_kpa=Decimal("2.0"), minutes=Decimal(5))
    assert "0.169 kPa a minute" in finding.text
    assert any(line.startswith("start 26.0 inHg * 3.38638") for line in finding.working)
    assert reading.typed == {"unit": "inHg", "start": "26.0", "end": "25.5"}
    assert LeakReading(Decimal(88), Decimal(87), Decimal(5)).typed is None


@pytest.mark.parametrize(
    ("figures", "field"),
    [
        (("880", "860", "5", "kPa"), "start"),
        (("88", "-1", "5", "kPa"), "end"),
        (("26", "25", "0", "inHg"), "minutes"),
        (("25", "26", "5", "inHg"), "end"),
        (("40", "39", "5", "inHg"), "start"),
    ],
)
def test_what_no_bag_shows_is_refused_at_its_field(
    figures: tuple[str, str, str, str], field: str
) -> None:
    start, end, minutes, unit = figures
    with pytest.raises(Refusal) as caught:
        refuse_impossible(LeakReading(Decimal(start), Decimal(end), Decimal(minutes), unit))
    assert field in caught.value.fields


def test_an_unknown_unit_is_refused_by_name() -> None:
    with pytest.raises(Refusal, match="'bar' is no unit of vacuum here"):
        refuse_impossible(LeakReading(Decimal(1), Decimal(1), Decimal(5), "bar"))


@pytest.mark.parametrize(
    ("outcome", "late", "stated", "expected"),
    [
        ("conforms", False, True, "conforms"),
        ("conforms", True, True, "not_proven"),
        ("does_not_conform", False, True, "does_not_conform"),
        ("not_proven", False, True, "not_proven"),
        (None, False, True, "not_proven"),
        (None, False, False, "note"),
    ],
)
def test_a_bag_is_proven_by_its_last_check_before_the_door_closed(
    outcome: str | None,
    late: bool,  # noqa: FBT001 - a case of the table
    stated: bool,  # noqa: FBT001
    expected: str,
) -> None:
    taken_at = None if outcome is None else NOON + timedelta(minutes=1 if late else 0)
    last = LastCheck(outcome, taken_at)
    finding = judge_bag("P-1", last, closed_at=NOON, limit_stated=stated)
    assert finding.outcome.value == expected
