"""Surveys, accuracy tests and recorder calibrations against an invented procedure."""

from decimal import Decimal

import pytest

from app.errors import Refusal
from app.judging.furnace.furnace_reports import (
    AccuracyReading,
    Millivolts,
    RecorderPoint,
    SensorResult,
    Survey,
    SurveyAt,
    SurveyedRange,
    judge_accuracy_test,
    judge_recorder_calibration,
    judge_survey,
    surveyed_range,
)
from app.judging.furnace.zone import Zone
from app.judging.verdict import Outcome, Verdict, worst
from tests.judging.procedure_makers import INVENTED, procedure

ZONE = Zone(Decimal(2000), Decimal(1000))
CORNERS = {"NW": (0, 1000), "NE": (2000, 1000), "SW": (0, 0), "SE": (2000, 0), "C": (1000, 500)}
QUIET = dict.fromkeys(CORNERS, ("149.2", "150.7"))


def at(set_c: str = "150", reads: dict = QUIET, places: dict = CORNERS) -> SurveyAt:
    results = []
    for station, read in reads.items():
        low, high = (None, None) if read is None else (Decimal(text) for text in read)
        x, y = (Decimal(figure) for figure in places[station])
        results.append(SensorResult(station, x, y, low, high, Decimal("-0.3")))
    return SurveyAt(Decimal(set_c), tuple(results))


def judged(*temperatures: SurveyAt, furnace_class: str = "2", zone: Zone = ZONE, **changes):
    survey = Survey(zone, temperatures)
    return judge_survey(survey, procedure(**changes), furnace_class=furnace_class)


def of(findings, code: str):
    return [finding for finding in findings if finding.code == code]


def test_a_survey_within_its_class_conforms_and_names_both_ends() -> None:
    findings = judged(at(reads=QUIET | {"NE": ("147.4", "150.0"), "C": ("150.0", "152.9")}))
    assert worst(findings) is Verdict.CONFORMS
    (uniformity,) = of(findings, "survey.uniformity")
    assert "coldest station, NE, fell to 147.4 degC" in uniformity.text
    assert "hottest, C, rose to 152.9 degC, a spread of 5.5 degC" in uniformity.text
    assert (uniformity.value, uniformity.limit, uniformity.unit) == ("2.9", "3.0", "degC")
    assert uniformity.source == INVENTED["source"]
    assert "NE: 147.4 to 150.0 degC, correction -0.3 included" in uniformity.working
    assert uniformity.working[-1] == "|2.9| <= 3.0"


@pytest.mark.parametrize(
    ("read", "met"),
    [
        (("147.0", "150"), True),
        (("146.9", "150"), False),
        (("150", "153.0"), True),
        (("150", "153.1"), False),
        (("146.96", "150"), True),  # -3.04 to the nearest 0.1 is -3.0
        (("146.95", "150"), True),  # -3.05: the tie goes to the even -3.0
        (("146.94", "150"), False),
        (("150", "153.15"), False),  # 3.15: the tie goes to the even 3.2
    ],
)
def test_the_class_s_limit_is_included_after_one_rounding(
    read: tuple[str, str],
    met: bool,  # noqa: FBT001
) -> None:
    (uniformity,) = of(judged(at(reads=QUIET | {"SW": read})), "survey.uniformity")
    expected = Outcome.CONFORMS if met else Outcome.DOES_NOT_CONFORM
    assert uniformity.outcome is expected


def test_every_set_temperature_is_judged_for_itself() -> None:
    cold = dict.fromkeys(CORNERS, ("116.9", "120.0"))
    findings = judged(at(), at("120", cold))
    outcomes = [finding.outcome for finding in of(findings, "survey.uniformity")]
    assert outcomes == [Outcome.CONFORMS, Outcome.DOES_NOT_CONFORM]
    assert surveyed_range(Survey(ZONE, (at(), at("120", cold)))) == SurveyedRange(
        Decimal(120), Decimal(150)
    )


def test_a_tighter_class_asks_more() -> None:
    findings = judged(at(reads=QUIET | {"C": ("150.0", "152.6")}), furnace_class="1")
    assert of(findings, "survey.uniformity")[0].outcome is Outcome.DOES_NOT_CONFORM


def test_a_class_the_procedure_does_not_know_is_not_proven() -> None:
    (uniformity,) = of(judged(at(), furnace_class="5"), "survey.uniformity")
    assert uniformity.outcome is Outcome.NOT_PROVEN
    assert "does not say what class 5 means" in uniformity.text


def test_a_failed_sensor_leaves_too_few() -> None:
    findings = judged(at(reads=QUIET | {"C": None}))
    (sensors,) = of(findings, "survey.sensors")
    assert sensors.outcome is Outcome.NOT_PROVEN
    assert sensors.text == "Only 4 sensors read at 150 degC; C failed; at least 5 are asked."
    (note,) = of(findings, "survey.span")
    assert note.outcome is Outcome.NOTE
    assert "the centre" in note.text
    (uniformity,) = of(findings, "survey.uniformity")
    assert "C: failed" in uniformity.working


def test_a_larger_zone_needs_more_sensors() -> None:
    (sensors,) = of(judged(at(), zone=Zone(Decimal(2501), Decimal(1000))), "survey.sensors")
    assert (sensors.value, sensors.limit) == ("5", "9")
    assert sensors.outcome is Outcome.NOT_PROVEN
    least = {"sensors_least": [{"up_to_m2": "1", "least": 3}], **INVENTED}
    (sensors,) = of(judged(at(), survey=least), "survey.sensors")
    assert sensors.outcome is Outcome.NOT_PROVEN
    assert "does not say how many sensors" in sensors.text


