import json
from pathlib import Path
from typing import Any

import pytest

from app.cli.judge_coupon import judge_coupon_command, schema

TABLE: dict[str, Any] = {
    "name": "DT-9",
    "revision": "B",
    "entries": [
        {
            "alloy": "Q-77",
            "temper": "K1",
            "form": "plate",
            "thickness_mm": {"from": "6", "to": "50", "from_included": True, "to_included": False},
            "surface": None,
            "decision": "simple",
            "source": "DT-9, row 4",
            "obtained": "invented",
            "criteria": [
                {
                    "quantity": "hardness",
                    "scale": "HRB",
                    "min": "83",
                    "statistic": "each",
                    "readings_min": 2,
                }
            ],
        }
    ],
}


@pytest.fixture
def papers(tmp_path: Path) -> tuple[Path, Path]:
    coupon, table = tmp_path / "C.json", tmp_path / "T.json"
    table.write_text(json.dumps(TABLE), encoding="utf-8")
    return coupon, table


def write_coupon(path: Path, *values: str, **change: object) -> None:
    readings = [{"quantity": "hardness", "scale": "HRB", "value": value} for value in values]
    paper = {"alloy": "Q-77", "temper": "K1", "form": "plate", "thickness_mm": "12.5"}
    path.write_text(json.dumps({**paper, "readings": readings, **change}), encoding="utf-8")


@pytest.mark.parametrize(
    ("values", "status", "verdict"),
    [
        (("83", "84"), 0, "conforms"),
        (("82", "84"), 1, "does_not_conform"),
        (("84",), 3, "not_proven"),
    ],
)
def test_the_exit_status_is_the_verdict(
    papers: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
    values: tuple[str, ...],
    status: int,
    verdict: str,
) -> None:
    write_coupon(papers[0], *values)
    assert judge_coupon_command(*papers, as_json=True) == status
    printed = json.loads(capsys.readouterr().out)
    assert printed["verdict"] == verdict
    assert set(printed) == {"verdict", "entry", "findings"}
    assert printed["entry"]["source"] == "DT-9, row 4"
    assert set(printed["findings"][0]) == {
        *("code", "outcome", "text", "value", "limit", "unit", "source")
    }


def test_without_a_matching_entry_the_entry_is_null(
    papers: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    write_coupon(papers[0], "84", "84", alloy="Q-78")
    assert judge_coupon_command(*papers, as_json=True) == 3
    assert json.loads(capsys.readouterr().out)["entry"] is None


def test_the_plain_form_shows_the_working(
    papers: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    write_coupon(papers[0], "83.0", "84.0")
    assert judge_coupon_command(*papers, as_json=False) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("Verdict: conforms\n")
    assert "reading 1: 83.0, to the nearest 1 (ties to even) 83 >= 83: met" in printed


def test_bad_input_is_one_sentence_on_standard_error(
    papers: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert judge_coupon_command(*papers, as_json=True) == 2
    assert capsys.readouterr().err == "C.json: no such file; check its name and folder.\n"
    write_coupon(papers[0], "eighty")
    assert judge_coupon_command(*papers, as_json=True) == 2
    written = capsys.readouterr()
    assert written.out == ""
    assert written.err == (
        "C.json: readings[0].value: expected a number such as 38.0, found 'eighty'.\n"
    )


def test_an_impossible_indentation_names_the_coupon_s_file(
    papers: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    indentation = {"method": "vickers", "force_n": "5", "diagonals_mm": ["0"]}
    reading = {"quantity": "hardness", "scale": "HV", "indentation": indentation}
    write_coupon(papers[0], readings=[reading])
    assert judge_coupon_command(*papers, as_json=True) == 2
    assert capsys.readouterr().err.startswith("C.json: Vickers diagonal: 0 must be above zero")


def test_a_folder_is_no_paper(
    papers: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert judge_coupon_command(papers[0].parent, papers[1], as_json=True) == 2
    assert "cannot be read" in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["table", "coupon", "coupon-verdict"])
def test_every_paper_has_a_json_schema(kind: str) -> None:
    written = schema(kind)
    assert written["additionalProperties"] is False
    json.dumps(written)
