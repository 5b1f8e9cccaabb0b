from decimal import Decimal

import pytest

from app.errors import Refusal
from app.judging.units import Quantity
from app.judging.verdict import Outcome, Verdict
from app.judging.witness.coupon import Addend, Baseline, Coupon, Reading, check_coupon
from tests.judging.coupon_makers import conductivity, coupon, entry, hardness, hrb, iacs, judge

EXPECTED = (Decimal("5.0"), Decimal("9.0"))


def before(*values: str, unit: str = "HRB", quantity: Quantity = Quantity.HARDNESS) -> Baseline:
    return Baseline(quantity, unit, tuple(Decimal(value) for value in values))


def rise_note(*readings: Reading, baselines: tuple[Baseline, ...]) -> str:
    row = entry(hardness(readings_min=1, rise=EXPECTED))
    judged = judge(row, *readings, baselines=baselines)
    (note,) = [one for one in judged.findings if one.code == "hardness.baseline"]
    assert note.outcome is Outcome.NOTE
    assert judged.verdict is Verdict.CONFORMS
    return note.text


@pytest.mark.parametrize("value", ["5.0", "9.0", "7"])
def test_a_rise_within_its_ends_is_as_expected(value: str) -> None:
    reading = hrb(str(Decimal(80) + Decimal(value)))
    assert rise_note(*reading, baselines=(before("79", "81"),)).endswith("as expected.")


@pytest.mark.parametrize("value", ["4.9", "9.1"])
def test_a_rise_outside_says_that_the_coupon_was_perhaps_not_in_this_run(value: str) -> None:
    reading = hrb(str(Decimal(80) + Decimal(value)))
    said = rise_note(*reading, baselines=(before("79", "81"),))
    assert said == (
        f"Hardness, rise over the baseline: {value} HRB, where 5.0 to 9.0 is expected: the coupon "
        "was perhaps not in this run."
    )


def test_without_a_baseline_nothing_shows_that_it_was_in_the_run() -> None:
    said = rise_note(*hrb("86"), baselines=())
    assert "nothing was measured on the coupon before the furnace" in said
    said = rise_note(*hrb("86"), baselines=(before("90", unit="HRE"),))
    assert "nothing was measured" in said


def test_both_means_are_as_read_because_corrections_are_the_same_on_both_sides() -> None:
    added = (Addend("correction for curvature", Decimal("4.0"), "CT-1", "CT-1"),)
    reading = Reading(Quantity.HARDNESS, "HRB", Decimal("86"), addends=added)
    said = rise_note(reading, baselines=(before("80"),))
    assert "6 HRB, where 5.0 to 9.0 is expected: as expected" in said


def test_a_baseline_in_another_unit_is_converted() -> None:
    row = entry(conductivity(rise=(Decimal(2), Decimal(6))))
    base = before("20.3", unit="MS/m", quantity=Quantity.CONDUCTIVITY)  # 35 %IACS
    judged = judge(row, *iacs("39.0"), baselines=(base,))
    (note,) = [one for one in judged.findings if one.code == "conductivity.baseline"]
    assert note.value == "4"
    assert note.working[-1] == "rise: 39 - 35 = 4 %IACS"


def test_without_readings_or_a_stated_rise_there_is_no_note() -> None:
    asked = judge(entry(hardness(rise=EXPECTED)), baselines=(before("80"),))
    assert [one.code for one in asked.findings] == ["hardness.readings"]
    unasked = judge(entry(hardness(readings_min=1)), *hrb("84"), baselines=(before("80"),))
    assert [one.code for one in unasked.findings] == ["hardness.minimum"]


@pytest.mark.parametrize(
    ("base", "says"),
    [
        (before(), "Baseline 1, readings: there are none"),
        (before("0"), "0 must be above zero"),
        (before("80", unit="%"), "is no scale of hardness"),
    ],
)
def test_a_faulty_baseline_is_refused(base: Baseline, says: str) -> None:
    faulty: Coupon = coupon(baselines=(base,))
    with pytest.raises(Refusal, match=says):
        check_coupon(faulty)
