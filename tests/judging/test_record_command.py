"""`judge record`, from files to exit status."""

import json

import pytest

from app.cli.judge_record import judge_record_command, schema

CYCLE = {
    "name": "K-1",
    "temperature_unit": "C",
    "stages": [{"set": 150, "below": 3, "above": 3, "soak_min_s": 600, "soak_max_s": None}],
    "sensors": ["TC1", "TC2"],
    "max_gap_s": 300,
    "corrections": {},
    "excursions": None,
    "heating_rate": None,
    "cooling_rate": None,
    "vacuum": None,
    "ageing": None,
}
GOOD = "time_s,TC1,TC2,door\n0,140,140,shut\n100,150,150,shut\n400,150,151,shut\n700,150,150,\n"


@pytest.fixture
def run(tmp_path, capsys):
    def _run(record, *, as_json=True, **changes):
        (tmp_path / "run.csv").write_text(record)
        (tmp_path / "k.json").write_text(json.dumps(CYCLE | changes))
        status = judge_record_command(tmp_path / "run.csv", tmp_path / "k.json", as_json)
        shown = capsys.readouterr()
        return status, shown.out, shown.err

    return _run


def test_a_conforming_record_exits_0_with_exactly_the_keys_of_the_form(run):
    status, out, err = run(GOOD)
    verdict = json.loads(out)
    assert (status, err) == (0, "")
    assert verdict["verdict"] == "conforms"
    assert list(verdict) == [
        "verdict",
        "stages",
        "heating_rate_c_per_min",
        "equivalent_time_s",
        "vacuum",
        "findings",
    ]
    assert list(verdict["stages"][0]) == [
        "start_s",
        "end_s",
        "elapsed_s",
        "in_band_s",
        "unproven_s",
        "spread_c",
        "excursions",
    ]
    assert verdict["stages"][0]["start_s"] == pytest.approx(70, abs=1e-6)
    for finding in verdict["findings"]:
        assert list(finding) == ["code", "outcome", "text", "value", "limit", "unit", "source"]


def test_a_record_out_of_band_exits_1_and_shows_the_excursion(run):
    status, out, _ = run(GOOD.replace("400,150,151", "400,150,156"))
    (one,) = json.loads(out)["stages"][0]["excursions"]
    assert status == 1
    assert list(one) == ["from_s", "to_s", "beyond_c", "side", "sensors"]
    assert (one["side"], one["sensors"], one["beyond_c"]) == ("above", ["TC2"], 3)


def test_a_record_with_a_gap_exits_3(run):
    status, out, _ = run(GOOD.replace("400,150,151", "400,150,OPEN"))
    assert status == 3
    assert json.loads(out)["verdict"] == "not_proven"


def test_plain_output_is_read_with_its_working(run):
    status, out, _ = run(GOOD, as_json=False)
    assert status == 0
    assert out.startswith("Verdict: conforms\nCycle:   K-1\nStage 1: soak from 1 min 10 s")
    assert "elapsed 630 s" in out


@pytest.mark.parametrize(
    ("record", "changes", "says"),
    [
        (GOOD, {"sensors": ["TC1", "TC7"]}, "run.csv, row 1: there is no column TC7"),
        (
            GOOD,
            {"vacuum": {"column": "VAC", "min_kpa": 70, "from": "start", "to": "end"}},
            "run.csv, row 1: there is no column VAC",
        ),
        (GOOD.replace("151", "hot"), {}, "run.csv, row 4, column TC2: 'hot' is no number"),
        ("", {}, "run.csv: the file is empty"),
        (GOOD, {"max_gap_s": "long"}, "k.json: max_gap_s: expected a number"),
        (GOOD, {"colour": 1}, "k.json: colour: is no key of this paper"),
    ],
)
def test_bad_input_exits_2_with_one_sentence(run, record, changes, says):
    status, out, err = run(record, **changes)
    assert (status, out) == (2, "")
    assert err.startswith(says)
    assert err.count("\n") == 1


def test_a_missing_file_exits_2(tmp_path, capsys):
    assert judge_record_command(tmp_path / "run.csv", tmp_path / "k.json", as_json=True) == 2
    assert "k.json: no such file" in capsys.readouterr().err


def test_the_schemas_name_the_keys_of_the_files():
    assert set(schema("cycle")["properties"]) == set(CYCLE)
    vacuum = schema("cycle")["$defs"]["VacuumPaper"]["properties"]
    assert set(vacuum) == {"column", "min_kpa", "from", "to"}
    assert "heating_rate_c_per_min" in schema("record-verdict")["properties"]
