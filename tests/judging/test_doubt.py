"""What a record's doubts say, and on what: small records worked out by hand."""

import numpy as np
import pytest

from app.judging.doubt import (
    DoubtContext,
    SeenBefore,
    Usual,
    channel_noise,
    doubts,
    marks_of,
    response_lags,
    shared,
)
from app.judging.record.cycle import Cycle, Stage, VacuumLimit
from app.judging.record.trace import Trace
from app.judging.verdict import Outcome, Verdict, worst

ROWS = 1200
STEP_S = 30.0
CYCLE = Cycle("K-1", (Stage(150.0, 3.0, 3.0, 600.0),), ("TC1", "TC2", "TC3", "TC4"), 120.0)


def warming(seed: int = 3, *, noise_c: float = 0.1, lags_s=(300, 600, 900, 1200)) -> Trace:
    """Four sensors warming to 150 degC behind lags of their own, shown to 0.1 degC."""
    chance = np.random.default_rng(seed)
    times = np.arange(ROWS) * STEP_S
    channels = {}
    for number, lag_s in enumerate(lags_s, start=1):
        course = 150.0 - 125.0 * np.exp(-times / lag_s / 3)
        channels[f"TC{number}"] = np.round(course + chance.normal(0, noise_c, ROWS), 1)
    return Trace(times, channels)


def changed(trace: Trace, **channels: np.ndarray) -> Trace:
    return Trace(trace.times, {**trace.channels, **channels}, trace.temperature_unit)


def only(findings):
    (found,) = findings
    return found


def test_an_honest_record_raises_no_doubt():
    assert doubts(warming(), CYCLE) == ()


def test_doubts_are_notes_and_never_change_a_verdict():
    trace = warming()
    trace = changed(trace, TC2=trace.channels["TC1"])
    found = doubts(trace, CYCLE)
    assert {one.outcome for one in found} == {Outcome.NOTE}
    assert worst(found) is Verdict.NOT_PROVEN
    assert all(one.code.startswith("doubt.") and one.working and one.source for one in found)


def test_a_channel_frozen_while_the_others_warm_is_named_with_span_and_figure():
    trace = warming()
    values = trace.channels["TC3"].copy()
    values[20:81] = values[20]
    found = only(doubts(changed(trace, TC3=values), CYCLE))
    assert found.code == "doubt.frozen"
    assert found.value == 1800.0
    assert "TC3" in found.text
    assert "30 min" in found.text
    assert "61 equal readings from 10 min to 40 min" in found.working[0]


def test_a_quiet_channel_on_a_coarse_display_is_not_frozen():
    # Noise of a hundredth of a degree on a display of a tenth: it rests for hours by nature, and
    # TC1 arrives while TC4 is still some 20 degC below.
    trace = warming(noise_c=0.01)
    assert len(set(trace.channels["TC1"][300:])) == 1
    assert trace.channels["TC4"][300] < 142
    assert doubts(trace, CYCLE) == ()


def test_a_channel_that_stays_hot_while_the_others_cool_is_frozen():
    trace = warming(noise_c=0.01)
    cooling = 60 * np.clip(np.arange(ROWS) - 1000, 0, None) / 200
    channels = {name: np.round(one - cooling, 1) for name, one in trace.channels.items()}
    assert doubts(Trace(trace.times, channels), CYCLE) == ()
    channels["TC2"] = trace.channels["TC2"]
    found = only(doubts(Trace(trace.times, channels), CYCLE))
    assert found.code == "doubt.frozen"
    assert "TC2" in found.text


def test_all_channels_still_is_no_frozen_channel():
    times = np.arange(ROWS) * STEP_S
    still = Trace(times, {f"TC{n}": np.full(ROWS, 150.0 + n) for n in range(1, 5)})
    assert doubts(still, CYCLE) == ()


@pytest.mark.parametrize(
    ("copy", "told"),
    [
        (lambda values: values, "TC4 = TC1 + 0 degC, within"),
        (lambda values: np.round(values + 0.7, 1), "TC4 = TC1 + 0.7 degC, within"),
        (lambda values: np.append(values[0], values[:-1]), "TC4 = TC1 + 0 degC, one row later"),
        (lambda values: np.append(values[1:], values[-1]), "TC4 = TC1 + 0 degC, one row earlier"),
    ],
)
def test_two_channels_of_one_signal_are_named_with_offset_and_shift(copy, told):
    trace = warming()
    found = only(doubts(changed(trace, TC4=copy(trace.channels["TC1"])), CYCLE))
    assert found.code == "doubt.same"
    assert found.text.startswith("TC1 and TC4 show the same signal")
    assert found.working[0].startswith(told)


