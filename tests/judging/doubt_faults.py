"""Furnace records like a shop's, and the faults that doubts are to find: seeded, made here.

Nothing here looks at the code under test. A run is a ramp of the air, a controller that swings
about the set temperature, and sensors behind two lags each; noise, shared and own; a display's
resolution. The ranges are common practice in air-heated ageing furnaces, from memory.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from app.judging.record.cycle import Cycle, Stage, VacuumLimit
from app.judging.record.trace import Trace

VACUUM = "VAC"


@dataclass(frozen=True)
class Station:
    """Where a sensor sits: its two lags (s), offset in the soak and own noise (degC)."""

    fast_s: float
    slow_s: float
    offset_c: float
    noise_c: float


@dataclass(frozen=True)
class Shop:
    """A furnace with its stations and its logger."""

    stations: tuple[Station, ...]
    step_s: float
    resolution_c: float
    shared_noise_c: float
    set_c: float

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(f"TC{number}" for number in range(1, len(self.stations) + 1))


@dataclass(frozen=True)
class Run:
    """One load's record with its cycle, and the readings before the display rounded them."""

    trace: Trace
    cycle: Cycle
    exact: dict[str, np.ndarray]
    shop: Shop


def make_shop(chance: np.random.Generator, *, sensors: int = 12, noisy: bool = False) -> Shop:
    """A furnace; ``noisy`` keeps to loggers whose noise is at least half a step of the display."""
    resolution = float(chance.choice([0.1, 0.1, 0.01]))
    least = max(0.02, 0.55 * resolution) if noisy else 0.02
    stations = [
        Station(
            fast_s=chance.uniform(60, 300),
            slow_s=chance.uniform(400, 2400),
            offset_c=chance.normal(0, 0.5),
            noise_c=chance.uniform(least, max(0.15, 2 * least)),
        )
        for _ in range(sensors)
    ]
    # Two sensors side by side on one part: the same course, each with noise of its own.
    near = stations[0]
    stations[1] = replace(
        near,
        slow_s=near.slow_s * chance.uniform(0.98, 1.02),
        offset_c=near.offset_c + chance.normal(0, 0.1),
    )
    return Shop(
        tuple(stations),
        step_s=float(chance.choice([5, 10, 30, 60, 120])),
        resolution_c=resolution,
        shared_noise_c=float(chance.choice([0.0, 0.0, 0.02, 0.05])),
        set_c=float(chance.uniform(120, 190)),
    )


def make_run(chance: np.random.Generator, shop: Shop, *, hours: float | None = None) -> Run:
    """One load in the shop's furnace: another charge, another day."""
    hours = hours or chance.uniform(8, 14)
    times = np.arange(0, hours * 3600, shop.step_s)
    air = _air(chance, times, shop.set_c)
    heavy = chance.uniform(0.85, 1.2)
    shared = chance.normal(0, 1, len(times)) * shop.shared_noise_c
    exact = {}
    for name, station in zip(shop.names, shop.stations, strict=True):
        slow = station.slow_s * heavy * chance.normal(1, 0.015)
        course = _behind(_behind(air, station.fast_s, shop.step_s), slow, shop.step_s)
        warm = np.clip((course - 25) / (shop.set_c - 25), 0, 1)
        wander = 0.15 * np.sin(
            2 * np.pi * times / chance.uniform(4000, 20000) + chance.uniform(0, 6)
        )
        noise = chance.normal(0, station.noise_c, len(times)) + shared
        exact[name] = course + (station.offset_c + wander) * warm + noise
    channels = {name: shown(values, shop.resolution_c) for name, values in exact.items()}
    channels[VACUUM] = shown(88 + chance.normal(0, 0.05, len(times)), 0.1)
    return Run(Trace(times, channels), _cycle(shop), exact, shop)


def _cycle(shop: Shop) -> Cycle:
    stage = Stage(shop.set_c, 3.0, 3.0, 4 * 3600.0)
    vacuum = VacuumLimit(VACUUM, 70.0, "start", "soak_end")
    return Cycle("made", (stage,), shop.names, 600.0, vacuum=vacuum)


