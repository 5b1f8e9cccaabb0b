"""What each sensor saw: worked out by hand, and piece by piece against a slow sum."""

import math
from itertools import pairwise

import numpy as np
import pytest

from app.judging.record.cycle import Ageing, Cycle, ExcursionRule, Stage
from app.judging.record.furnace_record import judge_record, judge_trace
from app.judging.record.sensor_summary import SensorSummary, sensor_summaries
from app.judging.record.trace import Trace
from tests.judging.record_makers import MISSING, cycle, soak_of, trace

AGEING = Ageing(120_000.0, 150.0)


def summaries(record: Trace, of: Cycle) -> dict[str, SensorSummary]:
    return {one.channel: one for one in sensor_summaries(judge_trace(record, of))}


def test_arrival_extremes_and_mean_over_time():
    # In band from 100 s on; 150 for 400 s, up to 152 in 100 s, held for 500 s.
    times = [0, 100, 500, 600, 1100]
    one = summaries(trace(times, TC1=[137, 147, 147, 152, 152]), cycle())["TC1"]
    assert one.arrival_s == 100
    assert (one.lowest_c, one.highest_c) == (147, 152)
    assert one.mean_c == pytest.approx((147 * 400 + 149.5 * 100 + 152 * 500) / 1000)
    assert one.equivalent_s is None


def test_the_mean_is_over_time_and_not_over_rows():
    one = summaries(trace([0, 10, 20, 1020], TC1=[152, 152, 148, 148]), cycle())["TC1"]
    assert one.mean_c == pytest.approx((152 * 10 + 150 * 10 + 148 * 1000) / 1020)


def test_the_soak_is_cut_where_it_begins_between_two_rows():
    # TC2 arrives at 147 half-way between 0 s and 100 s; TC1 is at 149.5 then.
    found = summaries(
        trace([0, 100, 200], TC1=[149, 150, 150], TC2=[144, 150, 150]), cycle("TC1", "TC2")
    )
    assert found["TC2"].arrival_s == pytest.approx(50)
    assert found["TC1"].arrival_s == 0
    assert found["TC1"].lowest_c == pytest.approx(149.5)
    assert found["TC1"].mean_c == pytest.approx((149.75 * 50 + 150 * 100) / 150)
    assert found["TC2"].mean_c == pytest.approx((148.5 * 50 + 150 * 100) / 150)


def test_an_excursion_is_part_of_what_the_sensor_saw():
    rule = ExcursionRule(500, 20, 500)
    one = summaries(
        trace([0, 300, 400, 500, 1500], TC1=[150, 150, 140, 150, 150]), cycle(excursions=rule)
    )["TC1"]
    assert one.lowest_c == 140
    assert one.mean_c == pytest.approx((150 * 1300 + 145 * 200) / 1500)


def test_all_stages_count_and_what_is_between_them_does_not():
    stages = (soak_of(100, set_c=120.0), soak_of(100, set_c=160.0))
    one = summaries(
        trace([0, 100, 200, 400, 500], TC1=[120, 120, 160, 160, 100]), cycle(stages=stages)
    )["TC1"]
    # 120 until 107.5 s (123), from 192.5 s (157) to 400 s + 100 * 3/60 s (157).
    area = 120 * 100 + 121.5 * 7.5 + 158.5 * 7.5 + 160 * 200 + 158.5 * 5
    assert one.mean_c == pytest.approx(area / (107.5 + 7.5 + 200 + 5))
    assert (one.lowest_c, one.highest_c) == (120, 160)


def test_unproven_time_counts_for_nothing():
    record = trace(
        [0, 100, 200, 300, 400],
        TC1=[150, 151, MISSING, MISSING, 149],
        TC2=[150, 150, 150, 150, 150],
    )
    found = summaries(record, cycle("TC1", "TC2", max_gap_s=100))
    assert found["TC1"].mean_c == pytest.approx(150.5)
    assert (found["TC1"].lowest_c, found["TC1"].highest_c) == (149, 151)
    assert found["TC2"].mean_c == 150


def test_a_load_never_in_has_no_extremes_and_a_sensor_may_still_have_arrived():
    found = summaries(
        trace([0, 100, 200], TC1=[140, 150, 150], TC2=[140, 140, 140]), cycle("TC1", "TC2")
    )
    assert found["TC1"] == SensorSummary("TC1", 70.0, None, None, None, None)
    assert found["TC2"] == SensorSummary("TC2", None, None, None, None, None)


