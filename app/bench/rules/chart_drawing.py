"""The picture of a control chart. Pure; drawing only, so floats do."""

from dataclasses import dataclass

from app.judging.witness.control_chart import ControlChart

WIDE, HIGH = 720, 260
MOST_DRAWN = 60
"""So many of the newest checks are drawn; more would touch each other."""
_EDGE = 18.0
_LEAST_SPAN = 0.01
"""Errors closer than this, in the tester's unit, are drawn flat, not blown up."""


@dataclass(frozen=True, slots=True)
class Dot:
    """One check: where it is drawn, its place in the chart, and what else marks it."""

    x: float
    y: float
    place: int
    is_beyond: bool
    conforms: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of checks marked along the foot of the picture, from ``x`` to ``to``."""

    x: float
    to: float


@dataclass(frozen=True, slots=True)
class Picture:
    """A control chart, ``WIDE`` across and ``HIGH`` down.

    ``centre`` and ``limits`` (upper, lower) are heights, None where there are no limits;
    ``baseline_ends`` is how far across the checks go that the limits rest on.
    """

    dots: tuple[Dot, ...]
    line: str
    smoothed: str
    zero: float
    centre: float | None
    limits: tuple[float, float] | None
    shifts: tuple[Bar, ...]
    baseline_ends: float | None


def picture(chart: ControlChart) -> Picture:
    """The chart's newest ``MOST_DRAWN`` checks, oldest to the left."""
    first = max(0, len(chart.points) - MOST_DRAWN)
    errors = [float(point.error) for point in chart.points]
    limits = chart.limits
    known = [*errors[first:], 0.0]
    if limits is not None:
        known += [float(limits.low), float(limits.high)]
    low, high = min(known), max(known)
    if high - low < _LEAST_SPAN:
        low, high = low - _LEAST_SPAN / 2, high + _LEAST_SPAN / 2
    step = (WIDE - 2 * _EDGE) / max(len(errors) - first - 1, 1)

    def across(place: int) -> float:
        return round(_EDGE + (max(place, first) - first) * step, 1)

    def down(error: float) -> float:
        return round(_EDGE + (high - error) / (high - low) * (HIGH - 2 * _EDGE), 1)

    drawn = range(first, len(errors))
    return Picture(
        dots=tuple(
            Dot(
                across(place),
                down(errors[place]),
                place,
                place in chart.beyond,
                chart.points[place].conforms,
            )
            for place in drawn
        ),
        line=" ".join(f"{across(place)},{down(errors[place])}" for place in drawn),
        smoothed=" ".join(
            f"{across(place)},{down(float(chart.smoothed[place]))}"
            for place in drawn
            if chart.smoothed
        ),
        zero=down(0.0),
        centre=None if limits is None else down(float(limits.centre)),
        limits=None if limits is None else (down(float(limits.high)), down(float(limits.low))),
        shifts=tuple(
            Bar(across(one.first), across(one.last)) for one in chart.shifts if one.last >= first
        ),
        baseline_ends=_baseline_ends(chart, first, across(first), step),
    )


def _baseline_ends(chart: ControlChart, first: int, left: float, step: float) -> float | None:
    """How far across the last check is that the limits rest on; None where it is not drawn."""
    if chart.limits is None:
        return None
    counted = [place for place, point in enumerate(chart.points) if point.conforms]
    last = counted[chart.limits.checks - 1]
    ends = left + (last - first) * step + step / 2
    return round(ends, 1) if first <= last < len(chart.points) - 1 else None