def _air(chance: np.random.Generator, times: np.ndarray, set_c: float) -> np.ndarray:
    """The furnace air: a ramp, the controller's swing at the set temperature, often a cooling."""
    begin = chance.uniform(18, 30)
    rise = chance.uniform(0.8, 3.0) / 60
    air = np.minimum(begin + rise * times, set_c)
    swing = chance.uniform(0.1, 1.5) * np.sin(
        2 * np.pi * times / chance.uniform(120, 1500) + chance.uniform(0, 6)
    )
    air = air + np.where(air >= set_c, swing, 0)
    if chance.random() < 0.3:
        door = int(chance.uniform(0.4, 0.7) * len(times))
        air[door : door + max(int(60 / (times[1] - times[0])), 1)] -= chance.uniform(10, 40)
    if chance.random() < 0.6:
        off = chance.uniform(0.8, 0.95) * times[-1]
        air = np.where(times > off, 25 + (air - 25) * np.exp(-(times - off) / 1500), air)
    return air


def _behind(course: np.ndarray, lag_s: float, step_s: float) -> np.ndarray:
    """The course behind a first-order lag."""
    share = 1 - np.exp(-step_s / lag_s)
    first = course[0]
    return first + lfilter([share], [1, share - 1], course - first)


def shown(values: np.ndarray, resolution_c: float) -> np.ndarray:
    """As a display of 0.1 or 0.01 shows it, and a file then says it."""
    return np.round(values, 1 if resolution_c == 0.1 else 2)


def with_channels(run: Run, **changed: np.ndarray) -> Run:
    """The run with some channels replaced or added."""
    channels = {**run.trace.channels, **changed}
    return replace(run, trace=Trace(run.trace.times, channels, run.trace.temperature_unit))


# The faults.


def frozen_on_the_way(chance: np.random.Generator, run: Run, name: str) -> Run:
    """The channel stops changing while the load warms up, for 15 to 60 minutes."""
    values = run.trace.channels[name].copy()
    lowest, highest = values.min(), values.max()
    level = chance.uniform(0.3, 0.7) * (highest - lowest) + lowest
    first = int(np.argmax(values > level))
    rows = int(chance.uniform(900, 3600) / run.shop.step_s)
    values[first : first + max(rows, 6)] = values[first]
    return with_channels(run, **{name: values})


def frozen_in_the_soak(chance: np.random.Generator, run: Run, name: str) -> Run:
    """The channel stops changing in the soak, for 150 to 400 rows."""
    values = run.trace.channels[name].copy()
    first = int(chance.uniform(0.45, 0.55) * len(values))
    values[first : first + int(chance.uniform(150, 400))] = values[first]
    return with_channels(run, **{name: values})


def copied_channel(chance: np.random.Generator, run: Run, first: str, second: str) -> Run:
    """One channel is another's copy: exact, with an offset, a row late, or shown more coarsely."""
    kind = chance.choice(["exact", "offset", "late", "early", "coarse"])
    values = run.trace.channels[first]
    if kind == "offset":
        values = shown(values + chance.choice([-1, 1]) * chance.uniform(0.2, 3), 0.01)
        values = shown(values, run.shop.resolution_c)
    elif kind == "late":
        values = np.concatenate((values[:1], values[:-1]))
    elif kind == "early":
        values = np.concatenate((values[1:], values[-1:]))
    elif kind == "coarse":
        values = shown(values, 0.1)
    return with_channels(run, **{second: values})


def brought_again(chance: np.random.Generator, run: Run) -> Run:
    """The trace under another load's name: trimmed, renamed, with an offset, started anew."""
    count = len(run.trace.times)
    first = int(chance.uniform(0, 0.3) * count)
    stop = count - int(chance.uniform(0, 0.3) * count)
    offset = chance.choice([0.0, round(chance.uniform(-2, 2), 1)])
    names = list(run.shop.names)
    chance.shuffle(names)
    channels = {
        new: np.round(run.trace.channels[old][first:stop] + offset, 2)
        for new, old in zip(names, run.shop.names, strict=True)
    }
    times = run.trace.times[first:stop] - run.trace.times[first]
    return replace(run, trace=Trace(times, channels))


