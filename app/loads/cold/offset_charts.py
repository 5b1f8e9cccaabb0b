"""Small pictures of places' offsets over the loads, all to one scale. Pure; drawing only."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.loads.cold.place_history import PlaceHistory

WIDE, HIGH = 300, 84
_ROOM = 8.0
"""Left free around the dots, so that none is cut."""
_LEAST_SPAN_C = 0.1
"""Offsets closer than this are drawn flat, not blown up."""


@dataclass(frozen=True, slots=True)
class Dot:
    """One load's offset: across and down in the picture, and whether it lies outside the limits."""

    x: float
    y: float
    load: str
    is_outside: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """One place's picture, 300 across and 84 down.

    ``zero`` is the height of the load's mean, ``middle`` and ``limits`` those of the baseline that
    ends at ``baseline_ends`` across; None where there are too few loads for limits.
    """

    line: str
    dots: tuple[Dot, ...]
    zero: float
    middle: float | None
    limits: tuple[float, float] | None
    baseline_ends: float | None


@dataclass(frozen=True, slots=True)
class Charts:
    """Pictures by place, and the span of the one scale they are drawn to, degC."""

    by_place: dict[str, Chart]
    low_c: float
    high_c: float


@dataclass(frozen=True, slots=True)
class _Paper:
    columns: dict[str, float]
    low_c: float
    high_c: float

    def down(self, offset_c: float) -> float:
        share = (self.high_c - offset_c) / (self.high_c - self.low_c)
        return round(_ROOM + share * (HIGH - 2 * _ROOM), 1)


def charts(places: Sequence[PlaceHistory], loads: Sequence[str]) -> Charts:
    """A picture of each place; ``loads`` are all loads' codes, oldest first, left to right."""
    known = [0.0]
    for place in places:
        known += [one.offset_c for one in place.offsets]
        if place.limits is not None:
            known += [place.limits.low_c, place.limits.high_c]
    low, high = min(known), max(known)
    if high - low < _LEAST_SPAN_C:
        low, high = low - _LEAST_SPAN_C / 2, high + _LEAST_SPAN_C / 2
    step = (WIDE - 2 * _ROOM) / max(len(loads) - 1, 1)
    paper = _Paper(
        {load: round(_ROOM + number * step, 1) for number, load in enumerate(loads)}, low, high
    )
    return Charts({place.place: _chart(place, paper) for place in places}, low, high)


def _chart(place: PlaceHistory, paper: _Paper) -> Chart:
    outside = {one.load for one in place.outside}
    dots = tuple(
        Dot(paper.columns[one.load], paper.down(one.offset_c), one.load, one.load in outside)
        for one in place.offsets
    )
    limits = place.limits
    baseline = [paper.columns[one.load] for one in place.offsets if one.in_baseline]
    return Chart(
        line=" ".join(f"{dot.x},{dot.y}" for dot in dots),
        dots=dots,
        zero=paper.down(0.0),
        middle=None if limits is None else paper.down(limits.middle_c),
        limits=None if limits is None else (paper.down(limits.high_c), paper.down(limits.low_c)),
        baseline_ends=baseline[-1] if limits is not None else None,
    )
