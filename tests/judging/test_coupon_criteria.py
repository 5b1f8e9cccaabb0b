from decimal import Decimal

import pytest

from app.judging.rounding import RoundingMethod
from app.judging.units import Quantity
from app.judging.verdict import Outcome, Verdict
from app.judging.witness.acceptance import Statistic
from app.judging.witness.coupon import Addend, Reading
from tests.judging.coupon_makers import (
    codes,
    conductivity,
    entry,
    guarded,
    hardness,
    hrb,
    iacs,
    judge,
    strength,
    zoned,
)


def test_a_reading_on_the_limit_conforms() -> None:
    judged = judge(entry(hardness()), *hrb("83", "84", "85"))
    assert judged.verdict is Verdict.CONFORMS
    finding = judged.findings[0]
    assert (finding.code, finding.value, finding.limit) == ("hardness.minimum", "83", "83")
    assert (finding.unit, finding.source) == ("HRB", "DT-9, row 4")


def test_a_reading_is_rounded_once_to_the_last_place_of_the_limit() -> None:
    assert judge(entry(hardness()), *hrb("82.5", "84", "85")).verdict is Verdict.DOES_NOT_CONFORM
    assert judge(entry(hardness()), *hrb("82.6", "84", "85")).verdict is Verdict.CONFORMS
    tenths = hardness(minimum=Decimal("83.0"))
    assert judge(entry(tenths), *hrb("82.94", "84", "85")).verdict is Verdict.DOES_NOT_CONFORM
    assert judge(entry(tenths), *hrb("82.96", "84", "85")).verdict is Verdict.CONFORMS


def test_the_absolute_method_does_not_round() -> None:
    strict = hardness(rounding=RoundingMethod.ABSOLUTE)
    assert judge(entry(strict), *hrb("82.99", "84", "85")).verdict is Verdict.DOES_NOT_CONFORM
    assert judge(entry(strict), *hrb("83.0", "84", "85")).verdict is Verdict.CONFORMS


def test_a_stated_resolution_goes_before_the_limit_s_last_place() -> None:
    halves = hardness(resolution=Decimal("0.5"))
    assert judge(entry(halves), *hrb("82.7", "84", "85")).verdict is Verdict.DOES_NOT_CONFORM
    assert judge(entry(halves), *hrb("82.75", "84", "85")).verdict is Verdict.CONFORMS


def test_every_reading_must_pass_where_the_statistic_is_each() -> None:
    judged = judge(entry(hardness()), *hrb("90", "90", "80"))
    assert judged.verdict is Verdict.DOES_NOT_CONFORM
    assert judged.findings[0].value == "80"
    mean = hardness(statistic=Statistic.MEAN)
    assert judge(entry(mean), *hrb("90", "90", "80")).verdict is Verdict.CONFORMS


def test_a_mean_is_rounded_once_from_unrounded_readings() -> None:
    mean = hardness(statistic=Statistic.MEAN)
    # (82.4 + 82.4 + 82.7) / 3 = 82.5 exactly, which goes to 82.
    assert judge(entry(mean), *hrb("82.4", "82.4", "82.7")).verdict is Verdict.DOES_NOT_CONFORM
    # (82.4 + 82.4 + 82.8) / 3 = 82.533..., which goes to 83.
    assert judge(entry(mean), *hrb("82.4", "82.4", "82.8")).verdict is Verdict.CONFORMS


def test_minimum_and_maximum_are_two_findings_each_with_its_own_place() -> None:
    both = hardness(minimum=Decimal(83), maximum=Decimal("86.5"))
    judged = judge(entry(both), *hrb("83", "84", "86.54"))
    assert codes(judged) == ["hardness.minimum", "hardness.maximum"]
    assert judged.verdict is Verdict.CONFORMS
    assert judge(entry(both), *hrb("83", "84", "86.56")).verdict is Verdict.DOES_NOT_CONFORM


def test_too_few_readings_are_not_proven_even_when_they_are_low() -> None:
    judged = judge(entry(hardness()), *hrb("10", "10"))
    assert judged.verdict is Verdict.NOT_PROVEN
    assert codes(judged) == ["hardness.readings"]


def test_a_range_equal_to_the_permitted_one_is_judged_and_a_wider_is_measured_again() -> None:
    narrow = hardness(range_max=Decimal("3"))
    assert judge(entry(narrow), *hrb("83.0", "84", "86.0")).verdict is Verdict.CONFORMS
    judged = judge(entry(narrow), *hrb("83.0", "84", "86.1"))
    assert codes(judged) == ["hardness.range"]
    assert judged.verdict is Verdict.NOT_PROVEN


def test_ms_per_m_and_percent_iacs_convert_exactly() -> None:
    on_the_limit = Reading(Quantity.CONDUCTIVITY, "MS/m", Decimal("22.04"))
    strict = conductivity(rounding=RoundingMethod.ABSOLUTE)
    assert judge(entry(strict), on_the_limit).verdict is Verdict.CONFORMS
    below = Reading(Quantity.CONDUCTIVITY, "MS/m", Decimal("22.0399999999"))
    assert judge(entry(strict), below).verdict is Verdict.DOES_NOT_CONFORM


def test_another_hardness_scale_does_not_count_and_the_finding_says_so() -> None:
    other = Reading(Quantity.HARDNESS, "HRE", Decimal(99))
    judged = judge(entry(hardness()), *hrb("84", "84"), other)
    assert judged.verdict is Verdict.NOT_PROVEN
    note = judged.findings[-1]
    assert note.code == "reading.not_counted"
    assert "scales are not converted" in note.text


