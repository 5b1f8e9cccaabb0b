"""PROCEDURE.json: taken exactly, written back the same, or refused by row and field."""

import json
from datetime import date
from decimal import Decimal

import pytest

from app.documents.pyrometry import (
    load_procedure,
    procedure_from_json,
    procedure_schema,
    procedure_to_json,
)
from app.errors import BadFile
from app.judging.furnace.intervals import Every, MonthEnd, Span
from app.judging.furnace.procedure import CheckKind, InstrumentKind, Procedure
from app.judging.witness.acceptance import Obtained
from tests.judging.procedure_makers import INVENTED, SURVEY, procedure, procedure_json


def test_a_whole_procedure_is_taken_with_figures_as_written() -> None:
    taken = procedure()
    assert taken.title == "PP-1 revision A"
    assert str(taken.class_rule("2").uniformity_c) == "3.0"
    assert taken.class_rule("2").origin.obtained is Obtained.INVENTED
    assert taken.class_rule("9") is None
    assert taken.interval(SURVEY, "1", "D").every == Every(1, Span.MONTHS)
    assert taken.interval(SURVEY, "1", "B") is None
    assert taken.interval(CheckKind.RECORDER_CALIBRATION, "1", "B").every.words == "90 days"
    assert taken.instrument_interval(InstrumentKind.VACUUM_GAUGE).every.words == "12 months"
    assert taken.accuracy_limit("7").largest_c == Decimal("1.5")
    assert taken.recorder_limit("1").largest_c == Decimal("0.5")
    assert taken.recorder_limit("7") is None
    assert taken.asked_by("door seal changed").asks_for == (SURVEY,)
    assert taken.asked_by("roof painted") is None


def test_what_is_written_back_reads_the_same() -> None:
    taken = procedure()
    text = json.dumps(procedure_to_json(taken))
    assert load_procedure(text) == taken
    assert procedure_to_json(load_procedure(text)) == json.loads(text)
    bare = procedure(sensor_life=None, maintenance=[], instruments=[])
    assert procedure_from_json(procedure_to_json(bare)) == bare


def test_a_file_s_bytes_are_read_as_its_text() -> None:
    assert load_procedure(json.dumps(procedure_json()).encode()) == procedure()


def test_the_schema_names_every_key() -> None:
    assert set(procedure_schema()["properties"]) == set(procedure_json())


@pytest.mark.parametrize(("area", "least"), [("0.1", 5), ("2.5", 5), ("2.51", 9), ("400", 9)])
def test_survey_sensors_by_area_each_area_included(area: str, least: int) -> None:
    assert procedure().sensors_least(Decimal(area)) == least


def test_an_area_beyond_the_table_has_no_number() -> None:
    survey = {"sensors_least": [{"up_to_m2": "2.5", "least": 5}], **INVENTED}
    assert procedure(survey=survey).sensors_least(Decimal("2.6")) is None


def test_last_days_follow_the_calendar_the_paper_states() -> None:
    done, calendar = date(2031, 11, 30), procedure_json()["calendar"]

    def last_day(by: Procedure) -> date:
        return by.last_day_of(done, by.interval(SURVEY, "2", "D").every)

    assert last_day(procedure()) == date(2032, 2, 29)
    following = procedure(calendar=calendar | {"month_end": "first day of the next month"})
    assert following.month_end is MonthEnd.NEXT_FIRST
    assert last_day(following) == date(2032, 3, 1)
    before = procedure(calendar=calendar | {"due_day_counts": False})
    assert last_day(before) == date(2032, 2, 28)
    assert procedure().interval(SURVEY, "2", "B") is None
    gauge = procedure().last_day_of_instrument(InstrumentKind.VACUUM_GAUGE, date(2032, 2, 29))
    assert gauge == date(2033, 2, 28)
    no_instruments = procedure(instruments=[])
    assert no_instruments.last_day_of_instrument(InstrumentKind.SENSOR, done) is None


