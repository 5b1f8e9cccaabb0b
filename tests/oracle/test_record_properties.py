"""What must not change a furnace verdict: properties of the rules that need no second judge.

Source: the judging rules, 4.1 to 4.3 (straight lines, degF, columns) and 4.6 (slack).
"""

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from .exact_lines import is_missing
from .record_generator import generate_record
from .through_files import cases, told_record

SEEDS = st.integers(min_value=100_000, max_value=10_000_000)
TRIES = settings(max_examples=cases(25), deadline=None, derandomize=True)
LENGTHS = ("elapsed_s", "in_band_s", "unproven_s")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("records")


def told(folder: Path, text: str, cycle: dict) -> dict:
    _, verdict, sentence = told_record(folder, text, cycle)
    assert verdict is not None, sentence
    return verdict


def table_of(text: str) -> list[list[str]]:
    return [line.split(",") for line in text.splitlines()]


def text_of(rows: list[list[str]]) -> str:
    return "\n".join(",".join(row) for row in rows) + "\n"


def same(one: dict, other: dict) -> None:
    """Verdict, outcomes and stage figures agree, to the slack of times and temperatures."""
    assert one["verdict"] == other["verdict"]
    assert [(f["code"], f["outcome"]) for f in one["findings"]] == [
        (f["code"], f["outcome"]) for f in other["findings"]
    ]
    for stage, twin in zip(one["stages"], other["stages"], strict=True):
        excursions = (stage.pop("excursions"), twin.pop("excursions"))
        assert stage == pytest.approx(twin, abs=2e-6)
        assert len(excursions[0]) == len(excursions[1])


@TRIES
@given(SEEDS)
def test_the_order_of_columns_and_further_columns_change_nothing(folder: Path, seed: int) -> None:
    case = generate_record(seed)
    rows = table_of(case.text)
    turned = [[*row[:1], "7" if i else "AIR", *reversed(row[1:])] for i, row in enumerate(rows)]
    assert told(folder, case.text, case.cycle) == told(folder, text_of(turned), case.cycle)


@TRIES
@given(SEEDS)
def test_when_the_logger_was_started_changes_nothing(folder: Path, seed: int) -> None:
    case = generate_record(seed)
    rows = table_of(case.text)
    if rows[0][0] != "time_s":
        return
    later = [rows[0], *([str(Decimal(row[0]) + 4096), *row[1:]] for row in rows[1:])]
    same(told(folder, case.text, case.cycle), told(folder, text_of(later), case.cycle))


@TRIES
@given(SEEDS)
def test_a_sample_added_on_the_straight_line_moves_no_crossing(folder: Path, seed: int) -> None:
    case = generate_record(seed)
    cycle = case.cycle | {"corrections": {}, "heating_rate": None, "cooling_rate": None}
    rows = table_of(case.text)
    at = next((i for i in range(1, len(rows) - 1) if _both_read(rows[i], rows[i + 1])), None)
    if at is None or rows[0][0] != "time_s":
        return
    between = [str((Decimal(a) + Decimal(b)) / 2) for a, b in zip(*rows[at : at + 2], strict=True)]
    longer = [*rows[: at + 1], between, *rows[at + 1 :]]
    if Decimal(rows[at + 1][0]) - Decimal(rows[at][0]) > Decimal(cycle["max_gap_s"]):
        return
    same(told(folder, case.text, cycle), told(folder, text_of(longer), cycle))


def _both_read(row: list[str], following: list[str]) -> bool:
    cells = [*row[1:], *following[1:]]
    return not any(is_missing(cell) or cell in {"900", "-60.5"} for cell in cells)


@TRIES
@given(SEEDS)
def test_degrees_fahrenheit_of_the_same_record_change_nothing(folder: Path, seed: int) -> None:
    case = generate_record(seed)
    if case.cycle["temperature_unit"] == "F":
        return
    rows = table_of(case.text)
    sensors = {i for i, name in enumerate(rows[0]) if name in case.cycle["sensors"]}
    warmed = [
        rows[0],
        *([_fahrenheit(c) if i in sensors else c for i, c in enumerate(row)] for row in rows[1:]),
    ]
    cycle = _cycle_in_fahrenheit(case.cycle)
    same(told(folder, case.text, case.cycle), told(folder, text_of(warmed), cycle))


def _fahrenheit(cell: str) -> str:
    return cell if is_missing(cell) else str(Decimal(cell) * 9 / 5 + 32)


def _step(figure: object) -> str:
    return str(Decimal(str(figure)) * 9 / 5)


def _cycle_in_fahrenheit(cycle: dict) -> dict:
    stages = [
        paper
        | {
            "set": _fahrenheit(paper["set"]),
            "below": _step(paper["below"]),
            "above": _step(paper["above"]),
        }
        for paper in cycle["stages"]
    ]
    turned = cycle | {"temperature_unit": "F", "stages": stages}
    turned["corrections"] = {
        name: [[_fahrenheit(str(x)), _step(c)] for x, c in points]
        for name, points in cycle["corrections"].items()
    }
    if cycle["excursions"]:
        turned["excursions"] = cycle["excursions"] | {
            "beyond": _step(cycle["excursions"]["beyond"])
        }
    for rate in ("heating_rate", "cooling_rate"):
        if cycle[rate]:
            turned[rate] = cycle[rate] | {"max_per_min": _step(cycle[rate]["max_per_min"])}
    if cycle["ageing"]:
        reference = _fahrenheit(cycle["ageing"]["reference"])
        turned["ageing"] = cycle["ageing"] | {"reference": reference}
    return turned


@TRIES
@given(SEEDS)
def test_a_record_of_one_stage_read_backwards_has_the_same_soak(folder: Path, seed: int) -> None:
    case = generate_record(seed)
    rows = table_of(case.text)
    cycle = case.cycle | {"heating_rate": None, "cooling_rate": None, "vacuum": None}
    if len(cycle["stages"]) > 1 or rows[0][0] != "time_s":
        return
    last = Decimal(rows[-1][0])
    backwards = [rows[0], *([str(last - Decimal(r[0])), *r[1:]] for r in reversed(rows[1:]))]
    forth = told(folder, case.text, cycle)
    back = told(folder, text_of(backwards), cycle)
    assert forth["verdict"] == back["verdict"]
    for length in LENGTHS:
        assert forth["stages"][0][length] == pytest.approx(back["stages"][0][length], abs=2e-6)
