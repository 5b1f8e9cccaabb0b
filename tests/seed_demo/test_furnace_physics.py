"""The demonstration's furnace records: believable, repeatable, and faulty only where asked."""

import csv
import math
import time
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from seed_demo.furnace_course import Segment, Station
from seed_demo.furnace_faults import (
    BagBurst,
    DoorOpened,
    Dropout,
    EarlyEnd,
    Fault,
    HotDraught,
    LoggerStop,
    SlowStation,
)
from seed_demo.furnace_physics import (
    AIR_SENSORS,
    LARGEST_SENSOR_ERROR_C,
    FurnaceRun,
    Run,
    arrivals_s,
    simulate,
)
from seed_demo.logger_file import write_csv

START = datetime(2031, 3, 4, 6, tzinfo=UTC)
HOUR_S = 3600.0
PROGRAM = (
    Segment(target_c=150.0, rate_c_per_min=0.75, hold_s=24 * HOUR_S + 300, within_c=2.5),
    Segment(target_c=40.0, rate_c_per_min=1.5, hold_s=600, within_c=25.0),
)
STATIONS = tuple(
    Station(sensor=f"TC{k + 1}", along=(k % 4) / 3, edge=("leading", "middle", "trailing")[k % 3])
    for k in range(10)
)


def run_with(*faults: Fault, seed: int = 7, sample_s: int = 20) -> Run:
    return Run(
        seed=seed,
        start=START,
        program=PROGRAM,
        stations=STATIONS,
        sample_s=sample_s,
        faults=faults,
    )


@pytest.fixture(scope="module")
def clean() -> FurnaceRun:
    return simulate(run_with())


def shown(record: FurnaceRun) -> np.ndarray:
    """What the logger displays, one row a load sensor, to 0.1 degC."""
    return np.round(np.array([record.channels[name] for name in record.load_sensors]), 1)


def in_band(record: FurnaceRun, low_c: float, high_c: float) -> np.ndarray:
    figures = shown(record)
    return ((figures >= low_c - 1e-9) & (figures <= high_c + 1e-9)).all(axis=0)


def test_every_channel_has_a_value_for_every_sample(clean: FurnaceRun) -> None:
    assert clean.load_sensors == tuple(station.sensor for station in STATIONS)
    assert set(clean.channels) == {*clean.load_sensors, *AIR_SENSORS}
    assert np.all(np.diff(clean.times_s) == 20)
    for values in (*clean.channels.values(), clean.vacuum, *clean.truth.skin_c.values()):
        assert values.shape == clean.times_s.shape
        assert not np.isnan(values).any()


def test_a_day_long_soak_makes_a_record_of_24_to_34_hours(clean: FurnaceRun) -> None:
    assert 24 * HOUR_S < clean.times_s[-1] < 34.5 * HOUR_S


def test_the_same_run_gives_the_same_figures_and_another_seed_does_not(clean: FurnaceRun) -> None:
    again, other = simulate(run_with()), simulate(run_with(seed=8))
    for name, values in clean.channels.items():
        assert np.array_equal(values, again.channels[name])
        assert not np.array_equal(values[:500], other.channels[name][:500])
    assert np.array_equal(clean.vacuum, again.vacuum)


@pytest.mark.parametrize("seed", range(6))
def test_every_sensor_enters_the_band_and_stays_for_a_day(seed: int) -> None:
    record = simulate(run_with(seed=seed, sample_s=(10, 30, 60)[seed % 3]))
    inside = np.flatnonzero(in_band(record, 147.0, 153.0))
    assert np.all(np.diff(inside) == 1)  # no flicker at either end, no excursion between
    soak_s = record.times_s[inside[-1]] - record.times_s[inside[0]]
    assert 24 * HOUR_S <= soak_s < 25.5 * HOUR_S


def test_heat_up_of_a_heavy_tool_takes_hours_and_the_door_end_is_last(clean: FurnaceRun) -> None:
    arrivals = arrivals_s(clean, 146.95)
    assert min(arrivals.values()) > 3 * HOUR_S
    assert max(arrivals.values()) < 9 * HOUR_S
    along = {station.sensor: station.along for station in STATIONS}
    assert along[max(arrivals, key=arrivals.__getitem__)] == 0.0
    steepest = max(
        float(np.max(values[30:] - values[:-30])) for values in clean.truth.skin_c.values()
    )
    assert steepest / 10 < 1.0  # degC per minute over ten minutes


