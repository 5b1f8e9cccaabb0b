"""Furnace records as a furnace person would know them, made from a seed.

``simulate`` turns a described run into what the logger kept: load sensors on the panels, two air
sensors and the bag vacuum, with sensor errors, noise and whatever faults were asked for. The same
run gives the same figures again. Times are in seconds from the first sample, temperatures in degC,
vacuum in kPa below ambient; a missing reading is NaN.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from seed_demo.furnace_course import Course, Segment, Series, Station, course_of, wander
from seed_demo.furnace_faults import (
    BagBurst,
    Dropout,
    EarlyEnd,
    Fault,
    HotDraught,
    LoggerStop,
    SlowStation,
)

AIR_SENSORS = ("AIR1", "AIR2")
# A type T junction of special tolerance at 150 degC: 0.4 % of 150 = 0.6 degC (ASTM E230).
LARGEST_SENSOR_ERROR_C = 0.5
JET_ABOVE_AIR_C = 25.0
# The logger averages its scans over a minute and keeps a value until the next lies further away
# than this, so that a slow arrival does not flicker about the edge of its band.
LOGGER_AVERAGE_S = 60.0
LOGGER_SCAN_S = 5.0
LOGGER_HOLDS_C = 0.1
DRIFT_LAG_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """All that decides a furnace record: program, stations, sampling, faults and the seed."""

    seed: int
    start: datetime
    program: tuple[Segment, ...]
    stations: tuple[Station, ...]
    sample_s: int = 30
    ambient_c: float = 22.0
    vacuum_kpa: float = 88.5
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class Truth:
    """What no logger shows, at the record's times: true skin, hottest local air, sensor errors."""

    skin_c: dict[str, Series]
    local_air_c: dict[str, Series]
    sensor_error_c: dict[str, float]


@dataclass(frozen=True, slots=True)
class FurnaceRun:
    """What the logger kept; every series is as long as ``times_s``.

    ``channels`` holds the load sensors in the order of the stations, then the air sensors, not yet
    rounded to the logger's resolution.
    """

    start: datetime
    times_s: Series
    channels: dict[str, Series]
    vacuum: Series
    truth: Truth

    @property
    def load_sensors(self) -> tuple[str, ...]:
        """The sensors on the panels, air sensors left out."""
        return tuple(name for name in self.channels if name not in AIR_SENSORS)


def simulate(run: Run) -> FurnaceRun:
    """The record of ``run``, faults included; the same run always gives the same record.

    Raises:
        ValueError: a fault names a sensor that the run does not have, two stations share a sensor,
            or the load never reaches a temperature that the program waits for.
    """
    _check_names(run)
    rng = np.random.default_rng(run.seed)
    errors_c = rng.uniform(-LARGEST_SENSOR_ERROR_C, LARGEST_SENSOR_ERROR_C, len(run.stations))
    course = course_of(
        run.program,
        run.stations,
        run.faults,
        start_c=run.ambient_c,
        errors_c=errors_c,
        rng=rng,
    )
    times_s = np.arange(0.0, course.times_s[-1] + 0.5, run.sample_s)
    truth = _truth(run, course, errors_c, times_s)
    channels = {
        sensor: _logged(skin_c + truth.sensor_error_c[sensor], times_s, rng)
        for sensor, skin_c in truth.skin_c.items()
    }
    bulk_c = np.interp(times_s, course.times_s, course.air_c)
    for sensor, swirl_c in zip(AIR_SENSORS, (0.25, 0.4), strict=True):
        error_c = truth.sensor_error_c[sensor] = float(rng.uniform(-0.3, 0.3))
        truth.local_air_c[sensor] = bulk_c
        channels[sensor] = _logged(bulk_c + error_c, times_s, rng, noise_c=swirl_c)
    vacuum = _vacuum(run, times_s, rng)
    for fault in run.faults:
        if isinstance(fault, HotDraught):
            _add_draught(fault, times_s, channels, truth)
    for fault in run.faults:  # after the draughts: an open circuit hides whatever there was
        if isinstance(fault, Dropout):
            end_s = math.inf if fault.lasts_s is None else fault.at_s + fault.lasts_s
            channels[fault.sensor][(times_s >= fault.at_s) & (times_s < end_s)] = np.nan
    return _kept_rows(run, FurnaceRun(run.start, times_s, channels, vacuum, truth))


def arrivals_s(furnace_run: FurnaceRun, from_c: float) -> dict[str, float]:
    """When each load sensor first reads ``from_c`` or more; ``inf`` where it never does."""
    found = {}
    for sensor in furnace_run.load_sensors:
        there = np.flatnonzero(furnace_run.channels[sensor] >= from_c)
        found[sensor] = float(furnace_run.times_s[there[0]]) if len(there) else math.inf
    return found


def _check_names(run: Run) -> None:
    names = [station.sensor for station in run.stations]
    if len(set(names)) != len(names):
        raise ValueError(f"Two stations share a sensor among {', '.join(names)}.")
    for fault in run.faults:
        if isinstance(fault, HotDraught | Dropout | SlowStation) and fault.sensor not in names:
            raise ValueError(
                f"{type(fault).__name__} names sensor {fault.sensor}; "
                f"the run has {', '.join(names)}."
            )


