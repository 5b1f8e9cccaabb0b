from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from app.judging.evidence import Band, DatedTest, FurnaceEvidence, judge_furnace_evidence
from app.judging.verdict import Outcome, worst

GOOD = DatedTest(date(2031, 3, 1), date(2031, 6, 1), furnace_class="2", instrumentation_type="D")
FIT = FurnaceEvidence("2", "D", Decimal("3"), GOOD, GOOD, GOOD)
BANDS = (Band(Decimal(5), Decimal(5)), Band(Decimal("3.0"), Decimal(4)))


def judged(evidence: FurnaceEvidence, *, on: date = date(2031, 6, 1)) -> dict[str, Outcome]:
    findings = judge_furnace_evidence(evidence, loaded_on=on, bands=BANDS)
    return {finding.code: finding.outcome for finding in findings}


def test_evidence_in_date_up_to_and_including_the_due_day_conforms() -> None:
    findings = judge_furnace_evidence(FIT, loaded_on=date(2031, 6, 1), bands=BANDS)
    assert worst(findings).value == "conforms"
    assert len(findings) == 4


def test_a_load_started_after_the_due_date_does_not_conform() -> None:
    outcomes = judged(FIT, on=date(2031, 6, 2))
    assert outcomes["furnace.survey"] is Outcome.DOES_NOT_CONFORM
    assert outcomes["furnace.accuracy_test"] is Outcome.DOES_NOT_CONFORM
    assert outcomes["furnace.recorder"] is Outcome.DOES_NOT_CONFORM
    assert outcomes["furnace.class"] is Outcome.CONFORMS


@pytest.mark.parametrize(
    ("test", "outcome"),
    [
        (None, Outcome.NOT_PROVEN),
        (replace(GOOD, made_on=date(2031, 6, 2), due_on=date(2031, 9, 2)), Outcome.NOT_PROVEN),
        (replace(GOOD, made_on=date(2031, 6, 1)), Outcome.CONFORMS),
        (replace(GOOD, passed=False), Outcome.DOES_NOT_CONFORM),
        (replace(GOOD, furnace_class="5"), Outcome.NOT_PROVEN),
        (replace(GOOD, instrumentation_type="A"), Outcome.NOT_PROVEN),
        (replace(GOOD, furnace_class=None, instrumentation_type=None), Outcome.CONFORMS),
    ],
)
def test_a_survey_must_be_on_record_passed_and_made_to_the_furnace_s_class(
    test: DatedTest | None, outcome: Outcome
) -> None:
    assert judged(replace(FIT, survey=test))["furnace.survey"] is outcome


@pytest.mark.parametrize(
    ("tolerance", "outcome"),
    [
        (Decimal("3.0"), Outcome.CONFORMS),
        (Decimal("3.1"), Outcome.DOES_NOT_CONFORM),
        (None, Outcome.NOT_PROVEN),
    ],
)
def test_the_band_may_not_be_tighter_than_the_class(
    tolerance: Decimal | None, outcome: Outcome
) -> None:
    assert judged(replace(FIT, uniformity_c=tolerance))["furnace.class"] is outcome
