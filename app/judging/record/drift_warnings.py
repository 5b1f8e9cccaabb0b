"""Warnings while there is time: what drifts towards a limit, and when it would cross. Pure.

Source of the rules: judging rules, "A record that still grows".
"""

from dataclasses import dataclass, replace
from typing import Literal

from app.judging.record.cycle import VacuumLimit
from app.judging.record.drift import LEAST_WINDOW_S, Trend, been_there, reaches_s, trend
from app.judging.record.soak import Soak
from app.judging.record.soak_so_far import last_run
from app.judging.record.spans import Floats
from app.judging.record.trace import SensorLine, Trace, channel_line
from app.judging.verdict import Finding, Outcome
from app.judging.wording import figure, seconds

HORIZON_S = 7200.0
"""A crossing further ahead than this, in seconds, is no warning: trends do not last that long."""
LIKELY_ERRORS = 3.0
"""The crossing's span is that of slopes this many standard errors away: it holds about nine in ten.

More would by chance alone; a swing is no chance scatter (tests/judging/test_outlook_drift.py).
"""
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Drift:
    """A channel on its way to a limit.

    ``level`` and ``per_hour`` are the trend's, in ``unit`` and unit per hour; ``crosses_s`` is when
    it meets ``limit`` on its present trend, in seconds from the first row, ``earliest_s`` and
    ``latest_s`` the span that the trend's own error leaves (``latest_s`` None: it may never).
    """

    channel: str
    unit: str
    level: float
    per_hour: float
    limit: float
    side: Literal["above", "below"]
    crosses_s: float
    earliest_s: float
    latest_s: float | None
    window_s: float

    @property
    def finding(self) -> Finding:
        """The warning as a note, its times from the first row."""
        way = "falls" if self.side == "below" else "rises"
        latest = "" if self.latest_s is None else f" to {seconds(self.latest_s)}"
        return Finding(
            "outlook.drift",
            Outcome.NOTE,
            f"{self.channel} {way} by {figure(abs(self.per_hour))} {self.unit} an hour and is at "
            f"{figure(self.level)} {self.unit}; on this trend it crosses {figure(self.limit)} "
            f"{self.unit} at {seconds(round(self.crosses_s))}.",
            value=self.crosses_s,
            limit=self.limit,
            unit="s",
            source="judging rules, a record that still grows",
            working=(
                f"straight line through the means of the last {seconds(round(self.window_s))}",
                (
                    f"crossing from {seconds(round(self.earliest_s))}{latest}, slope give or take "
                    f"{figure(LIKELY_ERRORS)} standard errors"
                ),
            ),
        )


def drift_of(sensor: SensorLine, soak: Soak) -> Drift | None:
    """The sensor's drift towards an end of the band; None where there is none to warn of."""
    if soak.start is None or soak.elapsed_s < LEAST_WINDOW_S:
        return None
    limits = (soak.stage.low_c, soak.stage.high_c)
    return _drift(sensor.name, "degC", last_run(sensor.line), limits, since_s=soak.start)


def vacuum_drift(
    trace: Trace, limit: VacuumLimit, *, max_gap_s: float, since_s: float
) -> Drift | None:
    """The vacuum's drift towards its least; None where there is none to warn of.

    ``since_s`` is when the span began in which it must hold.
    """
    line, _ = channel_line(trace.times, trace.channels[limit.column], max_gap_s=max_gap_s)
    return _drift(limit.column, "kPa", last_run(line), (limit.min_kpa, None), since_s=since_s)


def _drift(
    channel: str,
    unit: str,
    run: tuple[Floats, Floats],
    limits: tuple[float, float | None],
    *,
    since_s: float,
) -> Drift | None:
    """A trend that is real, leads where the series has not been, and crosses within the horizon."""
    course = trend(*run, since_s=since_s)
    if course is None or not course.real:
        return None
    rises = course.slope > 0
    limit = limits[1] if rises else limits[0]
    crosses = None if limit is None else _crossing(course, limit)
    if limit is None or crosses is None or crosses - course.at_s > HORIZON_S:
        return None
    if been_there(*run, course, since_s=since_s):
        return None
    error = LIKELY_ERRORS * course.slope_error * (1 if rises else -1)
    soonest = _crossing(_tilted(course, error), limit)
    return Drift(
        channel,
        unit,
        course.level,
        course.slope * HOUR_S,
        limit,
        "above" if rises else "below",
        crosses,
        crosses if soonest is None else min(soonest, crosses),
        _crossing(_tilted(course, -error), limit),
        course.window_s,
    )


def _crossing(course: Trend, limit: float) -> float | None:
    """When the course is at the limit; at once where its fitted level is already beyond."""
    beyond = course.level - limit if course.slope > 0 else limit - course.level
    return course.at_s if beyond >= 0 else reaches_s(course, limit)


def _tilted(course: Trend, by: float) -> Trend:
    """The same course with another slope."""
    share = (course.slope + by) / course.slope
    return replace(course, slope=course.slope * share, early_slope=course.early_slope * share)