def test_bare_corners_and_sensors_outside_are_notes_alone() -> None:
    places = CORNERS | {"NE": (1790, 1000), "SE": (2001, 0), "NW": (200, 900)}
    findings = judged(at(places=places))
    assert worst(findings) is Verdict.CONFORMS
    notes = [note.text for note in of(findings, "survey.span")]
    assert notes == [
        (
            "No sensor was within a tenth of the zone's length and width of the upper right "
            "corner at 150 degC."
        ),
        "Outside the zone that the survey states, at 150 degC: SE.",
    ]


def test_an_empty_survey_proves_nothing() -> None:
    assert worst(judged()) is Verdict.NOT_PROVEN
    assert surveyed_range(Survey(ZONE, ())) is None
    all_failed = judged(at(reads=dict.fromkeys(CORNERS)))
    assert of(all_failed, "survey.uniformity")[0].text == "At 150 degC no sensor was read."
    assert worst(all_failed) is Verdict.NOT_PROVEN


@pytest.mark.parametrize(
    ("temperatures", "sentence"),
    [
        ((at(), at("150.0")), "At 150 degC: the set temperature stands twice"),
        ((at(reads={"C": ("151", "150")}),), "station C: the lowest, 151 degC, is above"),
        (
            (SurveyAt(Decimal(150), at(reads={"C": ("150", "151")}).results * 2),),
            "station C stands twice",
        ),
        (
            (
                SurveyAt(
                    Decimal(150),
                    (SensorResult("C", Decimal(0), Decimal(0), Decimal(150), None),),
                ),
            ),
            "give both its lowest and its highest",
        ),
    ],
)
def test_what_no_survey_can_show_is_refused(
    temperatures: tuple[SurveyAt, ...], sentence: str
) -> None:
    with pytest.raises(Refusal, match=sentence):
        judged(*temperatures)


def test_a_zone_without_area_is_refused() -> None:
    with pytest.raises(Refusal, match="A zone of 0 by 5 mm has no area"):
        Zone(Decimal(0), Decimal(5))


def accuracy(*pairs: tuple[str, str, str], channels=("TC1",), furnace_class: str = "2", **changes):
    readings = [AccuracyReading(name, Decimal(test), Decimal(said)) for name, test, said in pairs]
    return judge_accuracy_test(
        readings, procedure(**changes), furnace_class=furnace_class, channels=channels
    )


@pytest.mark.parametrize(
    ("said", "value", "met"),
    [
        ("151.5", "1.5", True),
        ("151.6", "1.6", False),
        ("148.5", "-1.5", True),
        ("148.4", "-1.6", False),
        ("151.54", "1.5", True),
        ("151.55", "1.6", False),  # the tie goes to the even 1.6
        ("151.45", "1.4", True),
    ],
)
def test_an_accuracy_test_s_limit_is_included_after_one_rounding(
    said: str,
    value: str,
    met: bool,  # noqa: FBT001
) -> None:
    (finding,) = accuracy(("TC1", "150.0", "150.0"), ("TC1", "150.0", said))
    expected = Outcome.CONFORMS if met else Outcome.DOES_NOT_CONFORM
    assert (finding.outcome, finding.value, finding.limit) == (expected, value, "1.5")


def test_every_channel_is_judged_and_one_left_out_is_not_proven() -> None:
    findings = accuracy(("TC2", "150", "152"), channels=("TC1", "TC2"))
    assert [finding.outcome for finding in findings] == [
        Outcome.NOT_PROVEN,
        Outcome.DOES_NOT_CONFORM,
    ]
    assert findings[0].text.startswith("TC1 was not read")
    assert findings[1].text == (
        "TC2 is +2.0 degC from the test instrument at most, beyond the permitted 1.5 degC."
    )


def test_no_limit_or_no_channel_proves_nothing() -> None:
    only = [{"furnace_class": "1", "largest_difference_c": "1.5", **INVENTED}]
    (finding,) = accuracy(("TC1", "150", "150"), accuracy_test=only)
    assert finding.outcome is Outcome.NOT_PROVEN
    assert finding.text == "The pyrometry procedure states no largest difference for class 2."
    assert worst(accuracy(channels=())) is Verdict.NOT_PROVEN


def recorder(*points: RecorderPoint, channels=("TC1",)):
    return judge_recorder_calibration(points, procedure(), furnace_class="2", channels=channels)


def test_a_recorder_is_judged_in_degrees_whatever_was_applied() -> None:
    """Type K: 6.138 mV is 149.99 degC (NIST SRD 60 prints 6.138 at 150)."""
    volts = Millivolts(Decimal("6.138"), "K")
    (finding,) = recorder(
        RecorderPoint("TC1", Decimal("100.0"), Decimal("100.4")),
        RecorderPoint("TC1", volts, Decimal("150.9")),
    )
    assert (finding.outcome, finding.value) == (Outcome.CONFORMS, "0.9")
    assert "6.138 mV of type K, reference junction at 0 degC, is 149.991" in finding.working[1]
    (finding,) = recorder(RecorderPoint("TC1", volts, Decimal("151.1")))
    assert (finding.outcome, finding.value) == (Outcome.DOES_NOT_CONFORM, "1.1")


def test_a_warm_reference_junction_is_added_as_voltage() -> None:
    """5.1381 mV with the junction at 25 degC is 150 degC; as temperatures it would be 150.4."""
    volts = Millivolts(Decimal("5.1381"), "K", Decimal(25))
    (finding,) = recorder(RecorderPoint("TC1", volts, Decimal("150.0")))
    assert finding.value == "0.0"


def test_a_voltage_of_no_thermocouple_is_refused() -> None:
    with pytest.raises(Refusal, match="99 mV is no voltage of a type K"):
        recorder(RecorderPoint("TC1", Millivolts(Decimal(99), "K"), Decimal(150)))
