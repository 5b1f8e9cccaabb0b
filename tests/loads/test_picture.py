"""The picture's points: spikes stay, gaps stay gaps, windows are exact when near."""

import json
import re
from datetime import UTC, datetime
from typing import Any

import numpy as np

from app.judging.record.trace import Trace
from app.loads.judged import judge_for_load
from app.loads.picture import Drawn, Labels, Shelf, drawn, points, still

CYCLE: dict[str, Any] = {
    "name": "Invented",
    "temperature_unit": "C",
    "stages": [{"set": "150", "below": "3", "above": "3", "soak_min_s": 100, "soak_max_s": None}],
    "sensors": ["TC1", "TC2"],
    "max_gap_s": 60,
    "vacuum": {"column": "VAC", "min_kpa": "70", "from": "start", "to": "soak_end"},
}
LABELS = Labels({"TC1": "nose", "TC2": "tail"}, datetime(2026, 3, 2, 6, 0, tzinfo=UTC))


def _day(spike_at: int = 40_000) -> Trace:
    """A day at 1 Hz at 150 degC; TC1 has a spike of one second, TC2 a gap of ten minutes."""
    count = 86_400
    one, two = np.full(count, 150.0), np.full(count, 149.5)
    one[spike_at] = 158.5
    two[50_000:50_600] = np.nan
    return Trace(
        np.arange(count, dtype=np.float64), {"TC1": one, "TC2": two, "VAC": np.full(count, 88.0)}
    )


def _drawn(trace: Trace) -> tuple[Drawn, dict[str, Any]]:
    return drawn(trace, CYCLE), judge_for_load(trace, CYCLE).paper


def _values(shown: dict[str, Any], name: str) -> list[float | None]:
    (series,) = (one for one in shown["series"] if one["name"] == name)
    values: list[float | None] = series["values"]
    return values


def test_a_spike_of_one_second_in_a_day_is_drawn() -> None:
    record, paper = _drawn(_day())
    shown = points(record, paper, LABELS, width=500)
    values = _values(shown, "TC1")
    assert max(value for value in values if value is not None) == 158.5
    assert 900 <= len(shown["t"]) <= 1100
    assert len(shown["t"]) == len(values) == len(shown["vacuum"]["values"])
    assert shown["t"] == sorted(shown["t"])


def test_a_gap_is_drawn_as_nothing() -> None:
    record, paper = _drawn(_day())
    shown = points(record, paper, LABELS, span=(50_000, 50_599), width=1000)
    values = _values(shown, "TC2")
    inside = [value for at, value in zip(shown["t"], values, strict=True) if 50_000 <= at < 50_600]
    assert set(inside) == {None}
    assert shown["gaps"] == [{"from_s": 49_999.0, "to_s": 50_600.0, "sensor": "TC2"}]


def test_a_near_window_shows_the_samples_themselves() -> None:
    record, paper = _drawn(_day())
    shown = points(record, paper, LABELS, span=(39_998, 40_002), width=1000)
    assert shown["t"] == [39_997.0, 39_998.0, 39_999.0, 40_000.0, 40_001.0, 40_002.0, 40_003.0]
    assert _values(shown, "TC1") == [150.0, 150.0, 150.0, 158.5, 150.0, 150.0, 150.0]
    assert shown["whole"] == [0.0, 86_399.0]


def test_a_stop_of_the_logger_breaks_the_line() -> None:
    times = np.concatenate((np.arange(100.0), np.arange(400.0, 500.0)))
    flat = np.full(200, 150.0)
    trace = Trace(times, {"TC1": flat, "TC2": flat, "VAC": flat})
    record, paper = _drawn(trace)
    shown = points(record, paper, LABELS, width=1000)
    values = _values(shown, "TC1")
    assert values.count(None) == 1
    assert shown["t"][values.index(None)] == (99 + 400) / 2


def test_a_window_outside_the_record_or_turned_round_still_answers() -> None:
    record, paper = _drawn(_day())
    for span in ((1e9, 2e9), (500.0, 100.0), (-5.0, -1.0)):
        shown = points(record, paper, LABELS, span=span, width=0)
        assert json.loads(json.dumps(shown, allow_nan=False))["stages"][0]["low"] == 147.0


def test_a_record_of_one_sample_can_be_drawn() -> None:
    one = np.array([150.0])
    record, paper = _drawn(Trace(np.array([0.0]), {"TC1": one, "TC2": one, "VAC": one}))
    assert points(record, paper, LABELS)["t"] == [0.0]
    assert still(record, paper, LABELS).startswith(b"<?xml")


def test_the_still_picture_names_every_line_in_text_and_loads_nothing() -> None:
    record, paper = _drawn(_day())
    svg = still(record, paper, LABELS).decode()
    for words in ("TC1", "TC2", "VAC, kPa", "out of band", "gap", "hours from the first sample"):
        assert words in svg
    assert not re.search(r"(href|src)=\"(?!#)", svg)
    assert "<script" not in svg


def test_the_shelf_makes_each_thing_once_and_lets_the_oldest_go() -> None:
    shelf: Shelf[int] = Shelf(2)
    made: list[str] = []

    def make(name: str) -> int:
        made.append(name)
        return len(made)

    for name in ("a", "b", "a", "c", "a", "b"):
        shelf.get((name,), lambda name=name: make(name))  # type: ignore[misc]
    assert made == ["a", "b", "c", "b"]
