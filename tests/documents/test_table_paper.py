import json
from copy import deepcopy
from decimal import Decimal
from typing import Any

import pytest

from app.documents.table import load_table, table_from_json, table_to_json
from app.errors import BadFile
from app.judging.witness.acceptance import Obtained, RetestOf, RetestRule, Statistic, ZoneOutcome

TABLE: dict[str, Any] = {
    "name": "DT-9",
    "revision": "B",
    "entries": [
        {
            "alloy": "Q-77",
            "temper": "K1",
            "form": "plate",
            "thickness_mm": {
                "from": "6.35",
                "to": "76.2",
                "from_included": True,
                "to_included": True,
            },
            "surface": None,
            "decision": "simple",
            "source": "DT-9, row 4",
            "obtained": "invented",
            "criteria": [
                {
                    "quantity": "hardness",
                    "scale": "HRB",
                    "min": "79",
                    "max": None,
                    "statistic": "each",
                    "readings_min": 3,
                    "range_max": "3",
                    "rounding": "rounding",
                },
                {
                    "quantity": "conductivity",
                    "unit": "%IACS",
                    "statistic": "mean",
                    "readings_min": 3,
                    "rounding": "rounding",
                    "resolution": "0.1",
                    "zones": [
                        {"to": "37.9", "outcome": "reject"},
                        {
                            "from": "38.0",
                            "to": "39.9",
                            "outcome": "accept_if",
                            "also": [{"quantity": "yield_strength", "unit": "ksi", "max": "67.9"}],
                        },
                        {"from": "40.0", "outcome": "accept"},
                    ],
                },
            ],
        }
    ],
}


def changed(path: str, value: object) -> dict[str, Any]:
    """The table with one field set, or removed where the value is Ellipsis."""
    paper = deepcopy(TABLE)
    spot: Any = paper
    *steps, last = [int(step) if step.isdigit() else step for step in path.split("/")]
    for step in steps:
        spot = spot[step]
    if value is ...:
        del spot[last]
    else:
        spot[last] = value
    return paper


def test_a_table_is_read_with_its_figures_as_written() -> None:
    (entry,) = load_table(json.dumps(TABLE)).entries
    hardness, conductivity = entry.criteria
    assert str(hardness.minimum) == "79"
    assert hardness.statistic is Statistic.EACH
    zone = conductivity.zones[1]
    assert (str(zone.lower), zone.outcome) == ("38.0", ZoneOutcome.ACCEPT_IF)
    (also,) = zone.also
    assert (also.statistic, also.readings_min) == (Statistic.EACH, 1)
    assert entry.depths_needed == Decimal("2.6")
    assert entry.obtained is Obtained.INVENTED


def test_json_numbers_keep_their_digits() -> None:
    text = json.dumps(changed("entries/0/criteria/0/min", "X")).replace('"X"', "79.0")
    assert str(load_table(text).entries[0].criteria[0].minimum) == "79.0"
    tens = json.dumps(changed("entries/0/criteria/0/min", "X")).replace('"X"', "8E1")
    assert str(load_table(tens).entries[0].criteria[0].minimum) == "8E+1"


def test_a_table_goes_out_and_comes_back_the_same() -> None:
    extended = changed("entries/0/retest", {"further": 2, "of": "coupons"})
    extended["entries"][0]["depths_needed"] = "3.0"
    extended["entries"][0]["criteria"][0]["min"] = "8E+1"
    table = load_table(json.dumps(extended))
    assert table.entries[0].retest == RetestRule(2, RetestOf.COUPONS)
    assert table_from_json(table_to_json(table)) == table
    assert load_table(json.dumps(table_to_json(table))) == table
    assert str(table_from_json(table_to_json(table)).entries[0].criteria[0].minimum) == "8E+1"


MEASURED = {
    "instruments": ["fixed"],
    "standards_apart": "10",
    "possible": {"from": "40", "to": "99.5"},
    "usual": {"from": "75", "to": "90"},
    "correction": "CT-1",
    "rise": {"from": "-0.5", "to": "9.0"},
}


def measured_table() -> dict[str, Any]:
    paper = changed("blind", value=True)
    paper["entries"][0]["retest"] = {"further": 2, "of": "sets", "by_another": True}
    paper["entries"][0]["criteria"][0] |= MEASURED
    return paper


def test_how_it_is_measured_goes_out_and_comes_back_the_same() -> None:
    table = load_table(json.dumps(measured_table()))
    hardness = table.entries[0].criteria[0]
    assert (table.blind, hardness.instruments, hardness.correction) == (True, ("fixed",), "CT-1")
    assert hardness.possible == (Decimal(40), Decimal("99.5"))
    assert hardness.rise == (Decimal("-0.5"), Decimal("9.0"))
    assert table.entries[0].retest == RetestRule(2, RetestOf.SETS, by_another=True)
    written = table_to_json(table)
    assert written["blind"] is True
    assert {key: written["entries"][0]["criteria"][0][key] for key in MEASURED} == MEASURED
    assert table_from_json(written) == table


