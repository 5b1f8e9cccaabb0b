"""How far the soak of a record that still grows has come, and where each sensor stands. Pure.

Source of the rules: judging rules, "A record that still grows".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile

import numpy as np

from app.judging.record.cycle import Stage
from app.judging.record.drift import reaches_s, trend
from app.judging.record.soak import Soak
from app.judging.record.spans import DEGREES_SLACK, SECONDS_SLACK, Floats, without
from app.judging.record.trace import Line, SensorLine


@dataclass(frozen=True, slots=True)
class StageSoFar:
    """One stage's soak as far as the record goes; times in seconds from the first row.

    ``start_s`` is None for a stage not yet reached. ``missing_s`` is in-band time still wanted for
    the shortest soak; ``long_enough_s`` the instant at which none was, None before.
    ``must_end_s`` is when the longest soak is over; None where there is no longest or no start.
    """

    number: int
    set_c: float
    start_s: float | None
    elapsed_s: float
    in_band_s: float
    unproven_s: float
    missing_s: float
    long_enough_s: float | None
    must_end_s: float | None


@dataclass(frozen=True, slots=True)
class SensorNow:
    """A required sensor against the band the load should be in now.

    ``value_c`` was read at ``read_s``, the sensor's last; both None where it has none. ``off_c`` is
    how far that is outside the band: negative below, positive above, 0 within. ``reaches_s`` is
    when, on its present trend, it is in; None for a sensor that is in, or has no such trend.
    """

    channel: str
    value_c: float | None
    read_s: float | None
    off_c: float | None
    reaches_s: float | None


def reached(soaks: Sequence[Soak]) -> tuple[Soak, ...]:
    """The soaks that have begun, up to the first that has not.

    A later one may seem to have begun where the load passed through its band on the way; it begins
    anew once the stage before it has.
    """
    return tuple(takewhile(lambda soak: soak.start is not None, soaks))


def stage_so_far(soak: Soak, *, begun: bool) -> StageSoFar:
    """The stage's soak so far; nothing of it counts where it has not ``begun``."""
    stage = soak.stage
    if not begun or soak.start is None:
        lacking = stage.soak_min_s
        return StageSoFar(soak.number, stage.set_c, None, 0.0, 0.0, 0.0, lacking, None, None)
    missing = stage.soak_min_s - soak.in_band_s
    enough = missing <= SECONDS_SLACK
    return StageSoFar(
        soak.number,
        stage.set_c,
        soak.start,
        soak.elapsed_s,
        soak.in_band_s,
        soak.unproven_s,
        0.0 if enough else missing,
        _long_enough(soak) if enough else None,
        None if stage.soak_max_s is None else soak.start + stage.soak_max_s,
    )


def _long_enough(soak: Soak) -> float:
    """The instant at which the in-band time reached the shortest soak; it is known to have."""
    held = without(np.array([[soak.start, soak.end]], dtype=np.float64), soak.out)
    held = without(held, soak.unproven)
    if not len(held):
        return float(soak.start or 0.0)
    lengths = held[:, 1] - held[:, 0]
    total = np.cumsum(lengths)
    at = min(int(np.searchsorted(total, soak.stage.soak_min_s)), len(held) - 1)
    return min(float(held[at, 1]), float(held[at, 1] - (total[at] - soak.stage.soak_min_s)))


def last_run(line: Line) -> tuple[Floats, Floats]:
    """The line's points since its last gap: times and values, shape (k,) each."""
    if line.broken is None:
        return line.times, line.values
    since = int(np.flatnonzero(line.broken)[-1]) + 1
    return line.times[since:], line.values[since:]


def sensor_now(sensor: SensorLine, stage: Stage) -> SensorNow:
    """Where the sensor's last reading stands against the stage's band."""
    if not len(sensor.line.times):
        return SensorNow(sensor.name, None, None, None, None)
    value, read_s = float(sensor.line.values[-1]), float(sensor.line.times[-1])
    off = off_band(value, stage)
    arrives = None
    if off:
        course = trend(*last_run(sensor.line))
        if course is not None and course.real:
            arrives = reaches_s(course, stage.high_c if off > 0 else stage.low_c)
    # The fitted line may already be in while the reading is not.
    arrives = None if arrives is None else max(arrives, read_s)
    return SensorNow(sensor.name, value, read_s, off, arrives)


def off_band(value: float, stage: Stage) -> float:
    """How far a temperature is outside the band: negative below, positive above, 0 within."""
    if value < stage.low_c - DEGREES_SLACK:
        return value - stage.low_c
    return value - stage.high_c if value > stage.high_c + DEGREES_SLACK else 0.0
