"""Two sensors that were exchanged, told by the order in which they usually respond. Pure.

Source of the rules: judging rules, "Doubt". A station buried deep warms late in every load. Where
two stations each respond as the other usually does, their sensors or plugs may have been exchanged.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from app.judging.doubt.context import LEAST_LOADS, SOURCE, Usual
from app.judging.record.cycle import Cycle
from app.judging.record.spans import Floats
from app.judging.record.trace import Trace, celsius
from app.judging.verdict import Finding, Outcome
from app.judging.wording import figure, listed

BETTER_BY = 22.5
"""How much the misfit of a pair (sum of squares in spreads) must fall when it is exchanged.

Two stations that are not exchanged look so once in a million pairs: the fall exceeds x by chance
with at most the probability that a normal figure exceeds the square root of x. 40 sensors are 780
pairs.
"""
FITS = 13.8
"""And the misfit left must be no more than this: chi-squared, 2 degrees of freedom, 0.1 %."""
LEAST_SPREAD_SHARE = 0.02
"""A spread is taken as no smaller than this share of the range of all usual lags."""
LEAST_SENSORS = 4
"""Fewer sensors show no order to be out of."""


def response_lags(trace: Trace, cycle: Cycle) -> dict[str, float]:
    """Each required sensor's lag in heating: seconds later than the middle sensor (earlier: < 0).

    Taken where each first passes half the way from its first reading, by the middle sensor's, to
    the first stage's set temperature. A sensor that never passes it is left out; all are, where
    the load was warm already.
    """
    channels = {
        name: celsius(trace.channels[name], trace.temperature_unit)
        for name in cycle.sensors
        if name in trace.channels
    }
    starts = np.array([values[np.isnan(values).argmin()] for values in channels.values()])
    known = starts[~np.isnan(starts)]
    target = cycle.stages[0].set_c
    if not len(known) or float(np.median(known)) > target - _LEAST_RISE_C:
        return {}
    level = (float(np.median(known)) + target) / 2.0
    passed = {name: _passes(trace.times, values, level) for name, values in channels.items()}
    arrived = {name: at for name, at in passed.items() if at is not None}
    middle = float(np.median(list(arrived.values()))) if arrived else 0.0
    return {name: at - middle for name, at in arrived.items()}


_LEAST_RISE_C = 20.0


def _passes(times: Floats, values: Floats, level: float) -> float | None:
    """When the readings first pass the level on their way up; None where they begin above it."""
    above = values >= level
    at = int(above.argmax())
    if at == 0 or np.isnan(values[at - 1]):
        return None
    under = float(values[at - 1])
    share = (level - under) / (float(values[at]) - under)
    return float(times[at - 1] + share * (times[at] - times[at - 1]))


def swapped_findings(
    lags: Mapping[str, float], usual: Mapping[str, Usual], *, row_s: float
) -> Iterator[Finding]:
    """Pairs of sensors that respond as each other usually do; no sensor is named twice.

    ``row_s`` is the time between rows: no spread is taken as less than half of it.
    """
    names = [name for name in lags if name in usual and usual[name].loads >= LEAST_LOADS]
    if len(names) < LEAST_SENSORS:
        return
    means = np.array([usual[name].mean for name in names])
    least = max(row_s / 2.0, LEAST_SPREAD_SHARE * float(np.ptp(means)))
    spreads = np.array([_spread(usual[name], least) for name in names])
    seen = _in_usual_terms(np.array([lags[name] for name in names]), means)
    # Misfit of every sensor at every station, shape (sensors, stations).
    misfit = ((seen[:, None] - means[None, :]) / spreads[None, :]) ** 2
    one, other = np.triu_indices(len(names), 1)
    left = misfit[one, other] + misfit[other, one]
    fall = misfit[one, one] + misfit[other, other] - left
    found = np.flatnonzero((fall >= BETTER_BY) & (left <= FITS))
    named: set[int] = set()
    for at in found[np.argsort(-fall[found], kind="stable")].tolist():
        pair = (int(one[at]), int(other[at]))
        if not named & set(pair):
            named |= set(pair)
            figures = (float(fall[at]), float(left[at]))
            yield _finding([names[station] for station in pair], lags, usual, figures)


def _spread(usual: Usual, least: float) -> float:
    """The spread to expect of one more load: a mean of few loads is itself uncertain."""
    return max(usual.spread, least) * float(np.sqrt(1.0 + 1.0 / usual.loads))


def _in_usual_terms(seen: Floats, means: Floats) -> Floats:
    """The lags shifted and scaled to this run's pace: a slow or heavy run stretches them all.

    By the middle of the slopes between all pairs, which two exchanged sensors hardly move.
    """
    one, other = np.triu_indices(len(means), 1)
    apart = means[other] - means[one]
    clear = np.abs(apart) > 0.1 * np.ptp(means)
    stretch = (
        float(np.median((seen[other] - seen[one])[clear] / apart[clear])) if clear.any() else 1
    )
    stretch = stretch if stretch > _LEAST_STRETCH else 1.0
    return np.asarray((seen - np.median(seen - stretch * means)) / stretch)


_LEAST_STRETCH = 0.2


def _finding(
    pair: Sequence[str],
    lags: Mapping[str, float],
    usual: Mapping[str, Usual],
    misfit: tuple[float, float],
) -> Finding:
    return Finding(
        "doubt.swapped",
        Outcome.NOTE,
        f"{listed(pair)} warm up in each other's usual order: were their sensors or plugs "
        f"exchanged?",
        value=misfit[0],
        limit=BETTER_BY,
        source=SOURCE,
        working=(
            *(
                f"{name}: {figure(lags[name], 1)} s after the middle sensor, usually "
                f"{figure(usual[name].mean, 1)} s, give or take {figure(usual[name].spread, 1)} s "
                f"({usual[name].loads} loads)"
                for name in pair
            ),
            (
                f"misfit {figure(misfit[0] + misfit[1], 1)} as named, {figure(misfit[1], 1)} "
                f"exchanged"
            ),
        ),
    )