def _rows(field: str, *changes: dict) -> dict:
    """The paper with changed copies of a list's first row put behind it."""
    rows = procedure_json()[field]
    return {field: [*rows, *(rows[0] | change for change in changes)]}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (_rows("classes", {}), "classes has '1' twice; keep one of them"),
        (_rows("intervals", {}), r"intervals\[0\] \(.* class 2, type D\) and intervals\[4\]"),
        (
            _rows("intervals", {"furnace_class": None}),
            r"intervals\[4\] \(uniformity survey of class any, type D\) both speak",
        ),
        (
            _rows("intervals", {"instrumentation_type": None}),
            r"intervals\[0\] .* and intervals\[4\] .* type any\) both speak for the same furnace",
        ),
        (_rows("intervals", {"furnace_class": "6"}), r"intervals\[4\]: class '6' is not among"),
        (
            _rows("intervals", {"instrumentation_type": "Z"}),
            r"intervals\[4\]: type 'Z' is not among instrumentation_types; add it",
        ),
        (_rows("instruments", {}), "instruments has 'sensor' twice"),
        (_rows("maintenance", {}), "maintenance has 'door seal changed' twice"),
        (_rows("accuracy_test", {"furnace_class": "1"}), "accuracy_test has two rows for class"),
        (_rows("recorder", {}), "recorder has two rows for class 1"),
        (_rows("recorder", {"furnace_class": "8"}), r"recorder\[2\]: class '8' is not among"),
        ({"instrumentation_types": ["D", "B", "D"]}, "instrumentation_types has 'D' twice"),
        ({"classes": []}, "classes is empty; give at least one row"),
        (
            {"survey": {"sensors_least": [], **INVENTED}},
            "survey.sensors_least is empty; say how many sensors",
        ),
        (
            {
                "survey": {
                    "sensors_least": [
                        {"up_to_m2": "2", "least": 5},
                        {"up_to_m2": "2.0", "least": 9},
                    ],
                    **INVENTED,
                }
            },
            "2.0 m2 follows 2 m2; give the areas in rising order",
        ),
        (
            {
                "survey": {
                    "sensors_least": [
                        {"up_to_m2": None, "least": 5},
                        {"up_to_m2": "2", "least": 9},
                    ],
                    **INVENTED,
                }
            },
            "goes on after its row without an end",
        ),
        ({"sensor_life": {**INVENTED}}, "sensor_life: expected largest_uses, largest_age or both"),
        ({"tolerance": 3}, "tolerance: is no key of this paper"),
        (
            _rows("intervals", {"every": {"days": 3, "weeks": 1}}),
            r"intervals\[4\].every: expected exactly one of days, weeks and months",
        ),
        (_rows("intervals", {"every": {"days": 0}}), r"every.days: expected 1 or more, found 0"),
        (_rows("intervals", {"every": {"months": 200}}), "not between one day and ten years"),
        (_rows("intervals", {"check": "weekly look"}), r"check: expected .*'uniformity survey'"),
        (_rows("classes", {"uniformity_c": "0"}), "uniformity_c: expected more than 0, found 0"),
        (_rows("classes", {"uniformity_c": "three"}), "expected a number such as 38.0"),
        (_rows("classes", {"source": " "}), "source: expected some text"),
        (_rows("classes", {"obtained": "hearsay"}), "obtained: expected 'published'"),
    ],
)
def test_what_does_not_hold_together_is_refused_in_one_sentence(
    changes: dict, sentence: str
) -> None:
    with pytest.raises(BadFile, match=sentence) as refused:
        procedure_from_json(procedure_json(**changes), filename="PP-1.json")
    assert str(refused.value).startswith("PP-1.json: ")
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("key", list(procedure_json()))
def test_every_key_but_the_sensor_s_life_is_asked_for(key: str) -> None:
    paper = procedure_json()
    del paper[key]
    if key == "sensor_life":
        assert procedure_from_json(paper).sensor_life is None
        return
    with pytest.raises(BadFile, match=f"{key}: is missing"):
        procedure_from_json(paper)