def test_three_channels_of_one_signal_are_one_note():
    trace = warming()
    one = trace.channels["TC1"]
    found = only(doubts(changed(trace, TC2=one, TC4=one), CYCLE))
    assert found.text.startswith("TC1, TC2 and TC4 show")
    assert found.value == 3.0


def test_a_copy_on_a_coarser_display_is_the_same_signal():
    chance = np.random.default_rng(8)
    trace = warming()
    fine = trace.channels["TC1"] + chance.uniform(-0.04, 0.04, ROWS).round(2)
    trace = changed(trace, TC1=fine, TC2=np.round(fine, 1))
    assert [one.code for one in doubts(trace, CYCLE)] == ["doubt.same"]


def test_sensors_side_by_side_with_noise_of_their_own_are_two():
    trace = warming(lags_s=(600, 600, 900, 1200))
    assert doubts(trace, CYCLE) == ()


def test_the_vacuum_is_not_looked_at():
    trace = warming()
    bag = VacuumLimit("TC4", 70.0, "start", "soak_end")
    cycle = Cycle("K-1", CYCLE.stages, CYCLE.sensors, 120.0, vacuum=bag)
    assert doubts(changed(trace, TC4=trace.channels["TC1"]), cycle) == ()


# The clock.


def stepped(at: int, by: float) -> Trace:
    trace = warming()
    times = trace.times.copy()
    times[at:] += by
    return Trace(times, trace.channels)


@pytest.mark.parametrize("by", [3600.0, 7200.0])
def test_a_step_of_whole_hours_is_told(by):
    found = only(doubts(stepped(700, by), CYCLE))
    assert found.code == "doubt.clock"
    assert "by whole hours" in found.text
    assert found.value == by
    assert found.working[0].startswith("row 700 to row 701")


@pytest.mark.parametrize("by", [-15.0, 14.0, 45.0])
def test_a_step_off_the_beat_is_told(by):
    found = only(doubts(stepped(700, by), CYCLE))
    assert "off its beat" in found.text
    assert found.value == pytest.approx(by)


def test_a_row_late_once_is_no_step():
    trace = warming()
    times = trace.times.copy()
    times[700] += 14.0
    assert doubts(Trace(times, trace.channels), CYCLE) == ()


def test_missing_rows_are_no_step():
    trace = warming()
    keep = np.ones(ROWS, dtype=bool)
    keep[[40, 41, 300, 900]] = False
    keep[500:530] = False
    channels = {name: values[keep] for name, values in trace.channels.items()}
    assert doubts(Trace(trace.times[keep], channels), CYCLE) == ()


def test_a_leap_over_which_the_temperatures_go_on_is_told_while_warming():
    # At row 30 the load rises by degrees a minute; 25 min on it should be far hotter.
    found = only(doubts(stepped(30, 1510.0), CYCLE))
    assert "as if no time had passed" in found.text
    assert found.working[0].startswith("middle channel:")


def test_a_pause_over_which_the_load_warmed_is_none():
    trace = warming()
    keep = np.ones(ROWS, dtype=bool)
    keep[31:80] = False
    channels = {name: values[keep] for name, values in trace.channels.items()}
    assert doubts(Trace(trace.times[keep], channels), CYCLE) == ()


def test_another_pace_is_told_once_with_both():
    trace = warming()
    rows = np.arange(ROWS)
    keep = (rows < 600) | (rows % 3 == 0)
    channels = {name: values[keep] for name, values in trace.channels.items()}
    found = only(doubts(Trace(trace.times[keep], channels), CYCLE))
    assert found.code == "doubt.pace"
    assert (found.value, found.limit) == (90.0, 30.0)
    assert "From 5 h on" in found.text


def test_a_logger_that_writes_when_it_likes_has_no_beat():
    chance = np.random.default_rng(4)
    trace = warming()
    times = np.cumsum(chance.exponential(30.0, ROWS))
    assert doubts(Trace(times, trace.channels), CYCLE) == ()


# Marks.


