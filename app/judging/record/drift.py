"""Where a series is heading: its trend over the last while, and when it would cross a limit. Pure.

Source of the rules: judging rules, "A record that still grows". A trend is read from the means of a
few blocks, not from single readings: what swings faster than a block (noise, the controller's
ripple) is then scatter about the trend and makes it less certain, as it should.
"""

from dataclasses import dataclass

import numpy as np

from app.judging.record.spans import Floats

WINDOWS_S = (1800.0, 3600.0, 5400.0)
"""How far back a trend looks, in seconds: the shortest window whose slope is real, so that a fast
drift is seen soon and a slow one at all. Long against a controller's swing, short against a soak.

Common practice has no figure; chosen on generated records (tests/judging/test_outlook_drift.py).
"""
WINDOW_ROWS = 16
"""A slow logger's window is made longer until it holds this many rows."""
LEAST_WINDOW_S = 900.0
"""A window shorter than this, in seconds, says nothing: a swing looks like a drift in it."""
BLOCKS = 10
"""Means into which a window is gathered; with fewer than this many rows there is no trend."""
TIMES_ERROR = 7.0
"""A slope is real when it is at least this many times its standard error.

About one in ten thousand by chance where the blocks' scatter is independent (Student's t, 8 degrees
of freedom, both sides); wide on purpose, because a slow swing is not independent scatter.
"""
SLOWING_S = 5400.0
"""How far back is looked for a course that slows down, in seconds: a load nearing its set
temperature with a time constant of an hour looks straight over half an hour."""
SLOWING_WINDOWS = 2.5
"""And at least this many windows, where a slow logger makes them longer."""
MOST_SLOWING = 20.0
"""A slope that fell by more than this factor, or turned, counts as having fallen by it."""
SLOWING_TIMES_ERROR = 2.5
"""A course slows down where its slopes differ by this many times their standard error."""
FEW_TIMES_ERROR = 4.0
"""The same where a slow logger gives fewer than ``BLOCKS`` means: so few scatter less by chance."""
FEWEST_BLOCKS = 5
LEAST_STEPS = 3.0
"""A window must change by this many of the display's last digit: one step is no trend."""
HISTORY_S = 4 * 3600.0
"""How far before the window a series is asked whether it has been there before, in seconds."""
_LEAST_HISTORY = 0.5


@dataclass(frozen=True, slots=True)
class Trend:
    """A series' course over its last window.

    ``level`` and ``slope`` (units per second) are the fitted ones at ``at_s``, the last reading;
    ``early_slope`` is the slope at the window's begin, greater where the course slows down and
    else the same. ``slope_error`` is the slope's standard error, ``scatter`` the blocks' standard
    deviation about the course. ``real`` says whether the slope is believed.
    """

    at_s: float
    level: float
    slope: float
    early_slope: float
    slope_error: float
    scatter: float
    window_s: float
    real: bool


@dataclass(frozen=True, slots=True)
class _Fit:
    """A straight line through block means: its level at the last reading, slope and scatter."""

    level: float
    slope: float
    error: float
    scatter: float


def trend(times: Floats, values: Floats, *, since_s: float = -np.inf) -> Trend | None:
    """The course of the last window; None where it holds too few readings to tell.

    ``times`` in seconds, rising; ``values`` without NaN; both shape (n,), unbroken by gaps. Only
    the shortest window may reach back beyond ``since_s`` (the soak's start).
    """
    found = None
    tried = -1
    for length_s in WINDOWS_S:
        since = _window_start(times, length_s)
        if len(times) - since < BLOCKS or since == tried:
            continue
        if found is not None and times[since] < since_s:
            break
        tried = since
        course = _course(times, values, since)
        if course.real:
            return course
        found = found or course
    return found


def _window_start(times: Floats, length_s: float) -> int:
    """The first row of the window."""
    if not len(times):
        return 0
    by_time = int(np.searchsorted(times, times[-1] - length_s))
    by_rows = max(len(times) - WINDOW_ROWS, 0)
    longest = int(np.searchsorted(times, times[-1] - WINDOWS_S[-1]))
    return max(min(by_time, by_rows), longest)


def _course(times: Floats, values: Floats, since: int) -> Trend:
    """The course of the window that begins at row ``since``."""
    window_s = float(times[-1] - times[since])
    step = _resolution(values[since:])
    line = _fit(times[since:], values[since:], step)
    moved = abs(line.slope) * window_s
    real = moved >= LEAST_STEPS * step and abs(line.slope) >= TIMES_ERROR * line.error > 0
    real = real and window_s >= LEAST_WINDOW_S
    rate = 0.0
    if real:
        rate = max(
            _slowing(times, values, step, max(SLOWING_S, SLOWING_WINDOWS * window_s)),
            _slowing(times, values, step, window_s),
        )
    # The line's slope is the course's in the middle of the window.
    half = float(np.exp(rate * window_s / 2.0))
    return Trend(
        float(times[-1]),
        # A line through a parabola ends this much beyond it.
        line.level + line.slope * (1.0 / half - half) * window_s / 12.0,
        line.slope / half,
        line.slope * half,
        line.error,
        line.scatter,
        window_s,
        bool(real),
    )