def test_air_overshoots_a_little_and_then_hunts_about_the_set_point(clean: FurnaceRun) -> None:
    air = clean.truth.local_air_c["AIR1"]
    assert 150.2 < air.max() < 153.0
    later = air[(clean.times_s > 10 * HOUR_S) & (clean.times_s < 28 * HOUR_S)]
    assert 149.5 < later.mean() < 150.5
    assert 0.2 < np.ptp(later) < 2.0
    assert np.count_nonzero(np.diff(np.sign(later - later.mean()))) > 10


@pytest.mark.parametrize("seed", range(4))
def test_no_sensor_is_hotter_than_the_hottest_air_but_for_its_stated_error(seed: int) -> None:
    record = simulate(run_with(HotDraught(sensor="TC3", at_s=15 * HOUR_S), seed=seed))
    noise_c = 0.1 * 4.5 + 0.1  # largest noise of the slow and quick parts, and the dead band
    for name in record.load_sensors:
        error_c = record.truth.sensor_error_c[name]
        assert abs(error_c) <= LARGEST_SENSOR_ERROR_C
        hottest_so_far = np.maximum.accumulate(record.truth.local_air_c[name])
        assert np.all(record.truth.skin_c[name] <= hottest_so_far + 1e-6)
        assert np.all(record.channels[name] <= hottest_so_far + error_c + noise_c)


def test_a_sound_bag_holds_its_vacuum_and_the_pump_cycles(clean: FurnaceRun) -> None:
    assert clean.vacuum.min() > 84
    assert clean.vacuum.max() < 93
    assert np.ptp(clean.vacuum) > 1.0


@pytest.mark.parametrize("seed", range(5))
def test_a_hot_draught_takes_one_sensor_out_of_its_band_for_four_minutes(seed: int) -> None:
    at_s = 15 * HOUR_S
    record = simulate(run_with(HotDraught(sensor="TC3", at_s=at_s), seed=seed))
    for name in record.load_sensors:
        above = np.flatnonzero(record.channels[name] > 153.05)
        if name != "TC3":
            assert len(above) == 0
            continue
        assert np.all(np.diff(above) == 1)
        assert record.times_s[above[0]] == pytest.approx(at_s, abs=40)
        assert len(above) * 20 == pytest.approx(240, abs=41)
        assert record.channels[name].max() == pytest.approx(154.6, abs=0.4)


def test_a_dropped_sensor_comes_back_or_not_as_asked() -> None:
    record = simulate(
        run_with(
            Dropout(sensor="TC2", at_s=36_000, lasts_s=600), Dropout(sensor="TC5", at_s=50_000)
        )
    )
    silent = record.times_s[np.isnan(record.channels["TC2"])]
    assert (silent[0], silent[-1], len(silent)) == (36_000, 36_580, 30)
    gone = np.isnan(record.channels["TC5"])
    assert np.array_equal(gone, record.times_s >= 50_000)
    assert not np.isnan(record.channels["TC1"]).any()


def test_a_burst_bag_loses_its_vacuum_within_two_minutes_and_for_good() -> None:
    at_s = 18 * HOUR_S
    record = simulate(run_with(BagBurst(at_s=at_s)))
    level = dict(zip(record.times_s.tolist(), record.vacuum.tolist(), strict=True))
    assert level[at_s - 20] > 84
    assert level[at_s + 60] < level[at_s - 20] / 2
    assert record.vacuum[record.times_s >= at_s + 120].max() < 6


def test_a_slow_station_arrives_hours_late_and_its_soak_is_short(clean: FurnaceRun) -> None:
    record = simulate(run_with(SlowStation(sensor="TC4")))
    late_s = arrivals_s(record, 146.95)["TC4"] - arrivals_s(clean, 146.95)["TC4"]
    assert late_s > 2 * HOUR_S
    inside = record.times_s[in_band(record, 147.0, 153.0)]
    assert 12 * HOUR_S < inside[-1] - inside[0] < 24 * HOUR_S