def test_what_a_table_does_not_say_is_not_in_its_paper() -> None:
    """Or the digest of every table written before it could be said would change."""
    paper = changed("entries/0/retest", {"further": 2, "of": "coupons"})
    written = table_to_json(load_table(json.dumps(paper)))
    assert set(written) == {"name", "revision", "entries"}
    (entry,) = written["entries"]
    assert entry["retest"] == {"further": 2, "of": "coupons"}
    assert set(entry["criteria"][0]) == {
        *("quantity", "scale", "statistic", "readings_min", "rounding", "min", "max"),
        *("range_max", "resolution", "zones"),
    }


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        ("name", ..., "name: is missing; give it."),
        ("colour", "red", "colour: is no key of this paper; remove it or correct its spelling."),
        ("entries", {}, "entries: expected a list, found an object."),
        ("entries", [], "entries: the table has none; give at least one."),
        ("entries/0/alloy", 7, "entries[0].alloy: expected text, found 7."),
        ("entries/0/source", "  ", "entries[0].source: expected some text, found '  '."),
        (
            "entries/0/decision",
            "lax",
            "entries[0].decision: expected 'simple' or 'guarded', found 'lax'.",
        ),
        (
            "entries/0/thickness_mm/from_included",
            "yes",
            "entries[0].thickness_mm.from_included: expected true or false, found 'yes'.",
        ),
        (
            "entries/0/criteria/0/min",
            "79,5",
            "entries[0].criteria[0].min: expected a number such as 38.0, found '79,5'.",
        ),
        (
            "entries/0/criteria/0/min",
            "1e99999",
            "entries[0].criteria[0].min: expected a number such as 38.0, found '1e99999'.",
        ),
        (
            "entries/0/criteria/0/min",
            "1e99",
            "entries[0].criteria[0].min: expected a number of at most 24 digits.",
        ),
        (
            "entries/0/criteria/0/min",
            True,
            "entries[0].criteria[0].min: expected a number such as 38.0, found True.",
        ),
        (
            "entries/0/criteria/0/readings_min",
            "2.5",
            "entries[0].criteria[0].readings_min: expected a whole number, found '2.5'.",
        ),
        (
            "entries/0/criteria/0/readings_min",
            ...,
            "entries[0].criteria[0].readings_min: is missing; give it.",
        ),
        (
            "entries/0/criteria/0/unit",
            "HRB",
            "entries[0].criteria[0]: hardness needs scale, and no unit.",
        ),
        (
            "entries/0/criteria/1/zones/1/also/0/unit",
            ...,
            ("entries[0].criteria[1].zones[1].also[0]: yield strength needs unit, and no scale."),
        ),
        ("blind", "yes", "blind: expected true or false, found 'yes'."),
        (
            "entries/0/criteria/0/possible",
            {"from": "40"},
            "entries[0].criteria[0].possible.to: is missing; give it.",
        ),
        (
            "entries/0/criteria/0/instruments",
            ["fixed", "bench"],
            (
                "Entry 1 (Q-77 K1 plate from 6.35 to 76.2 mm), criterion 1 (hardness), "
                "instruments: 'bench' is unknown or stands there twice; give fixed or portable, "
                "each once."
            ),
        ),
        (
            "entries/0/criteria/0/min",
            None,
            (
                "Entry 1 (Q-77 K1 plate from 6.35 to 76.2 mm), criterion 1 (hardness): it has no "
                "min, no max and no zones; give at least one of them."
            ),
        ),
    ],
)
def test_a_faulty_table_is_refused_in_one_sentence(path: str, value: object, sentence: str) -> None:
    with pytest.raises(BadFile) as refused:
        load_table(json.dumps(changed(path, value)), filename="T.json")
    assert refused.value.sentence == f"T.json: {sentence}"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"\xff\xfe", "it is not UTF-8 text"),
        ("{", "line 1, column 2: not JSON"),
        ("", "line 1, column 1: not JSON"),
        ('{"name": NaN}', "NaN is no number"),
        ('{"name": "a", "name": "b"}', "the key 'name' stands twice"),
        ("[]", "expected an object in braces, found a list."),
        ("[" * 100_000, "nested too deeply"),
        (" " * 5_000_001, "larger than 5000000 bytes"),
    ],
)
def test_what_is_no_paper_is_refused_in_one_sentence(text: str | bytes, says: str) -> None:
    with pytest.raises(BadFile, match=r"^T\.json: ") as refused:
        load_table(text, filename="T.json")
    assert says in refused.value.sentence
    assert "\n" not in refused.value.sentence


def test_several_faults_are_counted() -> None:
    paper = changed("name", ...)
    del paper["revision"]
    with pytest.raises(BadFile, match=r"name: is missing; give it \(1 more like it\)\.$"):
        table_from_json(paper)
