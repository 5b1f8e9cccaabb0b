"""Grubbs' test for one suspicious reading: it flags, and never drops anything. Pure.

Two-sided at 5 %, with the display's step counted as scatter. The critical value is computed from
Student's t for any number of readings; floats throughout, since nothing here decides.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from app.judging.rounding import mean

FEWEST_READINGS = 3
SIGNIFICANCE = 0.05
_TINY = 1e-300
_PRECISION = 1e-15
_MOST_TERMS = 500
_HALVINGS = 120


@dataclass(frozen=True, slots=True)
class GrubbsTest:
    """The reading furthest from the mean, its distance in standard deviations, and the limit."""

    index: int
    statistic: float
    critical: float
    deviation: float

    @property
    def is_suspicious(self) -> bool:
        """True above the critical value."""
        return self.statistic > self.critical


def grubbs_test(values: Sequence[Fraction], *, step: Fraction = Fraction(0)) -> GrubbsTest | None:
    """The test over three or more readings; None for fewer, or where all are equal.

    ``step`` is the smallest step of the display. A figure shown hides up to half a step either
    way, a variance of step^2 / 12 (JCGM 100:2008, F.2.2.1); it is added to that of the readings,
    or else two readings that a display happens to show alike would make any third one suspicious.
    """
    if len(values) < FEWEST_READINGS:
        return None
    centre = mean(tuple(values))
    distances = [abs(value - centre) for value in values]
    variance = sum(distance**2 for distance in distances) / (len(values) - 1)
    if variance == 0:
        return None
    spread = math.sqrt(variance + step**2 / 12)
    furthest = max(range(len(values)), key=distances.__getitem__)
    critical = grubbs_critical(len(values))
    return GrubbsTest(furthest, float(distances[furthest]) / spread, critical, spread)


@cache
def grubbs_critical(count: int, *, significance: float = SIGNIFICANCE, sides: int = 2) -> float:
    """The critical value for ``count`` readings (three or more).

    Source: NIST/SEMATECH e-Handbook 1.3.5.17.1, with t at significance / (sides * count).
    """
    freedom = count - 2
    t = student_t_upper(significance / (sides * count), freedom)
    return (count - 1) / math.sqrt(count) * math.sqrt(t * t / (freedom + t * t))


def student_t_upper(probability: float, freedom: int) -> float:
    """The t exceeded with ``probability`` (above 0, at most 0.5) at ``freedom`` degrees of freedom.

    P(T > t) is half the regularised incomplete beta function at x = freedom / (freedom + t^2),
    which rises with x: x is found by halving.
    """
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if regularised_beta(freedom / 2, 0.5, middle) < 2 * probability:
            low = middle
        else:
            high = middle
    return math.sqrt(freedom * (1 - high) / high)


def regularised_beta(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b), 0 <= x <= 1, by its continued fraction.

    Source: NIST Digital Library of Mathematical Functions, 8.17.22.
    """
    if x <= 0 or x >= 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1 - regularised_beta(b, a, 1 - x)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(log_front + a * math.log(x) + b * math.log1p(-x))
    return front / a / _beta_fraction(a, b, x)


def _beta_fraction(a: float, b: float, x: float) -> float:
    """1 + d1/(1 + d2/(1 + ...)), evaluated from the front (modified Lentz)."""
    value, numerator, denominator = 1.0, 1.0, 0.0
    for term in range(1, _MOST_TERMS):
        m = term // 2
        if term % 2:
            step = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            step = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        denominator = 1 / _away_from_zero(1 + step * denominator)
        numerator = _away_from_zero(1 + step / numerator)
        value *= numerator * denominator
        if abs(numerator * denominator - 1) < _PRECISION:
            break
    return value


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
