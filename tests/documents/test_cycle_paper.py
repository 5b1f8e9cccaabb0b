"""CYCLE.json: taken exactly, or refused by field."""

import json
from copy import deepcopy

import pytest

from app.documents.cycle import columns_needed, cycle_of, load_cycle
from app.errors import BadFile

WHOLE = {
    "name": "K-1",
    "temperature_unit": "C",
    "stages": [{"set": 150, "below": 3, "above": "3.0", "soak_min_s": 86400, "soak_max_s": None}],
    "sensors": ["TC1", "TC2"],
    "max_gap_s": 120,
    "corrections": {"TC1": [[100, 0.4], ["160", "0.6"]]},
    "excursions": {"longest_s": 300, "beyond": 2.0, "total_s": 600},
    "heating_rate": {"max_per_min": 2.0, "window_s": 600},
    "cooling_rate": {"max_per_min": 1.0, "window_s": 600},
    "vacuum": {"column": "VAC", "min_kpa": 70, "from": "start", "to": "soak_end"},
    "ageing": {
        "activation_energy_j_per_mol": 120000,
        "reference": 150,
        "min_s": None,
        "max_s": None,
    },
}
ABSENT = object()


def read(content):
    return load_cycle(json.dumps(content), filename="k.json")


def changed(path, value):
    content = deepcopy(WHOLE)
    *way, last = path
    at = content
    for step in way:
        at = at[step]
    if value is ABSENT:
        del at[last]
    else:
        at[last] = value
    return content


def test_a_whole_cycle_is_taken_with_numbers_as_numbers_or_text():
    cycle = cycle_of(read(WHOLE))
    (stage,) = cycle.stages
    assert (stage.low_c, stage.high_c, stage.soak_min_s, stage.soak_max_s) == (
        147,
        153,
        86400,
        None,
    )
    assert cycle.corrections == {"TC1": ((100, 0.4), (160, 0.6))}
    assert cycle.vacuum.begins == "start"
    assert cycle.vacuum.ends == "soak_end"
    assert columns_needed(read(WHOLE)) == ("TC1", "TC2", "VAC")


def test_optional_parts_may_be_null_or_left_out():
    least = {key: WHOLE[key] for key in ("name", "stages", "sensors", "max_gap_s")}
    with_nulls = {
        **WHOLE,
        **dict.fromkeys(
            ("corrections", "excursions", "heating_rate", "cooling_rate", "vacuum", "ageing")
        ),
    }
    assert cycle_of(read(least)) == cycle_of(read(with_nulls))


def test_every_temperature_of_a_degf_cycle_is_converted():
    content = changed(("temperature_unit",), "F")
    content["stages"][0] = {"set": 302, "below": 5.4, "above": 9, "soak_min_s": 1}
    content["corrections"] = {"TC1": [[212, 0.9], [320, 1.8]]}
    content["ageing"]["reference"] = 302
    cycle = cycle_of(read(content))
    assert cycle.stages[0].set_c == 150
    assert cycle.stages[0].below_c == pytest.approx(3, abs=1e-12)
    assert cycle.stages[0].above_c == 5
    assert cycle.corrections["TC1"] == ((100, 0.5), (160, 1))
    assert cycle.excursions.beyond_c == pytest.approx(2 * 5 / 9, abs=1e-12)
    assert cycle.heating_rate.max_c_per_min == pytest.approx(2 * 5 / 9, abs=1e-12)
    assert cycle.ageing.reference_c == 150


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        (("name",), ABSENT, "name: is missing"),
        (("stages",), [], "stages is empty"),
        (("sensors",), [], "sensors is empty"),
        (("sensors",), ["TC1", "TC1"], "sensors names TC1 twice"),
        (("temperature_unit",), "K", "temperature_unit: expected 'C' or 'F', found 'K'"),
        (("stages", 0, "set"), "warm", "stages[0].set: expected a number such as 38.0"),
        (("stages", 0, "set"), True, "stages[0].set: expected a number"),
        (("stages", 0, "set"), -300, "stages[0].set: -300 degC is below absolute zero"),
        (("stages", 0, "below"), -1, "stages[0].below: expected 0 or more, found -1"),
        (("stages", 0, "above"), "-0.5", "stages[0].above: expected 0 or more, found -0.5"),
        (("stages", 0, "soak_max_s"), 10, "stages[0]: soak_max_s 10 is less than soak_min_s 86400"),
        (("stages", 0, "soak"), 10, "stages[0].soak: is no key of this paper"),
        (("colour",), "red", "colour: is no key of this paper"),
        (("max_gap_s",), -1, "max_gap_s: expected 0 or more"),
        (("corrections",), {"TC9": [[1, 2]]}, "corrections.TC9: there is no such sensor"),
        (("corrections",), {"TC1": []}, "corrections.TC1 is empty"),
        (("corrections",), {"TC1": [[100, 1], [100, 2]]}, "corrections.TC1: 100 follows 100"),
        (("excursions", "beyond"), ABSENT, "excursions.beyond: is missing"),
        (("heating_rate", "window_s"), 0, "heating_rate.window_s: expected more than 0, found 0"),
        (("vacuum", "from"), "begin", "vacuum.from: expected 'start' or 'soak_start'"),
        (("vacuum", "to"), "start", "vacuum.to: expected 'soak_end' or 'end'"),
        (("vacuum", "column"), "TC1", "vacuum.column TC1 is a temperature sensor as well"),
        (("ageing", "activation_energy_j_per_mol"), 0, "expected more than 0"),
        (("ageing", "min_s"), 5, None),
    ],
)
def test_a_wrong_field_is_named(path, value, says):
    if says is None:
        assert cycle_of(read(changed(path, value))).ageing.min_s == 5
        return
    with pytest.raises(BadFile) as caught:
        read(changed(path, value))
    assert caught.value.sentence.startswith("k.json: ")
    assert says in caught.value.sentence


def test_a_paper_that_is_no_json_is_refused():
    with pytest.raises(BadFile, match=r"k\.json: line 1"):
        load_cycle("{name: K-1", filename="k.json")
