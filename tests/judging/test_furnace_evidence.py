"""The furnace on the day of the load, judged by its procedure."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from app.judging.furnace.evidence import Band, counting_survey, judge_furnace
from app.judging.furnace.furnace_checks import Maintenance, Review
from app.judging.furnace.furnace_reports import SurveyedRange
from app.judging.furnace.procedure import CheckKind
from app.judging.verdict import Outcome, Verdict, worst
from tests.judging.procedure_makers import RECORDER, SURVEY, TEST, check, furnace, load, procedure

# Survey every 3 months, accuracy test every 2 weeks, recorder every 90 days.
SURVEYED, TESTED, CALIBRATED = date(2031, 3, 1), date(2031, 5, 20), date(2031, 4, 1)
START, END = date(2031, 5, 31), date(2031, 6, 1)
GOOD = (check(SURVEY, SURVEYED), check(TEST, TESTED), check(RECORDER, CALIBRATED))
FIT = furnace(*GOOD)
ACCEPTED = Review("Ines Valcourt", accepted=True)
PENDING = {"review": None}


def outcomes(of=FIT, by=None, starts=START, ends=END, *, without=False, **changes) -> dict:
    findings = judge_furnace(
        of, None if without else by or procedure(), load(starts, ends, **changes)
    )
    return {finding.code: finding.outcome for finding in findings}


def finding(code: str, of=FIT, by=None, starts=START, ends=END):
    found = judge_furnace(of, by or procedure(), load(starts, ends))
    return next(one for one in found if one.code == code)


def with_survey(**changes):
    return furnace(replace(GOOD[0], **changes), *GOOD[1:])


def test_a_furnace_with_all_in_order_conforms() -> None:
    findings = judge_furnace(FIT, procedure(), load(START, END))
    assert [one.code for one in findings] == [
        *("furnace.procedure", "furnace.survey", "furnace.accuracy_test", "furnace.recorder"),
        *("furnace.through_end", "furnace.class", "furnace.range"),
    ]
    assert {one.outcome for one in findings} == {Outcome.CONFORMS}
    survey = findings[1]
    assert survey.text == "The uniformity survey of 2031-03-01 is in date until 2031-06-01."
    assert (survey.value, survey.limit) == ("2031-05-31", "2031-06-01")
    assert survey.source == "uniformity survey report"
    assert any("every 3 months (PP-1 revision A" in line for line in survey.working)


def test_without_a_verified_procedure_nothing_is_proven() -> None:
    found = outcomes(without=True)
    assert set(found.values()) == {Outcome.NOT_PROVEN} | {found["furnace.range"]}
    assert found["furnace.range"] is Outcome.CONFORMS


def test_an_unqualified_furnace_is_not_proven() -> None:
    for change in ({"furnace_class": None}, {"instrumentation_type": None}):
        found = outcomes(replace(FIT, **change))
        assert found["furnace.procedure"] is Outcome.NOT_PROVEN
        assert found["furnace.survey"] is Outcome.NOT_PROVEN


def test_the_last_day_is_included_at_the_start_and_at_the_end() -> None:
    assert outcomes(starts=date(2031, 6, 1))["furnace.survey"] is Outcome.CONFORMS
    late = finding("furnace.survey", starts=date(2031, 6, 2), ends=date(2031, 6, 2))
    assert late.outcome is Outcome.DOES_NOT_CONFORM
    assert late.text == (
        "The uniformity survey of 2031-03-01 was in date until 2031-06-01; the load started on "
        "2031-06-02."
    )


def test_running_out_before_the_end_is_a_finding_of_its_own() -> None:
    found = outcomes(ends=date(2031, 6, 2))
    assert found["furnace.survey"] is Outcome.CONFORMS
    assert found["furnace.through_end"] is Outcome.NOT_PROVEN
    says = finding("furnace.through_end", ends=date(2031, 6, 2)).text
    assert says == (
        "Before the load's end on 2031-06-02 runs out: the uniformity survey (until 2031-06-01)."
    )
    assert outcomes(ends=None)["furnace.through_end"] is Outcome.NOT_PROVEN


def test_a_due_day_that_does_not_count_ends_the_day_before() -> None:
    calendar = {
        "month_end": "last day of the month",
        "due_day_counts": False,
        "early_warning_days": 14,
    }
    assert outcomes(by=procedure(calendar=calendar))["furnace.through_end"] is Outcome.NOT_PROVEN


def test_the_earlier_of_stated_and_counted_last_day_holds() -> None:
    early = with_survey(due_on=date(2031, 5, 30))
    assert outcomes(early)["furnace.survey"] is Outcome.DOES_NOT_CONFORM
    late = with_survey(due_on=date(2031, 12, 31))
    assert finding("furnace.survey", late).limit == "2031-06-01"


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (PENDING, "was entered by Rune Adair, and nobody else has reviewed it."),
        (
            {"review": Review("Rune Adair", accepted=True)},
            "was entered by Rune Adair, and nobody else has reviewed it.",
        ),
        (
            {"review": Review("Ines Valcourt", accepted=False)},
            "was refused by Ines Valcourt, who reviewed it; enter another.",
        ),
        ({"done_on": date(2031, 6, 1)}, "is later than the load of 2031-05-31; one from before"),
        ({"verdict": Verdict.NOT_PROVEN}, "does not prove what it should"),
        ({"made_to_class": "1"}, "was made to class 1, and the furnace is class 2."),
        ({"made_to_class": None}, "does not say to which class it was made."),
        ({"made_to_type": "B"}, "was made to instrumentation type B, and the furnace"),
        ({"made_to_type": None}, "does not say to which instrumentation type it was made."),
    ],
)
def test_what_leaves_a_survey_not_proven(change: dict, sentence: str) -> None:
    found = finding("furnace.survey", with_survey(**change))
    assert found.outcome is Outcome.NOT_PROVEN
    assert sentence in found.text
    assert outcomes(with_survey(**change))["furnace.through_end"] is Outcome.NOT_PROVEN


def test_a_failed_survey_does_not_conform_whatever_else() -> None:
    failed = with_survey(verdict=Verdict.DOES_NOT_CONFORM, made_to_class=None)
    assert outcomes(failed)["furnace.survey"] is Outcome.DOES_NOT_CONFORM


def test_no_survey_at_all_is_not_proven() -> None:
    found = finding("furnace.survey", furnace(*GOOD[1:]))
    assert found.text == "No uniformity survey is on record for the day of the load."
    assert found.outcome is Outcome.NOT_PROVEN


def test_a_recorder_is_made_to_no_class() -> None:
    bare = check(RECORDER, CALIBRATED, made_to_class=None, made_to_type=None)
    assert outcomes(furnace(*GOOD[:2], bare))["furnace.recorder"] is Outcome.CONFORMS


def test_a_class_and_type_without_an_interval_refuse_the_furnace() -> None:
    other = replace(with_survey(made_to_type="B"), instrumentation_type="B")
    found = finding("furnace.survey", other)
    assert found.outcome is Outcome.NOT_PROVEN
    assert "PP-1 revision A has no interval for it in class 2, type B" in found.text


def test_an_unreviewed_newer_report_renews_nothing_but_spoils_nothing() -> None:
    newer = check(SURVEY, date(2031, 5, 25), **PENDING)
    of = furnace(newer, *GOOD)
    assert finding("furnace.survey", of).limit == "2031-06-01"
    assert outcomes(of, starts=date(2031, 6, 2))["furnace.survey"] is Outcome.DOES_NOT_CONFORM
    accepted = furnace(replace(newer, review=ACCEPTED), *GOOD)
    assert finding("furnace.survey", accepted).limit == "2031-08-25"


def test_an_unreviewed_failure_is_not_passed_over() -> None:
    newer = check(SURVEY, date(2031, 5, 25), verdict=Verdict.DOES_NOT_CONFORM, **PENDING)
    found = finding("furnace.survey", furnace(newer, *GOOD))
    assert found.outcome is Outcome.NOT_PROVEN
    assert "is followed by one of 2031-05-25 that did not pass" in found.text
    refused = replace(newer, review=Review("Ines Valcourt", accepted=False))
    assert outcomes(furnace(refused, *GOOD))["furnace.survey"] is Outcome.CONFORMS
    accepted = replace(newer, review=ACCEPTED)
    assert outcomes(furnace(accepted, *GOOD))["furnace.survey"] is Outcome.DOES_NOT_CONFORM


def test_of_two_checks_of_a_day_the_one_entered_later_counts() -> None:
    again = check(TEST, TESTED, verdict=Verdict.DOES_NOT_CONFORM)
    first = furnace(GOOD[0], again, *GOOD[1:])
    assert outcomes(first)["furnace.accuracy_test"] is Outcome.DOES_NOT_CONFORM
    last = furnace(*GOOD[:2], again, GOOD[2])
    assert outcomes(last)["furnace.accuracy_test"] is Outcome.CONFORMS


@pytest.mark.parametrize(
    ("on", "outcome"),
    [
        (date(2031, 2, 28), Outcome.CONFORMS),
        (date(2031, 3, 1), Outcome.CONFORMS),  # the survey of that day counts as made after it
        (date(2031, 3, 2), Outcome.NOT_PROVEN),
        (date(2031, 5, 31), Outcome.NOT_PROVEN),
        (date(2031, 6, 1), Outcome.CONFORMS),
    ],
)
def test_a_new_door_seal_asks_for_a_new_survey(on: date, outcome: Outcome) -> None:
    event = Maintenance("door seal changed", on, frozenset({SURVEY}))
    of = replace(FIT, maintenance=(event,))
    assert outcomes(of)["furnace.survey"] is outcome
    assert outcomes(of)["furnace.accuracy_test"] is Outcome.CONFORMS
    if outcome is Outcome.NOT_PROVEN:
        assert f"is older than door seal changed of {on}" in finding("furnace.survey", of).text
        again = replace(of, checks=(check(SURVEY, on), *of.checks))
        assert outcomes(again)["furnace.survey"] is Outcome.CONFORMS


def test_work_that_asks_for_nothing_changes_nothing() -> None:
    event = Maintenance("lamp changed", date(2031, 5, 1), frozenset())
    assert set(outcomes(replace(FIT, maintenance=(event,))).values()) == {Outcome.CONFORMS}


@pytest.mark.parametrize(
    ("uniformity", "outcome"),
    [
        ("3.0", Outcome.CONFORMS),
        ("3.04", Outcome.DOES_NOT_CONFORM),
        ("2.5", Outcome.CONFORMS),
    ],
)
def test_the_class_means_what_the_procedure_says(uniformity: str, outcome: Outcome) -> None:
    classes = [
        {"furnace_class": name, "uniformity_c": uniformity, "source": "x", "obtained": "invented"}
        for name in ("1", "2")
    ]
    assert outcomes(by=procedure(classes=classes))["furnace.class"] is outcome


def test_a_class_or_bands_unknown_are_not_proven() -> None:
    unknown = replace(FIT, furnace_class="9")
    assert outcomes(unknown)["furnace.class"] is Outcome.NOT_PROVEN
    assert outcomes(bands=())["furnace.class"] is Outcome.NOT_PROVEN


def test_a_class_two_furnace_is_refused_for_a_tighter_card() -> None:
    tight = (Band(Decimal("2.9"), Decimal(3)),)
    assert outcomes(bands=tight)["furnace.class"] is Outcome.DOES_NOT_CONFORM


@pytest.mark.parametrize(
    ("sets", "outcome"),
    [
        (("120", "180"), Outcome.CONFORMS),
        (("119.9",), Outcome.NOT_PROVEN),
        (("150", "180.1"), Outcome.NOT_PROVEN),
        ((), Outcome.NOT_PROVEN),
    ],
)
def test_set_temperatures_lie_within_the_surveyed_range(
    sets: tuple[str, ...], outcome: Outcome
) -> None:
    wanted = tuple(Decimal(text) for text in sets)
    assert outcomes(set_temperatures_c=wanted)["furnace.range"] is outcome


def test_a_survey_without_its_set_temperatures_shows_no_range() -> None:
    assert outcomes(with_survey(surveyed=None))["furnace.range"] is Outcome.NOT_PROVEN
    assert outcomes(with_survey(**PENDING))["furnace.range"] is Outcome.NOT_PROVEN
    assert SurveyedRange(Decimal(1), Decimal(2)).covers(Decimal(2))


def test_a_failure_after_the_load_is_a_note_with_the_last_good_one() -> None:
    failed = check(TEST, date(2031, 6, 3), verdict=Verdict.DOES_NOT_CONFORM, **PENDING)
    of = furnace(failed, *GOOD)
    note = finding("furnace.later_failure", of)
    assert note.outcome is Outcome.NOTE
    assert note.text == (
        "The system accuracy test of 2031-06-03, after this load's start, failed; the last good "
        "one was made on 2031-05-20."
    )
    assert (note.value, note.limit) == ("2031-06-03", "2031-05-20")
    assert worst(judge_furnace(of, procedure(), load(START, END))) is Verdict.CONFORMS


def test_a_good_check_between_load_and_failure_clears_the_load() -> None:
    failed = check(TEST, date(2031, 6, 9), verdict=Verdict.DOES_NOT_CONFORM)
    between = check(TEST, date(2031, 6, 2))
    assert "furnace.later_failure" not in outcomes(furnace(failed, between, *GOOD))
    on_the_last_day = check(TEST, END)
    assert "furnace.later_failure" in outcomes(furnace(failed, on_the_last_day, *GOOD))
    unreviewed = replace(between, **PENDING)
    assert "furnace.later_failure" in outcomes(furnace(failed, unreviewed, *GOOD))
    refused = replace(failed, review=Review("Ines Valcourt", accepted=False))
    assert "furnace.later_failure" not in outcomes(furnace(refused, *GOOD))


def test_a_first_check_that_fails_has_no_good_one_before() -> None:
    failed = check(TEST, date(2031, 6, 3), verdict=Verdict.DOES_NOT_CONFORM)
    note = finding("furnace.later_failure", furnace(failed, GOOD[0], GOOD[2]))
    assert "no good one came before" in note.text
    assert note.limit is None


def test_the_counting_survey_is_the_newest_accepted_one() -> None:
    pending = check(SURVEY, date(2031, 5, 1), **PENDING)
    older = check(SURVEY, date(2031, 1, 1))
    of = furnace(pending, older, *GOOD)
    assert counting_survey(of, on=START) == GOOD[0]
    assert counting_survey(of, on=date(2031, 2, 1)) == older
    assert counting_survey(of, on=date(2030, 2, 1)) is None
    assert {one.kind for one in of.checks} == set(CheckKind)
