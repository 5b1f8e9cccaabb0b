"""What each required sensor saw: arrival, coldest, mean and hottest of the soak. Pure.

Source of the rules: judging rules, "What each sensor saw". The figures are taken from the lines on
which the record was judged, so that nothing is corrected or bridged twice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.judging.record.furnace_record import JudgedTrace
from app.judging.record.soak import Soak
from app.judging.record.spans import Floats
from app.judging.record.trace import Line


@dataclass(frozen=True, slots=True)
class SensorSummary:
    """One required sensor's figures.

    ``arrival_s``: first instant in the first stage's band, seconds from the first row; None where
    it never was. ``lowest_c``, ``mean_c`` and ``highest_c`` in degC over the known time of every
    stage's soak from its start to its end, excursions included; None where there is no soak or
    the sensor is unknown throughout. ``equivalent_s`` over the whole record; None where the cycle
    has no ageing parameters.
    """

    channel: str
    arrival_s: float | None
    lowest_c: float | None
    mean_c: float | None
    highest_c: float | None
    equivalent_s: float | None


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """A soak on one set of point times: which points lie in it, and each one's share of time."""

    begin: float
    end: float
    first: int
    stop: int
    weights: Floats


def sensor_summaries(judged: JudgedTrace) -> tuple[SensorSummary, ...]:
    """Every required sensor's figures, in the cycle's order."""
    aged = judged.verdict.equivalent_time_s
    made: dict[tuple[int, int], _Window] = {}
    arrivals = judged.soaks[0].parts
    found = []
    for sensor, part in zip(judged.lines, arrivals, strict=True):
        seen = _seen(sensor.line, judged.soaks, made)
        found.append(
            SensorSummary(
                sensor.name,
                float(part.inside[0, 0]) if len(part.inside) else None,
                *seen,
                None if aged is None else aged[sensor.name],
            )
        )
    return tuple(found)


def _seen(
    line: Line, soaks: Sequence[Soak], made: dict[tuple[int, int], _Window]
) -> tuple[float | None, float | None, float | None]:
    """Lowest, mean over time and highest over the soaks, in degC."""
    lowest, highest, total, lasted = np.inf, -np.inf, 0.0, 0.0
    for soak in soaks:
        if soak.start is None or soak.end is None:
            continue
        window = _window(line, soak.number, (soak.start, soak.end), made)
        inner = line.values[window.first : window.stop]
        known = line.at(np.array([window.begin, window.end]))
        known = known[~np.isnan(known)]
        for values in (inner, known):
            if len(values):
                lowest = min(lowest, float(values.min()))
                highest = max(highest, float(values.max()))
        ends = _ends(line, window)
        # Not np.dot: its threads wait for each other where the machine is busy.
        total += float(np.einsum("i,i->", inner, window.weights)) + ends[0]
        lasted += float(window.weights.sum()) + ends[1]
    if lowest > highest:
        return None, None, None
    # Known at single instants only: there is no time to weigh them by.
    mean = total / lasted if lasted > 0 else (lowest + highest) / 2
    return lowest, min(max(mean, lowest), highest), highest


def _window(
    line: Line, number: int, span: tuple[float, float], made: dict[tuple[int, int], _Window]
) -> _Window:
    """The soak's points on this line; found once for all lines that share their point times."""
    key = (number, id(line.times))
    if line.broken is None and key in made:
        return made[key]
    begin, end = span
    first = int(np.searchsorted(line.times, begin))
    stop = int(np.searchsorted(line.times, end, side="right"))
    weights = np.zeros(max(stop - first, 0))
    if len(weights) > 1:
        steps = np.diff(line.times[first:stop])
        if line.broken is not None:
            steps[line.broken[first : stop - 1]] = 0.0
        weights[:-1] += 0.5 * steps
        weights[1:] += 0.5 * steps
    window = _Window(begin, end, first, stop, weights)
    if line.broken is None:
        made[key] = window
    return window


def _ends(line: Line, window: _Window) -> tuple[float, float]:
    """What the soak's two ends add where they lie between points: degC times s, and s."""
    edges = [window.begin, *line.times[window.first : window.stop][[0, -1]], window.end]
    if window.first == window.stop:
        edges = [window.begin, window.end]
    area = lasted = 0.0
    for begin, end in ((edges[0], edges[1]), (edges[-2], edges[-1]))[: len(edges) // 2]:
        # Within one segment, a known middle says that all of it is known.
        middle = float(line.at(np.array([(begin + end) / 2]))[0])
        if end > begin and not np.isnan(middle):
            area += middle * (end - begin)
            lasted += end - begin
    return area, lasted