def test_marks_are_at_most_eight_signed_64_bit_figures():
    trace = warming(noise_c=0.2)
    marks = marks_of(trace.times, trace.channels["TC1"])
    assert len(marks) == 8 == len(set(marks))
    assert all(-(2**63) <= mark < 2**63 for mark in marks)
    assert marks == tuple(sorted(marks))


def test_marks_survive_offset_start_and_trimming():
    trace = warming(noise_c=0.2)
    values = trace.channels["TC1"]
    marks = marks_of(trace.times, values)
    assert marks_of(trace.times + 12345.0, values) == marks
    assert marks_of(trace.times, np.round(values + 3.7, 1)) == marks
    part = values[100:1100]
    assert shared(marks, marks_of(trace.times[: len(part)], part)) >= 5


def test_every_mark_of_the_whole_that_lies_in_a_part_is_among_the_parts():
    chance = np.random.default_rng(1)
    values = np.round(chance.normal(0, 0.2, 40_000), 1)
    marks = marks_of(np.arange(40_000.0), values)
    early, late = values[:20_100], values[19_950:]
    both = set(marks_of(np.arange(20_100.0), early)) | set(marks_of(np.arange(20_050.0), late))
    assert set(marks) <= both


def test_another_run_shares_no_mark():
    one, other = warming(3, noise_c=0.2), warming(4, noise_c=0.2)
    for name in one.channels:
        marks = marks_of(one.times, one.channels[name])
        assert shared(marks, marks_of(other.times, other.channels[name])) == 0


def test_a_quiet_channel_has_no_marks():
    times = np.arange(ROWS) * STEP_S
    assert marks_of(times, np.full(ROWS, 150.0)) == ()
    steps = np.where(times > 9000, 150.0, 149.9)
    assert marks_of(times, steps) == ()
    # A computed ramp: every difference is the same.
    assert marks_of(times, 20.0 + 0.1 * np.arange(ROWS)) == ()


def test_no_mark_spans_a_missing_reading():
    chance = np.random.default_rng(1)
    values = np.round(chance.normal(0, 0.2, 500), 1)
    values[::40] = np.nan
    assert marks_of(np.arange(500.0), values) == ()
    values = np.round(chance.normal(0, 0.2, 2000), 1)
    holed = values.copy()
    holed[1000] = np.nan
    whole = marks_of(np.arange(2000.0), values)
    assert 6 <= shared(whole, marks_of(np.arange(2000.0), holed)) <= 8


def test_a_short_record_has_no_marks():
    assert marks_of(np.arange(40.0), np.arange(40.0)) == ()
    assert marks_of(np.empty(0), np.empty(0)) == ()


def test_a_trace_seen_before_names_the_load():
    seen = (
        SeenBefore("TC1", 8, "L-0007", "TC4", 2),
        SeenBefore("TC2", 8, "L-0007", "TC2", 1),
        SeenBefore("TC3", 8, "L-0009", "TC3", 2),
    )
    found = only(doubts(warming(), CYCLE, DoubtContext(seen=seen)))
    assert found.code == "doubt.seen_before"
    assert found.text.startswith("TC1 and TC2 run as in load L-0007")
    assert found.working[0] == "TC1: 2 of 8 marks are those of TC4 in load L-0007"


# Usual figures.

LAGS = {"TC1": -400.0, "TC2": -100.0, "TC3": 120.0, "TC4": 420.0}


def usual_lags(loads: int = 6) -> DoubtContext:
    return DoubtContext(usual_lag_s={name: Usual(lag, 20.0, loads) for name, lag in LAGS.items()})


def test_the_lag_is_from_the_middle_sensor_half_way_up():
    # Straight lines from 20: half-way to 150 is 85 degC, at 65 s, 130 s and 260 s.
    times = np.arange(0, 1000.0, 10.0)
    channels = {
        f"TC{n}": np.minimum(20.0 + rate * times, 150.0)
        for n, rate in ((1, 1.0), (2, 0.5), (3, 0.25))
    }
    cycle = Cycle("K-1", CYCLE.stages, ("TC1", "TC2", "TC3"), 120.0)
    lags = response_lags(Trace(times, channels), cycle)
    assert lags == pytest.approx({"TC1": -65.0, "TC2": 0.0, "TC3": 130.0})


