"""Decisions and probabilities under measurement uncertainty. Pure.

The decision compares exact figures; only the probability, which decides nothing, is a float.
"""

from decimal import Decimal
from fractions import Fraction
from statistics import NormalDist

from app.judging.verdict import Outcome
from app.judging.witness.budget import COVERAGE


def judge_guarded_minimum(value: Fraction, minimum: Decimal, squared: Fraction) -> Outcome:
    """Met at ``minimum`` + U and above, not met below ``minimum``, between them not proven.

    ``squared`` is the square of U (k = 2) in the value's unit: it is compared with the square of
    the margin, so that a U which is a root decides exactly. No rounding.
    """
    margin = value - Fraction(minimum)
    if margin < 0:
        return Outcome.DOES_NOT_CONFORM
    return Outcome.CONFORMS if margin**2 >= squared else Outcome.NOT_PROVEN


def judge_guarded_maximum(value: Fraction, maximum: Decimal, squared: Fraction) -> Outcome:
    """The mirror image of `judge_guarded_minimum`."""
    return judge_guarded_minimum(-value, maximum.copy_negate(), squared)


def probability_of_conformity(
    value: Fraction, expanded: Fraction, lower: Fraction | None, upper: Fraction | None
) -> float:
    """The probability that the true value lies from ``lower`` to ``upper``; None: no end there.

    Normal model around the measured value with standard uncertainty ``expanded / 2``.
    Source: JCGM 106:2012, clause 7.
    """
    if expanded == 0:
        above = lower is None or value >= lower
        below = upper is None or value <= upper
        return 1.0 if above and below else 0.0
    normal = NormalDist(float(value), float(expanded / COVERAGE))
    to_upper = 1.0 if upper is None else normal.cdf(float(upper))
    to_lower = 0.0 if lower is None else normal.cdf(float(lower))
    return to_upper - to_lower
