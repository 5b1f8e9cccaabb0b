"""The mapping's paper: what it must state, and what it may not say."""

import pytest

from app.documents.logger.logger_mapping import (
    load_mapping,
    mapping_from_json,
    mapping_schema,
    mapping_to_json,
    zone_stated,
)
from app.errors import BadFile

PAPER = {
    "name": "Night logger",
    "kind": "csv",
    "encoding": "utf-8",
    "delimiter": "semicolon",
    "decimal_mark": "comma",
    "header": "by names",
    "time": {
        "columns": ["Date", "Time"],
        "kind": "pattern",
        "order": "day-month-year",
        "date_mark": ".",
        "zone": "Europe/Berlin",
    },
    "temperature_unit": "C",
    "channels": [
        {"channel": "TC1", "column": "Zone 1"},
        {"channel": "TC2", "column": "Zone 2", "unit": "F"},
    ],
    "vacuum": {"channel": "VAC", "column": "Bag", "unit": "mbar", "sense": "below ambient"},
}
TIME = PAPER["time"]
VACUUM = PAPER["vacuum"]


def refusal(**keys: object) -> str:
    with pytest.raises(BadFile) as refused:
        mapping_from_json({**PAPER, **keys}, filename="m.json")
    assert refused.value.sentence.startswith("m.json: ")
    return refused.value.sentence


def test_a_paper_goes_to_json_and_back() -> None:
    mapping = mapping_from_json(PAPER, filename="m.json")
    assert mapping_from_json(mapping_to_json(mapping), filename="m.json") == mapping
    assert mapping.trace_unit == "C"
    assert [part.channel for part in mapping.parts] == ["TC1", "TC2", "VAC"]


def test_the_schema_names_every_key() -> None:
    schema = mapping_schema()
    assert set(schema["properties"]) == set(mapping_to_json(mapping_from_json(PAPER, filename="m")))
    assert schema["additionalProperties"] is False


def test_it_is_read_from_text() -> None:
    with pytest.raises(BadFile, match="not JSON"):
        load_mapping("{", filename="m.json")


def test_temperatures_all_in_degf_stay_so() -> None:
    channels = [{"channel": "TC1", "column": 3, "unit": "F"}]
    mapping = mapping_from_json({**PAPER, "channels": channels}, filename="m.json")
    assert mapping.trace_unit == "F"


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"speed": 1}, "speed: is no key of this paper"),
        ({"encoding": None}, "encoding and delimiter are both needed"),
        ({"encoding": "utf-7"}, "encoding: expected 'utf-8', 'utf-16' or 'latin-1'"),
        ({"sheet": "Log"}, "sheets and date cells belong to XLSX"),
        ({"kind": "xlsx"}, "encoding and delimiter belong to CSV"),
        ({"thousands_mark": "comma"}, "thousands_mark and decimal_mark are the same"),
        (
            {"thousands_mark": "comma", "decimal_mark": "point", "delimiter": "comma"},
            "thousands_mark and delimiter are the same",
        ),
        ({"header": 0}, "header: expected the row from 1"),
        ({"header": True}, "header: expected the row from 1"),
        ({"header": "row 4"}, "header: expected the row from 1"),
        ({"header": "none"}, "every column must be given by its place"),
        ({"channels": []}, "channels is empty"),
        ({"channels": [PAPER["channels"][0]] * 2}, "channels names TC1 twice"),
        (
            {"channels": [{"channel": "TC1", "column": "Date"}]},
            "TC1: column Date is read already",
        ),
        ({"channels": [{"channel": "TC1", "column": 0}]}, "expected a column's name, or its place"),
        ({"channels": [{"channel": "TC1", "column": " "}]}, "expected a column's name"),
        ({"ignored": ["Zone 1"]}, "ignored names Zone 1, which is read"),
        ({"ignored": "the rest"}, "ignored"),
        ({"footer": {}}, "footer takes a marker or a number of rows"),
        ({"footer": {"rows": 0}}, "expected a number of rows from 1"),
        ({"footer": {"rows": 1, "marker": "End"}}, "footer takes a marker or a number of rows"),
        ({"join": "union of times"}, "join is for files side by side"),
        ({"sort": True}, "sort is for files one after the other"),
        ({"time": TIME | {"zone": None}}, "zone is missing"),
        ({"time": TIME | {"zone": "Mars/Base"}}, "there is no zone Mars/Base"),
        ({"time": TIME | {"zone": "../etc/passwd"}}, "there is no zone"),
        ({"time": TIME | {"zone": "+25:00"}}, "there is no zone +25:00"),
        ({"time": TIME | {"date_mark": None}}, "date_mark is missing"),
        ({"time": TIME | {"elapsed_unit": "hours"}}, "elapsed_unit belongs to the kind elapsed"),
        ({"time": TIME | {"kind": "iso"}}, "order belongs to the kind pattern"),
        ({"time": TIME | {"columns": ["a", "b", "c"]}}, "columns takes one column"),
        ({"time": {"columns": ["t"], "kind": "elapsed"}}, "elapsed_unit is missing"),
        (
            {"time": {"columns": ["t"], "kind": "elapsed", "elapsed_unit": "hours", "zone": "UTC"}},
            "elapsed times have none",
        ),
        ({"time": {"columns": ["t"], "kind": "date cell", "zone": "UTC"}}, "belong to XLSX"),
        ({"vacuum": VACUUM | {"unit": "bar"}}, "vacuum.unit: expected"),
        ({"vacuum": VACUUM | {"sense": "absolute"}}, "ambient_kpa is missing"),
        (
            {"vacuum": VACUUM | {"ambient_kpa": "101.3"}},
            "ambient_kpa belongs to the sense absolute",
        ),
    ],
    ids=str,
)
def test_what_a_mapping_may_not_say(keys, says) -> None:
    assert says in refusal(**keys)


@pytest.mark.parametrize("written", ["UTC", "+02:00", "-05:30", "Asia/Kolkata"])
def test_zones_that_there_are(written) -> None:
    assert zone_stated(written) is not None