def test_a_load_that_is_warm_already_has_no_lags():
    times = np.arange(0, 1000.0, 10.0)
    trace = Trace(times, {name: np.full(100, 149.0) for name in CYCLE.sensors})
    assert response_lags(trace, CYCLE) == {}
    assert doubts(trace, CYCLE, usual_lags()) == ()


def test_sensors_that_respond_as_each_other_usually_do_are_named():
    trace = warming()
    lags = response_lags(trace, CYCLE)
    usual = {name: Usual(lag, 20.0, 6) for name, lag in lags.items()}
    context = DoubtContext(usual_lag_s=usual)
    assert doubts(trace, CYCLE, context) == ()
    channels = trace.channels
    plugs = changed(trace, TC1=channels["TC3"], TC3=channels["TC1"])
    found = only(doubts(plugs, CYCLE, context))
    assert found.code == "doubt.swapped"
    assert found.text.startswith("TC1 and TC3 warm up in each other's usual order")
    few = {name: Usual(one.mean, one.spread, 2) for name, one in usual.items()}
    assert doubts(plugs, CYCLE, DoubtContext(usual_lag_s=few)) == ()


def test_a_slow_run_that_stretches_all_lags_exchanges_none():
    usual = response_lags(warming(), CYCLE)
    context = DoubtContext(usual_lag_s={name: Usual(lag, 20.0, 6) for name, lag in usual.items()})
    assert doubts(warming(lags_s=(450, 900, 1350, 1800)), CYCLE, context) == ()


def test_noise_is_the_standard_deviation_of_single_readings():
    chance = np.random.default_rng(5)
    times = np.arange(5000.0)
    trace = Trace(times, {"TC1": 20 + 0.02 * times + chance.normal(0, 0.3, 5000)})
    assert channel_noise(trace, CYCLE)["TC1"] == pytest.approx(0.3, rel=0.05)


def test_a_channel_far_smoother_than_usual_is_named():
    trace = warming(noise_c=0.1)
    context = DoubtContext(usual_noise_c={name: Usual(0.1, 0.01, 5) for name in CYCLE.sensors})
    assert doubts(trace, CYCLE, context) == ()
    times = trace.times
    computed = np.round(150.0 - 125.0 * np.exp(-times / 900), 2)
    found = only(doubts(changed(trace, TC1=computed), CYCLE, context))
    assert found.code == "doubt.too_smooth"
    assert found.text.startswith("TC1 is far smoother")
    assert found.limit == 0.1


def test_noise_within_the_display_says_nothing_of_smoothness():
    # Usually 0.03 degC on a display of 0.1: a level between two figures shows none of it.
    trace = warming(noise_c=0.1)
    context = DoubtContext(usual_noise_c={"TC1": Usual(0.03, 0.003, 5)})
    computed = np.round(150.0 - 125.0 * np.exp(-trace.times / 900), 1)
    assert doubts(changed(trace, TC1=computed), CYCLE, context) == ()


# Records of any shape.


@pytest.mark.parametrize("rows", [0, 1, 2, 3, 9, 23, 24, 49, 60])
def test_a_short_record_is_looked_at_without_complaint(rows):
    whole = warming()
    channels = {name: values[:rows] for name, values in whole.channels.items()}
    assert doubts(Trace(whole.times[:rows], channels), CYCLE) == ()


def test_channels_without_a_reading_raise_no_doubt():
    trace = warming()
    nothing = np.full(ROWS, np.nan)
    context = usual_lags()
    assert doubts(changed(trace, TC2=nothing), CYCLE) == ()
    empty = Trace(trace.times, dict.fromkeys(CYCLE.sensors, nothing))
    assert doubts(empty, CYCLE, context) == ()
    assert doubts(Trace(trace.times, {}), CYCLE) == ()
    assert marks_of(trace.times, nothing) == ()


def test_degrees_fahrenheit_make_no_difference():
    trace = warming()
    values = trace.channels["TC3"].copy()
    values[20:81] = values[20]
    channels = {**trace.channels, "TC3": values, "TC4": trace.channels["TC1"]}
    fahrenheit = {name: np.round(one * 9 / 5 + 32, 2) for name, one in channels.items()}
    found = doubts(Trace(trace.times, fahrenheit, "F"), CYCLE)
    assert [one.code for one in found] == ["doubt.frozen", "doubt.same"]
