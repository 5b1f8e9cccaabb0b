"""What is drawn between sensors: weighted by distance, and only near them. Pure.

A picture for people who look for the cold corner, never a measurement and never part of a verdict.
Values between sensors are inverse-distance weighted means (weights 1/d squared, Shepard 1968, from
memory), so that nothing drawn is colder than the coldest sensor or hotter than the hottest. A place
farther from every sensor than the reach is left unknown.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import hypot

import numpy as np
from numpy.typing import NDArray

from app.loads.cold.colour_scale import Scale

COLUMNS, ROWS = 128, 32
"""Squares that a panel is drawn in: fine enough for edges between colours to read as lines."""
_SAME_PLACE_MM = 1.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A sensor and its figure, mm from the lower left corner; None: it saw nothing of the kind.

    Where such a silent sensor is the nearest, nothing is drawn: its neighbours' figures would hide
    what may be the coldest place.
    """

    name: str
    x_mm: float
    y_mm: float
    value: float | None


@dataclass(frozen=True, slots=True)
class Patch:
    """Everything drawn in one colour, as the path of an SVG picture.

    ``step`` counts the scale's steps from its low end; None is where nothing is known.
    ``beyond``: these squares lie beyond the band, whatever their colour.
    """

    step: int | None
    path: str
    beyond: bool = False


def reach_mm(spots: Sequence[Spot]) -> float | None:
    """How far from a sensor anything is drawn, in mm: the widest gap between neighbours.

    That is the largest distance from a sensor to its nearest neighbour, of those with a figure.
    None with fewer than two at different places: one figure says nothing of its surroundings.
    """
    known = [spot for spot in spots if spot.value is not None]
    gaps = [_nearest_other_mm(spot, known) for spot in known]
    return max((gap for gap in gaps if gap is not None), default=None)


def _nearest_other_mm(spot: Spot, spots: Sequence[Spot]) -> float | None:
    apart = [distance_mm(spot, other.x_mm, other.y_mm) for other in spots if other is not spot]
    apart = [one for one in apart if one > _SAME_PLACE_MM]
    return min(apart) if apart else None


def distance_mm(spot: Spot, x_mm: float, y_mm: float) -> float:
    """From a sensor to a place, in mm."""
    return hypot(spot.x_mm - x_mm, spot.y_mm - y_mm)


def nearest(spots: Sequence[Spot], x_mm: float, y_mm: float) -> Spot:
    """The sensor nearest to a place; of two as near, the first. There must be one."""
    return min(spots, key=lambda spot: distance_mm(spot, x_mm, y_mm))


def between(spots: Sequence[Spot], x_mm: float, y_mm: float) -> float | None:
    """The figure drawn at a place; None where it is unknown.

    At a sensor (within 1 mm) it is the sensor's own, or the mean of those there.
    """
    at = np.array([[x_mm]], dtype=float), np.array([[y_mm]], dtype=float)
    found = float(_field(spots, *at)[0, 0])
    return None if np.isnan(found) else found


def _field(
    spots: Sequence[Spot], x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The figures drawn at many places (two-dimensional); NaN where unknown."""
    known = [(spot, spot.value) for spot in spots if spot.value is not None]
    if not known:
        return np.full(x_mm.shape, np.nan)
    apart = _apart([spot for spot, _ in known], x_mm, y_mm)
    weights = 1.0 / np.maximum(apart, _SAME_PLACE_MM) ** 2
    at_sensor = apart <= _SAME_PLACE_MM
    there = at_sensor.any(axis=-1)
    weights[there] = at_sensor[there]
    values = np.array([value for _, value in known])
    drawn: NDArray[np.float64] = (weights * values).sum(axis=-1) / weights.sum(axis=-1)
    nearest_mm = apart.min(axis=-1)
    drawn[(nearest_mm > (reach_mm(spots) or 0.0)) & ~there] = np.nan
    silent = [spot for spot in spots if spot.value is None]
    if silent:
        drawn[_apart(silent, x_mm, y_mm).min(axis=-1) < nearest_mm] = np.nan
    return drawn


def _apart(
    spots: Sequence[Spot], x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """From each place (first two axes) to each sensor (last axis), in mm."""
    x = np.array([spot.x_mm for spot in spots])
    y = np.array([spot.y_mm for spot in spots])
    found: NDArray[np.float64] = np.hypot(x_mm[..., None] - x, y_mm[..., None] - y)
    return found


def patches(
    spots: Sequence[Spot],
    *,
    length_mm: float,
    width_mm: float,
    scale: Scale,
    band: tuple[float, float] | None = None,
) -> list[Patch]:
    """The panel's squares, merged into one path for each step of the scale.

    Paths are in squares: x from 0 to ``COLUMNS`` along the length, y from 0 to ``ROWS`` downwards
    from the upper edge. Last come the unknown squares and those beyond ``band``, whose two edges
    belong to it.
    """
    along = (np.arange(COLUMNS) + 0.5) * length_mm / COLUMNS
    across = (ROWS - np.arange(ROWS) - 0.5) * width_mm / ROWS
    drawn = _field(spots, *np.meshgrid(along, across))
    unknown = np.isnan(drawn)
    steps = np.where(unknown, -1, scale.steps_of(np.where(unknown, scale.low, drawn)))
    found = [
        Patch(step, _path(steps == step)) for step in range(scale.count) if (steps == step).any()
    ]
    if unknown.any():
        found.append(Patch(None, _path(unknown)))
    if band is not None:
        beyond = ~unknown & ((drawn < band[0]) | (drawn > band[1]))
        if beyond.any():
            found.append(Patch(None, _path(beyond), beyond=True))
    return found


def _path(squares: NDArray[np.bool_]) -> str:
    """The squares as one path: a rectangle for each run of them along a row."""
    return "".join(f"M{begin} {row}h{length}v1h-{length}z" for row, begin, length in _runs(squares))


def _runs(squares: NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    for row, line in enumerate(squares):
        place = 0
        for wanted, run in groupby(line.tolist()):
            length = len(list(run))
            if wanted:
                yield row, place, length
            place += length