def clock_set(chance: np.random.Generator, run: Run) -> Run:
    """The clock is set by a good part of a row's time, forward or back, or by whole hours."""
    at = int(chance.uniform(0.1, 0.9) * len(run.trace.times))
    if chance.random() < 0.4:
        by = 3600.0 * chance.choice([1, 2])
    else:
        by = chance.choice([-1, 1]) * chance.uniform(0.35, 0.65) * run.shop.step_s
    times = run.trace.times.copy()
    times[at:] += by
    return replace(run, trace=Trace(times, run.trace.channels))


def clock_leaps_while_warming(chance: np.random.Generator, run: Run) -> Run:
    """The clock leaps forward by 20 to 50 minutes while the load warms: nothing was missed."""
    values = run.trace.channels[run.shop.names[0]]
    level = chance.uniform(0.3, 0.6) * (values.max() - values.min()) + values.min()
    at = int(np.argmax(values > level))
    times = run.trace.times.copy()
    times[at:] += chance.uniform(1200, 3000)
    return replace(run, trace=Trace(times, run.trace.channels))


def pace_changed(chance: np.random.Generator, run: Run) -> Run:
    """From some row on, only every second to fifth row is written."""
    at = int(chance.uniform(0.2, 0.7) * len(run.trace.times))
    rows = np.arange(len(run.trace.times))
    keep = (rows < at) | ((rows - at) % int(chance.integers(2, 6)) == 0)
    channels = {name: values[keep] for name, values in run.trace.channels.items()}
    return replace(run, trace=Trace(run.trace.times[keep], channels))


def exchanged(run: Run, first: str, second: str) -> Run:
    """The plugs of two sensors are exchanged."""
    channels = run.trace.channels
    return with_channels(run, **{first: channels[second], second: channels[first]})


def smoothed(chance: np.random.Generator, run: Run, name: str) -> Run:
    """The channel is a computed curve: a running mean, or no noise at all, shown as before."""
    values = run.exact[name]
    width = int(chance.integers(9, 40))
    padded = np.pad(values, width, mode="edge")
    even = np.convolve(padded, np.ones(width) / width, mode="same")[width:-width]
    return with_channels(run, **{name: shown(even, run.shop.resolution_c)})


# What a shop's records have besides, and what must raise no doubt.


def with_pauses(chance: np.random.Generator, run: Run) -> Run:
    """Rows are missing: single ones, and a pause after which the logger goes on at its beat."""
    count = len(run.trace.times)
    keep = chance.random(count) > 0.01
    at = int(chance.uniform(0.1, 0.9) * count)
    keep[at : at + int(chance.uniform(3, 40))] = False
    keep[0] = True
    channels = {name: values[keep] for name, values in run.trace.channels.items()}
    return replace(run, trace=Trace(run.trace.times[keep], channels))


def with_jitter(chance: np.random.Generator, run: Run) -> Run:
    """Rows come up to a twentieth of the pace early or late; some a good deal late, once."""
    step = run.shop.step_s
    times = run.trace.times + chance.uniform(-0.05, 0.05, len(run.trace.times)) * step
    late = chance.random(len(times)) < 0.005
    times = times + np.where(late, 0.4 * step, 0)
    return replace(run, trace=Trace(times - times[0], run.trace.channels))


def with_missing(chance: np.random.Generator, run: Run) -> Run:
    """Readings are missing here and there, and one sensor fails for a while."""
    channels = {}
    for name, values in run.trace.channels.items():
        holes = chance.random(len(values)) < 0.005
        channels[name] = np.where(holes, np.nan, values)
    at = int(chance.uniform(0.3, 0.8) * len(run.trace.times))
    channels[run.shop.names[-1]][at : at + 50] = np.nan
    return replace(run, trace=Trace(run.trace.times, channels))