def _slowing(times: Floats, values: Floats, step: float, span_s: float) -> float:
    """By what share per second the slope falls over the last ``span_s``; 0 where it does not.

    A straight course and one that speeds up give 0: for them the window's line stands.
    """
    since = int(np.searchsorted(times, times[-1] - span_s))
    middle = int(np.searchsorted(times, (times[since] + times[-1]) / 2.0))
    blocks = min(middle - since, len(times) - middle, BLOCKS)
    if blocks < FEWEST_BLOCKS:
        return 0.0
    early = _fit(times[since:middle], values[since:middle], step, blocks)
    late = _fit(times[middle:], values[middle:], step, blocks)
    times_error = SLOWING_TIMES_ERROR if blocks == BLOCKS else FEW_TIMES_ERROR
    margin = times_error * float(np.hypot(early.error, late.error))
    if abs(early.slope - late.slope) < margin or abs(late.slope) >= abs(early.slope):
        return 0.0
    # A course that has stopped or turned is about to settle: its slope falls very fast.
    share = early.slope / late.slope if early.slope * late.slope > 0 else MOST_SLOWING
    return float(np.log(min(share, MOST_SLOWING))) * 2.0 / float(times[-1] - times[since])


def _resolution(values: Floats) -> float:
    """The smallest change between neighbouring readings; 0 where nothing changes."""
    steps = np.abs(np.diff(values))
    # Conversion and correction leave differences of rounding between equal readings.
    steps = steps[steps > 1e-6]  # noqa: PLR2004 - the slack of temperatures
    return float(steps.min()) if len(steps) else 0.0


def _fit(times: Floats, values: Floats, step: float, blocks: int = BLOCKS) -> _Fit:
    """Least squares through the means of the blocks; ``step`` is the display's last digit."""
    edges = np.linspace(0, len(times), blocks + 1).astype(np.intp)
    sizes = np.diff(edges)
    at = np.add.reduceat(times - times[-1], edges[:-1]) / sizes
    means = np.add.reduceat(values - values[-1], edges[:-1]) / sizes
    from_middle = at - at.mean()
    slope = float(from_middle @ means) / float(from_middle @ from_middle)
    rest = means - means.mean() - slope * from_middle
    # A display hides up to half a step, on average a step through the square root of 12.
    floor = step * step / (12.0 * float(sizes.min()))
    variance = max(float(rest @ rest) / (blocks - 2), floor)
    return _Fit(
        float(values[-1] + means.mean() - slope * at.mean()),
        slope,
        float(np.sqrt(variance / float(from_middle @ from_middle))),
        float(np.sqrt(variance)),
    )


def reaches_s(course: Trend, limit: float) -> float | None:
    """When the course reaches ``limit``, in seconds as the trend's times; None where it never does.

    A course that slows down is continued as an approach to where it settles (its slope falls by
    the same share in equal times), any other straight on.
    """
    way = limit - course.level
    if way == 0:
        return course.at_s
    if course.slope * way <= 0:
        return None
    share = course.early_slope / course.slope
    if share <= 1:
        return course.at_s + way / course.slope
    rate = float(np.log(share)) / course.window_s
    left = 1.0 - rate * way / course.slope
    return course.at_s - float(np.log(left)) / rate if left > 0 else None


def been_there(times: Floats, values: Floats, course: Trend, *, since_s: float) -> bool:
    """Whether the series was at the trend's level, or beyond it, in the hours before its window.

    What was before ``since_s`` (the soak's start) is not asked.

    A swing comes back to where it was; a drift goes where the series has not been. Judged on means
    as long as a block of the window. False where there is too little history to tell.
    """
    finish = course.at_s - course.window_s
    begin = max(finish - HISTORY_S, float(times[0]), since_s)
    if finish - begin < _LEAST_HISTORY * course.window_s:
        return False
    first, stop = (int(row) for row in np.searchsorted(times, [begin, finish]))
    blocks = max(int((finish - begin) / (course.window_s / BLOCKS)), 1)
    edges = np.unique(np.linspace(first, stop, blocks + 1).astype(np.intp))
    if len(edges) < 2:  # noqa: PLR2004 - a block has two edges
        return False
    before = np.add.reduceat(values[first:stop], edges[:-1] - first) / np.diff(edges)
    if course.slope > 0:
        return bool(before.max() >= course.level - course.scatter)
    return bool(before.min() <= course.level + course.scatter)
