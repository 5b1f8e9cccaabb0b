"""Control chart of a tester's checks on one reference block: limits, runs and shifts. Pure.

Nothing here decides. Errors are exact (mean of the check readings less the certified value); limits
are control limits, what this tester usually shows, and never the permitted error.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from app.judging.rounding import mean

FEWEST_CHECKS = 10
"""No limits are drawn from fewer conforming checks. Common practice."""
BASELINE_CHECKS = 30
"""The limits rest on the first so many conforming checks, or on all where there are fewer."""
D2_OF_TWO = Fraction(1128, 1000)
"""Mean range of two over their standard deviation: NIST/SEMATECH e-Handbook 6.3.2.2."""
SIGMAS = 3
RUN_ON_ONE_SIDE = 8
"""Checks in a row on one side of the centre: NIST/SEMATECH e-Handbook 6.3.2 (from memory)."""
RUN_OF_TREND = 6
"""Checks in a row, each above (or each below) the one before. Common practice."""
ALLOWANCE_SIGMAS = Fraction(1, 2)
DECISION_SIGMAS = 5
"""Cumulative sums with k = 1/2 and h = 5 standard deviations: Montgomery and Runger, Applied
Statistics and Probability for Engineers, 16-10, which recommends 4 or 5 with 1/2."""
SMOOTHING = Fraction(3, 10)
"""Weight of the newest check in the smoothed line: NIST/SEMATECH e-Handbook 6.3.2.4, which puts it
between 0.2 and 0.3."""


@dataclass(frozen=True, slots=True)
class Point:
    """One check: its error, and whether it conformed. A failed one is drawn, and sets no limit."""

    error: Fraction
    conforms: bool = True


@dataclass(frozen=True, slots=True)
class ControlLimits:
    """Centre and limits for single checks, from ``checks`` conforming ones. All ends included.

    ``moving_range`` is the mean absolute change from one of them to the next.
    """

    centre: Fraction
    moving_range: Fraction
    checks: int

    @property
    def sigma(self) -> Fraction:
        """The standard deviation that the moving range stands for."""
        return self.moving_range / D2_OF_TWO

    @property
    def low(self) -> Fraction:
        """The lower limit, included."""
        return self.centre - SIGMAS * self.sigma

    @property
    def high(self) -> Fraction:
        """The upper limit, included."""
        return self.centre + SIGMAS * self.sigma


@dataclass(frozen=True, slots=True)
class Run:
    """Checks in a row, from place ``first`` to ``last`` (both included), that tell of something."""

    kind: str
    """``above`` or ``below`` the centre; ``rising`` or ``falling``."""
    first: int
    last: int

    @property
    def length(self) -> int:
        """How many checks it holds."""
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Shift:
    """The mean error moved: where it began and was found, and by how much it is off the centre.

    ``first`` is the check after which the sum was last zero, ``found`` the one that took it past
    its decision interval, ``last`` the newest at which it still is. ``by`` is estimated over
    ``first`` to ``last``.
    """

    first: int
    found: int
    last: int
    by: Fraction


@dataclass(frozen=True, slots=True)
class ControlChart:
    """The chart of one series of checks, oldest first; places count from 0.

    ``limits`` is None where there are too few checks, or none differs; then nothing is looked for.
    """

    points: tuple[Point, ...]
    limits: ControlLimits | None
    smoothed: tuple[Fraction, ...] = ()
    beyond: tuple[int, ...] = ()
    runs: tuple[Run, ...] = ()
    shifts: tuple[Shift, ...] = ()

    @property
    def usable(self) -> int:
        """How many checks a limit may rest on."""
        return sum(point.conforms for point in self.points)


def control_chart(points: Sequence[Point]) -> ControlChart:
    """The chart of checks of one tester on one block, oldest first."""
    limits = control_limits([point.error for point in points if point.conforms])
    if limits is None or limits.moving_range == 0:
        return ControlChart(tuple(points), None)
    errors = [point.error for point in points]
    return ControlChart(
        tuple(points),
        limits,
        smoothed_line(errors, start=limits.centre),
        beyond_limits(errors, limits),
        (*runs_on_one_side(errors, limits.centre), *trends(errors)),
        shifts_in(errors, centre=limits.centre, sigma=limits.sigma),
    )


def control_limits(errors: Sequence[Fraction]) -> ControlLimits | None:
    """Limits from the first conforming checks, or None from fewer than ``FEWEST_CHECKS``.

    Source: NIST/SEMATECH e-Handbook 6.3.2.2, individuals chart: centre plus and minus
    3 * (mean moving range / 1.128), that is 2.66 mean moving ranges.
    """
    if len(errors) < FEWEST_CHECKS:
        return None
    baseline = tuple(errors[:BASELINE_CHECKS])
    return ControlLimits(mean(baseline), mean(moving_ranges(baseline)), len(baseline))


def moving_ranges(errors: Sequence[Fraction]) -> tuple[Fraction, ...]:
    """The absolute change from each check to the next: one fewer than the checks."""
    return tuple(abs(later - earlier) for earlier, later in pairwise(errors))


def beyond_limits(errors: Sequence[Fraction], limits: ControlLimits) -> tuple[int, ...]:
    """The places of checks outside the limits; on a limit is inside."""
    return tuple(
        place for place, error in enumerate(errors) if not limits.low <= error <= limits.high
    )


def runs_on_one_side(errors: Sequence[Fraction], centre: Fraction) -> tuple[Run, ...]:
    """Runs of ``RUN_ON_ONE_SIDE`` or more checks on one side; one on the centre ends a run."""
    words = {1: "above", -1: "below"}
    sides = [_sign(error - centre) for error in errors]
    return tuple(
        Run(words[side], first, last)
        for side, first, last in _stretches(sides)
        if side and last - first + 1 >= RUN_ON_ONE_SIDE
    )


def trends(errors: Sequence[Fraction]) -> tuple[Run, ...]:
    """Runs of ``RUN_OF_TREND`` or more checks that only rise or only fall; two equal end a run."""
    words = {1: "rising", -1: "falling"}
    ways = [_sign(later - earlier) for earlier, later in pairwise(errors)]
    # A stretch of n changes joins n + 1 checks.
    return tuple(
        Run(words[way], first, last + 1)
        for way, first, last in _stretches(ways)
        if way and last - first + 2 >= RUN_OF_TREND
    )


def cumulative_sums(
    errors: Sequence[Fraction], *, target: Fraction, allowance: Fraction
) -> tuple[tuple[Fraction, ...], tuple[Fraction, ...]]:
    """The upper and the lower one-sided sum after each check, both from zero and never below it.

    Source: NIST/SEMATECH e-Handbook 6.3.2.3, tabular form.
    """
    upper, lower = [Fraction(0)], [Fraction(0)]
    for error in errors:
        upper.append(max(Fraction(0), upper[-1] + error - target - allowance))
        lower.append(max(Fraction(0), lower[-1] + target - allowance - error))
    return tuple(upper[1:]), tuple(lower[1:])


def shifts_in(
    errors: Sequence[Fraction], *, centre: Fraction, sigma: Fraction
) -> tuple[Shift, ...]:
    """Every stretch in which a cumulative sum passes its decision interval, in order of finding.

    The size is the allowance plus the sum over the number of checks since it was last zero
    (Montgomery and Runger, 16-10); exactly on the decision interval is not past it.
    """
    allowance, decision = ALLOWANCE_SIGMAS * sigma, DECISION_SIGMAS * sigma
    upper, lower = cumulative_sums(errors, target=centre, allowance=allowance)
    found = [*_past(upper, allowance, decision, 1), *_past(lower, allowance, decision, -1)]
    return tuple(sorted(found, key=lambda shift: shift.found))


def _past(
    sums: Sequence[Fraction], allowance: Fraction, decision: Fraction, sign: int
) -> list[Shift]:
    shifts: list[Shift] = []
    began = 0
    for place, total in enumerate(sums):
        if total == 0:
            began = place + 1
        elif total > decision:
            by = sign * (allowance + total / (place - began + 1))
            known = shifts[-1] if shifts and shifts[-1].first == began else None
            if known is None:
                shifts.append(Shift(began, place, place, by))
            else:
                shifts[-1] = Shift(began, known.found, place, by)
    return shifts


def smoothed_line(errors: Sequence[Fraction], *, start: Fraction) -> tuple[Fraction, ...]:
    """The exponentially weighted moving average after each check. Drawn for the eye, only.

    Source: NIST/SEMATECH e-Handbook 6.3.2.4. Rounded to nine places at each step, so
    that the exact fractions do not grow without end.
    """
    line, level = [], start
    for error in errors:
        level = round(SMOOTHING * error + (1 - SMOOTHING) * level, 9)
        line.append(level)
    return tuple(line)


def _stretches(marks: Sequence[int]) -> list[tuple[int, int, int]]:
    """Mark, first and last place of each stretch of equal marks."""
    found: list[tuple[int, int, int]] = []
    for place, mark in enumerate(marks):
        if found and found[-1][0] == mark:
            found[-1] = (mark, found[-1][1], place)
        else:
            found.append((mark, place, place))
    return found


def _sign(value: Fraction) -> int:
    return (value > 0) - (value < 0)