def test_an_instrument_correction_is_applied_and_shown() -> None:
    addend = Addend("instrument correction", Decimal("-0.6"))
    high = [
        Reading(Quantity.HARDNESS, "HRB", Decimal(value), addends=(addend,))
        for value in ("83.0", "84", "85")
    ]
    judged = judge(entry(hardness()), *high)
    assert judged.verdict is Verdict.DOES_NOT_CONFORM
    assert "reading 1: instrument correction 83.0 + (-0.6) = 82.4 HRB" in judged.findings[0].working


@pytest.mark.parametrize(
    ("percent", "pulled", "verdict"),
    [
        ("37.94", "60", Verdict.DOES_NOT_CONFORM),
        ("37.95", "60", Verdict.CONFORMS),
        ("38.5", "67.94", Verdict.CONFORMS),
        ("38.5", "67.96", Verdict.DOES_NOT_CONFORM),
        ("38.5", None, Verdict.NOT_PROVEN),
        ("39.94", None, Verdict.NOT_PROVEN),
        ("39.95", None, Verdict.CONFORMS),
        ("39.95", "80", Verdict.CONFORMS),
    ],
)
def test_a_value_is_rounded_before_it_is_placed_in_a_zone(
    percent: str, pulled: str | None, verdict: Verdict
) -> None:
    readings = (*iacs(percent), *(() if pulled is None else strength(pulled)))
    assert judge(entry(zoned()), *readings).verdict is verdict


def test_a_conditional_zone_names_the_test_to_be_made() -> None:
    judged = judge(entry(zoned()), *iacs("38.5"))
    zone, missing = judged.findings
    assert zone.outcome is missing.outcome is Outcome.NOT_PROVEN
    assert "yield strength at most 67.9 ksi" in zone.text
    assert "the test is to be made" in missing.text


def test_readings_in_several_zones_are_each_judged_in_theirs() -> None:
    each = zoned(statistic=Statistic.EACH, readings_min=2)
    judged = judge(entry(each), *iacs("37.0", "40.5"))
    assert [finding.limit for finding in judged.findings] == ["up to 37.9", "40.0 and above"]
    assert judged.verdict is Verdict.DOES_NOT_CONFORM


def test_zones_replace_minimum_and_maximum_and_say_so() -> None:
    judged = judge(entry(zoned(minimum=Decimal(50))), *iacs("41.0"))
    assert judged.verdict is Verdict.CONFORMS
    assert "zones are given, so minimum and maximum do not apply" in judged.findings[0].working


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("83.8", Verdict.CONFORMS),
        ("83.79", Verdict.NOT_PROVEN),
        ("83.0", Verdict.NOT_PROVEN),
        ("82.99", Verdict.DOES_NOT_CONFORM),
    ],
)
def test_a_guarded_minimum_has_a_band_of_u_and_no_rounding(value: str, verdict: Verdict) -> None:
    uncertainty = {(Quantity.HARDNESS, "HRB"): Decimal("0.8")}
    row = guarded(hardness(readings_min=1))
    assert judge(row, *hrb(value), expanded_uncertainty=uncertainty).verdict is verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("40.6", Verdict.CONFORMS),
        ("40.61", Verdict.NOT_PROVEN),
        ("41.0", Verdict.NOT_PROVEN),
        ("41.01", Verdict.DOES_NOT_CONFORM),
    ],
)
def test_a_guarded_maximum_is_the_mirror_image_and_u_converts(value: str, verdict: Verdict) -> None:
    uncertainty = {(Quantity.CONDUCTIVITY, "MS/m"): Decimal("0.232")}  # 0.4 %IACS
    row = guarded(conductivity(minimum=None, maximum=Decimal("41.0")))
    assert judge(row, *iacs(value), expanded_uncertainty=uncertainty).verdict is verdict


def test_a_guarded_entry_without_uncertainty_is_not_proven_however_clear() -> None:
    row = guarded(hardness(readings_min=1))
    assert judge(row, *hrb("99")).verdict is Verdict.NOT_PROVEN
    assert judge(row, *hrb("9")).verdict is Verdict.NOT_PROVEN


def test_the_probability_of_conformity_is_a_note_in_both_rules() -> None:
    uncertainty = {(Quantity.HARDNESS, "HRB"): Decimal(2)}
    for row in (entry(hardness(readings_min=1)), guarded(hardness(readings_min=1))):
        judged = judge(row, *hrb("83"), expanded_uncertainty=uncertainty)
        note = judged.findings[1]
        assert (note.code, note.outcome) == ("hardness.probability", Outcome.NOTE)
        assert note.value == "0.5000"


def test_a_suspicious_reading_is_noted_and_still_counts() -> None:
    readings = hrb("84.0", "84.1", "84.0", "84.1", "84.0", "70.0")
    judged = judge(entry(hardness()), *readings)
    assert judged.verdict is Verdict.DOES_NOT_CONFORM
    note = judged.findings[-1]
    assert (note.code, note.outcome, note.value) == ("hardness.suspicious", Outcome.NOTE, "70.0")


def test_findings_carry_a_working_that_can_be_redone_on_paper() -> None:
    mixed = (*iacs("38.4"), Reading(Quantity.CONDUCTIVITY, "MS/m", Decimal("22.9")))
    (finding,) = judge(entry(conductivity()), *mixed).findings
    assert finding.working == (
        "reading 1: 38.4 %IACS as entered",
        "reading 2: 22.9 MS/m as entered",
        "reading 2: 22.9 MS/m * 100 / 58 = 39.482759... %IACS",
        "mean: (38.4 + 39.482759...) / 2 = 38.941379...",
        "mean of 2 readings: 38.941379..., to the nearest 0.1 (ties to even) 38.9 >= 38.0: met",
    )