def _truth(run: Run, course: Course, errors_c: Series, times_s: Series) -> Truth:
    skins, airs, errors = {}, {}, {}
    for k, station in enumerate(run.stations):
        skins[station.sensor] = np.interp(times_s, course.times_s, course.skin_c[:, k])
        airs[station.sensor] = np.interp(times_s, course.times_s, course.local_air_c[:, k])
        errors[station.sensor] = float(errors_c[k])
    return Truth(skins, airs, errors)


def _logged(
    seen_c: Series,
    times_s: Series,
    rng: np.random.Generator,
    *,
    noise_c: float | None = None,
) -> Series:
    """What the logger keeps of ``seen_c``, with noise of standard deviation ``noise_c``.

    Most of the noise that is left after averaging is slow (draughts, cold junction); the quick part
    is the scans' own, averaged. The value is held within the logger's dead band.
    """
    if noise_c is None:
        noise_c = float(rng.uniform(0.05, 0.1))
    sample_s = times_s[1] - times_s[0]
    taps = np.exp(-np.arange(0, 5 * LOGGER_AVERAGE_S, sample_s) / LOGGER_AVERAGE_S)
    taps *= math.sqrt(LOGGER_SCAN_S / (2 * LOGGER_AVERAGE_S)) / math.sqrt(float(np.sum(taps**2)))
    quick = np.convolve(rng.standard_normal(len(seen_c) + len(taps) - 1), taps, mode="valid")
    noisy = seen_c + noise_c * (quick + wander(rng, times_s, DRIFT_LAG_S))
    return np.array(list(_held(noisy.tolist())))


def _held(values: Iterable[float]) -> Iterable[float]:
    kept = math.inf
    for value in values:
        if abs(value - kept) > LOGGER_HOLDS_C:
            kept = value
        yield kept


def _vacuum(run: Run, times_s: Series, rng: np.random.Generator) -> Series:
    """Bag vacuum: slow drift, the pump's saw-tooth, a little noise, and a burst where asked."""
    drift = 0.6 * wander(rng, times_s, 7200.0)
    period_s, phase = rng.uniform(500, 900), rng.uniform(0, 1)
    leak_down = 0.5 - np.mod(times_s / period_s + phase, 1.0)
    level = run.vacuum_kpa + drift + 0.9 * leak_down
    for fault in run.faults:
        if isinstance(fault, BagBurst):
            after = times_s >= fault.at_s
            fall = np.exp(-(times_s[after] - fault.at_s) / fault.fall_s)
            level[after] = fault.left_kpa + (level[after] - fault.left_kpa) * fall
    return np.maximum(level + 0.06 * rng.standard_normal(len(times_s)), 0.0)


def _add_draught(
    fault: HotDraught, times_s: Series, channels: dict[str, Series], truth: Truth
) -> None:
    """Lift one channel over its limit: raised-cosine flanks that cross it at the stated times.

    The jet warms the junction, not the skin beneath it, whose lag is far longer than the fault.
    """
    reading_c = channels[fault.sensor]
    base_c = float(np.interp(fault.at_s + fault.lasts_s / 2, times_s, reading_c))
    height_c = fault.limit_c + fault.beyond_c - base_c
    if height_c <= fault.beyond_c:
        raise ValueError(f"{fault.sensor} is already above {fault.limit_c} degC at {fault.at_s} s.")
    flank_s = 0.5 * fault.lasts_s
    crossing = 1 - fault.beyond_c / height_c  # fraction of the height at which the limit lies
    lead_s = flank_s * math.acos(1 - 2 * crossing) / math.pi
    begin_s, end_s = fault.at_s - lead_s, fault.at_s + fault.lasts_s + lead_s
    inside_s = np.minimum(times_s - begin_s, end_s - times_s)
    level = 0.5 - 0.5 * np.cos(np.pi * np.clip(inside_s / flank_s, 0.0, 1.0))
    channels[fault.sensor] = reading_c + height_c * level
    truth.local_air_c[fault.sensor] = truth.local_air_c[fault.sensor] + JET_ABOVE_AIR_C * np.sqrt(
        level
    )


def _kept_rows(run: Run, whole: FurnaceRun) -> FurnaceRun:
    """The rows that reached the file: without logger stops and after an early end none."""
    keep = np.ones(len(whole.times_s), dtype=bool)
    for fault in run.faults:
        if isinstance(fault, LoggerStop):
            stop_s = fault.at_s + fault.lasts_s
            keep &= (whole.times_s < fault.at_s) | (whole.times_s >= stop_s)
        elif isinstance(fault, EarlyEnd):
            keep &= whole.times_s <= fault.at_s

    def cut(series: dict[str, Series]) -> dict[str, Series]:
        return {name: values[keep] for name, values in series.items()}

    truth = Truth(cut(whole.truth.skin_c), cut(whole.truth.local_air_c), whole.truth.sensor_error_c)
    return FurnaceRun(
        whole.start, whole.times_s[keep], cut(whole.channels), whole.vacuum[keep], truth
    )
