"""The stepped scale that figures are coloured by. Pure.

Steps have round edges and at most seven colours, so that a colour can be told from its neighbours
in print; a figure on an edge belongs to the step above it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

COLOURS = 7
"""As many as the palette has, from the darkest (low) to the lightest (high)."""

DEGREES = tuple(
    float(Decimal(figure).scaleb(power)) for power in (-2, -1, 0, 1, 2) for figure in (1, 2, 5)
)
"""Steps in degC that read well."""

_MINUTES = (1, 2, 5, 10, 20, 30, 60, 120, 240, 480, 1440, 2880, 7200, 14400)
SECONDS = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0, *(60.0 * minutes for minutes in _MINUTES))
"""Steps in s that read well."""

_HAIR = 1e-9
"""Of a step: what binary fractions of round figures may stray by."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Steps of one width from ``low`` upwards."""

    low: float
    step: float
    count: int

    @property
    def high(self) -> float:
        """Where the last step ends."""
        return self.low + self.step * self.count

    @property
    def edges(self) -> list[float]:
        """Every step's lower edge, and the end."""
        return [self.low + self.step * number for number in range(self.count + 1)]

    def steps_of(self, values: NDArray[np.float64]) -> NDArray[np.int64]:
        """Each figure's step, counted from 0; those outside the scale take its ends."""
        places = np.floor((values - self.low) / self.step + _HAIR)
        return np.clip(places, 0, self.count - 1).astype(np.int64)

    def colour(self, step: int) -> int:
        """Which colour of the palette a step has, 0 (low) to 6 (high), spread over all of it."""
        if self.count == 1:
            return COLOURS // 2
        return round(step * (COLOURS - 1) / (self.count - 1))

    def share(self, value: float) -> float | None:
        """Where along the scale a figure lies, 0 to 1; None where it lies outside."""
        share = (value - self.low) / (self.high - self.low)
        return share if -_HAIR <= share <= 1 + _HAIR else None


def scale_of(values: Iterable[float], widths: Sequence[float]) -> Scale | None:
    """The scale with the narrowest of the widths that holds all figures; None without any.

    Its first step holds the lowest figure and its last the highest.
    """
    known = list(values)
    if not known:
        return None
    lowest, highest = min(known), max(known)
    widest = widths[-1] * ceil(max((highest - lowest) / (widths[-1] * (COLOURS - 1)), 1))
    for width in (*widths, widest):
        first = floor(lowest / width + _HAIR)
        count = floor(highest / width + _HAIR) - first + 1
        if count <= COLOURS:
            break
    return Scale(first * width, width, count)
