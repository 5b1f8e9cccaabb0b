from dataclasses import replace
from decimal import Decimal

import pytest

from app.errors import Refusal
from app.judging.units import Quantity
from app.judging.verdict import Outcome, Verdict
from app.judging.witness.coupon import Reading
from app.judging.witness.indentation import (
    BrinellIndentation,
    Indentation,
    RockwellIndentation,
    VickersIndentation,
    hardness_number,
)
from tests.judging.coupon_makers import (
    codes,
    conductivity,
    entry,
    hardness,
    hrb,
    iacs,
    judge,
)


def test_a_discounted_reading_is_listed_with_its_reason_and_never_counts() -> None:
    bad = replace(hrb("12.0")[0], discounted="voided: indenter slipped", name="R-7")
    judged = judge(entry(hardness()), *hrb("84", "84", "84"), bad)
    assert judged.verdict is Verdict.CONFORMS
    note = judged.findings[-1]
    assert (note.code, note.outcome, note.value) == ("reading.not_counted", Outcome.NOTE, "12.0")
    assert note.text == "R-7, hardness 12.0 HRB, does not count: voided: indenter slipped."


def test_a_verdict_is_provisional_while_a_counted_reading_is() -> None:
    waiting = replace(hrb("84")[0], provisional=True)
    assert judge(entry(hardness()), *hrb("84", "84"), waiting).provisional
    assert not judge(entry(hardness()), *hrb("84", "84", "84")).provisional
    voided = replace(waiting, discounted="voided: wrong coupon")
    assert not judge(entry(hardness()), *hrb("84", "84", "84"), voided).provisional


def test_unconfirmed_spacing_discounts_hardness_and_nothing_else() -> None:
    both = entry(hardness(), conductivity())
    judged = judge(both, *hrb("84", "84", "84"), *iacs("39.0"), spacing_confirmed=False)
    assert codes(judged)[:2] == ["hardness.readings", "conductivity.minimum"]
    confirmed = judge(both, *hrb("84", "84", "84"), *iacs("39.0"), spacing_confirmed=True)
    assert confirmed.verdict is Verdict.CONFORMS


@pytest.mark.parametrize(
    ("coupon_c", "block_c", "verdict"),
    [
        ("23.0", "20.0", Verdict.CONFORMS),
        ("20", "23.00", Verdict.CONFORMS),
        ("23.01", "20.0", Verdict.NOT_PROVEN),
        ("31", None, Verdict.CONFORMS),
    ],
)
def test_coupon_and_block_may_be_three_degrees_apart(
    coupon_c: str, block_c: str | None, verdict: Verdict
) -> None:
    readings = iacs(
        "39.0", coupon_c=Decimal(coupon_c), block_c=None if block_c is None else Decimal(block_c)
    )
    assert judge(entry(conductivity()), *readings).verdict is verdict


@pytest.mark.parametrize(
    ("kilohertz", "depths", "verdict"),
    [
        ("60", "2.6", Verdict.CONFORMS),
        ("1", "2.6", Verdict.CONFORMS),
        # At 39.0 %IACS and 0.4 kHz one standard depth is 5.29 mm, 2.6 of them 13.8 mm.
        ("0.4", "2.6", Verdict.NOT_PROVEN),
        ("0.4", "2.3", Verdict.CONFORMS),
    ],
)
def test_a_coupon_thinner_than_the_depths_needed_does_not_count(
    kilohertz: str, depths: str, verdict: Verdict
) -> None:
    row = entry(conductivity(), depths_needed=Decimal(depths))
    judged = judge(row, *iacs("39.0", frequency_khz=Decimal(kilohertz)))
    assert judged.verdict is verdict


def test_the_depth_comes_from_the_mean_of_the_conductivity_readings() -> None:
    readings = iacs("38.0", "40.0", frequency_khz=Decimal(60))
    (finding,) = judge(entry(conductivity()), *readings).findings
    depth = [line for line in finding.working if "Standard depth" in line]
    assert len(depth) == 2
    assert all("22.62 MS/m (mean of the conductivity readings)" in line for line in depth)


def test_a_reading_no_criterion_asks_for_is_listed() -> None:
    judged = judge(entry(hardness()), *hrb("84", "84", "84"), *iacs("39.0"))
    assert judged.findings[-1].text == (
        "Reading 4, conductivity 39.0 %IACS, does not count: the entry asks for no conductivity."
    )


def test_a_number_is_computed_from_the_raw_indentation() -> None:
    brinell = BrinellIndentation(Decimal("4903.325"), Decimal(10), (Decimal("2.4"), Decimal("2.6")))
    reading = Reading(Quantity.HARDNESS, "HBW 10/500", indentation=brinell)
    wanted = hardness(unit="HBW 10/500", minimum=Decimal(100), readings_min=1)
    judged = judge(entry(wanted), reading)
    assert judged.verdict is Verdict.CONFORMS
    assert judged.findings[0].working[0].startswith("reading 1: from the indentation, HBW = 0.102")


@pytest.mark.parametrize(
    "indentation",
    [
        BrinellIndentation(Decimal(0), Decimal(10), (Decimal(2),)),
        BrinellIndentation(Decimal(500), Decimal(10), (Decimal(10),)),
        BrinellIndentation(Decimal(500), Decimal(10), ()),
        BrinellIndentation(Decimal(500), Decimal(-1), (Decimal(2),)),
        VickersIndentation(Decimal(5), (Decimal(0),)),
        RockwellIndentation(Decimal(130), Decimal(0), Decimal("0.1")),
        RockwellIndentation(Decimal(130), Decimal("0.002"), Decimal("-0.1")),
    ],
)
def test_an_impossible_indentation_is_refused(indentation: Indentation) -> None:
    with pytest.raises(Refusal):
        hardness_number(indentation)


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (Reading(Quantity.HARDNESS, "%IACS", Decimal(80)), "is no scale of hardness"),
        (Reading(Quantity.CONDUCTIVITY, "HRB", Decimal(80)), "is no unit of conductivity"),
        (Reading(Quantity.CONDUCTIVITY, "%IACS", Decimal(0)), "must be above zero"),
        (Reading(Quantity.HARDNESS, "HRB"), "nothing is given"),
    ],
)
def test_a_figure_no_measurement_can_have_given_is_refused(reading: Reading, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        judge(entry(hardness()), reading)