def test_an_opened_door_dips_the_air_and_hardly_the_load(clean: FurnaceRun) -> None:
    at_s = 12 * HOUR_S
    record = simulate(run_with(DoorOpened(at_s=at_s, lasts_s=60)))
    near = (record.times_s >= at_s) & (record.times_s < at_s + 300)
    assert record.truth.local_air_c["AIR1"][near].min() < 145
    usual = clean.truth.skin_c["TC1"][near[: len(clean.times_s)]].mean()
    assert usual - 4 < record.truth.skin_c["TC1"][near].min() < usual - 0.3


def test_a_stopped_logger_leaves_no_rows_and_an_early_end_no_more() -> None:
    record = simulate(run_with(LoggerStop(at_s=30_000, lasts_s=900), EarlyEnd(at_s=60_000)))
    steps = np.diff(record.times_s)
    assert sorted(set(steps.tolist())) == [20, 920]
    assert record.times_s[steps.argmax()] == 29_980
    assert record.times_s[-1] == 60_000
    assert all(len(v) == len(record.times_s) for v in record.channels.values())


def test_a_fault_of_an_unknown_sensor_is_refused() -> None:
    with pytest.raises(ValueError, match="Dropout names sensor TC99; the run has TC1"):
        simulate(run_with(Dropout(sensor="TC99", at_s=1)))


def test_a_program_that_waits_for_the_impossible_is_refused() -> None:
    never = Segment(target_c=150.0, rate_c_per_min=1.0, hold_s=60, within_c=0.01)
    run = Run(seed=1, start=START, program=(never,), stations=STATIONS)
    with pytest.raises(ValueError, match=r"never came within 0\.01 degC of 150"):
        simulate(run)


def read_back(path: Path) -> tuple[list[str], list[list[str]]]:
    with path.open(newline="") as lines:
        header, *rows = list(csv.reader(lines))
    return header, rows


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("time_style", ["iso", "elapsed"])
def test_a_written_record_reads_back_to_half_its_resolution(
    tmp_path: Path, unit: str, time_style: str
) -> None:
    record = simulate(
        run_with(
            Dropout(sensor="TC2", at_s=36_000, lasts_s=600), LoggerStop(at_s=9000, lasts_s=300)
        )
    )
    path = tmp_path / "record.csv"
    write_csv(record, path, time_style=time_style, unit=unit)
    header, rows = read_back(path)
    time_name = "time" if time_style == "iso" else "time_s"
    assert header == [time_name, *record.channels, "VAC"]
    for row, seconds in zip(rows, record.times_s.tolist(), strict=True):
        if time_style == "iso":
            assert datetime.fromisoformat(row[0]) == START + timedelta(seconds=seconds)
        else:
            assert float(row[0]) == seconds
    for column, values in enumerate((*record.channels.values(), record.vacuum), start=1):
        texts = [row[column] for row in rows]
        read = np.array([math.nan if text == "OPEN" else float(text) for text in texts])
        assert np.array_equal(np.isnan(read), np.isnan(values))
        is_f = unit == "F" and column <= len(record.channels)
        celsius = (read - 32) / 1.8 if is_f else read
        off = np.abs(celsius - values)[~np.isnan(values)].max()
        assert off <= 0.05 / (1.8 if is_f else 1.0) + 1e-9
        assert all(text == "OPEN" or len(text.partition(".")[2]) == 1 for text in texts)


def test_the_bytes_of_a_record_are_reproducible(tmp_path: Path) -> None:
    for name in ("one.csv", "two.csv"):
        write_csv(simulate(run_with()), tmp_path / name)
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "two.csv").read_bytes()
    assert b"\r" not in (tmp_path / "one.csv").read_bytes()


def test_recorded_figures_change_by_small_steps_in_the_soak(clean: FurnaceRun) -> None:
    soak = (clean.times_s > 10 * HOUR_S) & (clean.times_s < 28 * HOUR_S)
    for row in shown(clean)[:, soak]:
        assert 0.1 <= np.ptp(row) < 1.5
        assert max(abs(b - a) for a, b in pairwise(row.tolist())) < 0.45


def test_thirty_records_would_take_less_than_ten_seconds(tmp_path: Path) -> None:
    begun = time.process_time()
    for seed in range(6):
        write_csv(simulate(run_with(seed=seed, sample_s=10)), tmp_path / "record.csv")
    assert (time.process_time() - begun) * 5 < 10