def test_a_sensor_without_a_reading_has_none():
    found = summaries(trace([0, 100], TC1=[150, 150], TC2=[MISSING, MISSING]), cycle("TC1", "TC2"))
    assert found["TC2"] == SensorSummary("TC2", None, None, None, None, None)


def test_a_soak_of_one_instant_has_its_temperature():
    record = trace([0, 100, 200], TC1=[140, 147, 140])
    assert summaries(record, cycle())["TC1"].mean_c == 147


def test_times_count_from_the_first_row():
    one = summaries(trace([5000, 5100, 6000], TC1=[137, 147, 147]), cycle())["TC1"]
    assert one.arrival_s == 100


def test_equivalent_time_is_the_verdicts():
    record = trace([0, 900, 1800], TC1=[150, 150, 150])
    of = cycle(ageing=AGEING)
    assert summaries(record, of)["TC1"].equivalent_s == pytest.approx(1800)


def test_the_verdict_is_the_same_with_and_without_its_lines():
    record = trace([0, 300, 400, 500, 1500], TC1=[150, 150, 140, 150, 150])
    assert judge_trace(record, cycle()).verdict == judge_record(record, cycle())


def made(seed: int) -> tuple[Trace, Cycle]:
    """A record of a few sensors with gaps, perhaps two stages, corrections, degF."""
    chance = np.random.default_rng(seed)
    rows = int(chance.integers(5, 60))
    times = np.cumsum(chance.choice([30.0, 60.0, 61.0, 200.0], rows))
    sensors = tuple(f"TC{number}" for number in range(1, int(chance.integers(2, 5))))
    two = chance.random() < 0.5
    course = np.interp(np.arange(rows), [0, rows / 3, rows / 2, rows], [120, 121, 150, 151])
    unit = "F" if chance.random() < 0.5 else "C"
    channels = {}
    for name in sensors:
        values = (course if two else 150) + chance.normal(0, 1.2, rows)
        values[chance.random(rows) < 0.1] = np.nan
        channels[name] = np.round(values * 9 / 5 + 32 if unit == "F" else values, 1)
    stages = (Stage(150.0, 3.0, 3.0, 600.0),)
    if two:
        stages = (Stage(120.0, 3.0, 3.0, 300.0), *stages)
    corrections = {sensors[0]: ((100.0, 0.5), (160.0, -0.5))}
    return Trace(times, channels, unit), Cycle("made", stages, sensors, 130.0, corrections)


def slowly(record: Trace, of: Cycle, name: str, windows) -> tuple[float, float, float] | None:
    """Lowest, mean and highest by walking along the line in small pieces, without the code."""
    points = []
    for at, value in zip(record.times - record.times[0], record.channels[name], strict=True):
        if math.isnan(value):
            continue
        degrees = (value - 32) * 5 / 9 if record.temperature_unit == "F" else value
        add = 0.0
        if name in of.corrections:
            (low, first), (high, last) = of.corrections[name]
            share = min(max((degrees - low) / (high - low), 0), 1)
            add = first + share * (last - first)
        points.append((float(at), degrees + add))
    area = lasted = 0.0
    seen = []
    for begin, end in windows:
        seen += [value for at, value in points if begin <= at <= end]
        for (t0, v0), (t1, v1) in pairwise(points):
            a, b = max(t0, begin), min(t1, end)
            if t1 - t0 > of.max_gap_s + 1e-6 or a > b:
                continue
            va, vb = (v0 + (v1 - v0) * (t - t0) / (t1 - t0) for t in (a, b))
            seen += [va, vb]
            area += (va + vb) / 2 * (b - a)
            lasted += b - a
    return (min(seen), area / lasted, max(seen)) if seen and lasted else None


@pytest.mark.parametrize("seed", range(150))
def test_the_figures_are_those_of_a_slow_sum(seed):
    record, of = made(seed)
    judged = judge_trace(record, of)
    windows = [(one.start_s, one.end_s) for one in judged.verdict.stages if one.start_s is not None]
    for one in sensor_summaries(judged):
        expected = slowly(record, of, one.channel, windows)
        if expected is not None:
            assert (one.lowest_c, one.mean_c, one.highest_c) == pytest.approx(expected, abs=1e-9)
        elif not windows:
            assert one.mean_c is None


def test_most_of_the_made_records_have_a_soak_and_gaps():
    judged = [judge_trace(*made(seed)).verdict for seed in range(150)]
    with_soak = [one for one in judged if any(stage.start_s is not None for stage in one.stages)]
    assert len(with_soak) > 75
    assert sum(any(one.gaps.values()) for one in with_soak) > 40
