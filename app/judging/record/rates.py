"""The largest change of a line over a window of time. Pure.

Source: judging rules, "Rates, equivalent time, vacuum". The change ``T(t + w) - T(t)`` of a line
made of straight pieces is itself made of straight pieces; its extremes lie where t or t + w is a
point of the line or an end of the time looked at.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.judging.record.cycle import RateLimit
from app.judging.record.spans import DEGREES_SLACK, SECONDS_SLACK, Counts, Flags, Floats
from app.judging.record.trace import Line, SensorLine
from app.judging.verdict import Finding, Outcome
from app.judging.wording import MINUTE_S, figure, listed, seconds

SAME_WINDOW_S = 1e-9
"""Windows that begin no further apart than this, in seconds, are one; it only saves work."""


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """All windows worth looking at on one set of point times, found once for every line on it.

    For each window: the segment, the share of it at which the window begins and ends, and whether
    that is on a point.
    """

    early: Counts
    early_share: Floats
    early_on_point: Flags
    late: Counts
    late_share: Floats
    late_on_point: Flags


def windows(times: Floats, *, window_s: float, begin: float, finish: float) -> Windows:
    """The windows [t, t + window_s] within [begin, finish] and the points' own span.

    Ends included with the slack of times; none where the span is shorter than the window.
    """
    none = np.empty(0, dtype=np.intp)
    never = np.empty(0, dtype=np.bool_)
    empty = Windows(none, np.empty(0), never, none, np.empty(0), never)
    if len(times) < 2:  # noqa: PLR2004 - a window needs a segment
        return empty
    begin, finish = max(begin, float(times[0])), min(finish, float(times[-1]))
    if finish - begin < window_s - SECONDS_SLACK:
        return empty
    inner = times[np.searchsorted(times, begin) : np.searchsorted(times, finish, side="right")]
    last = max(finish - window_s, begin)
    starts = np.concatenate((inner, inner - window_s, [begin, last]))
    starts = starts[(starts >= begin - SECONDS_SLACK) & (starts <= last + SECONDS_SLACK)]
    starts = np.unique(np.clip(starts, begin, last))
    starts = starts[np.concatenate(([True], np.diff(starts) > SAME_WINDOW_S))]
    stops = np.minimum(starts + window_s, finish)
    return Windows(*_places(times, starts), *_places(times, stops))


def changes(line: Line, found: Windows) -> tuple[Floats, Floats]:
    """Level at the begin and at the end of every window both of whose ends are known.

    What lies between the two does not matter: a gap inside the window hides no change between its
    ends. ``found`` must have been made for the line's own times.
    """
    early, late = found.early, found.late
    early_share, late_share = found.early_share, found.late_share
    if line.broken is not None:
        known = found.early_on_point | ~line.broken[early]
        known &= found.late_on_point | ~line.broken[late]
        early, late = early[known], late[known]
        early_share, late_share = early_share[known], late_share[known]
    return _levels(line.values, early, early_share), _levels(line.values, late, late_share)


def _places(times: Floats, instants: Floats) -> tuple[Counts, Floats, Flags]:
    """The segment of each instant, how far along it (0 to 1), and whether that is on a point.

    An instant within the slack of times of a point is on it.
    """
    segment = np.clip(np.searchsorted(times, instants, side="right") - 1, 0, len(times) - 2)
    begin, end = times[segment], times[segment + 1]
    on_begin, on_end = instants - begin <= SECONDS_SLACK, end - instants <= SECONDS_SLACK
    share = np.clip((instants - begin) / (end - begin), 0.0, 1.0)
    share[on_begin] = 0.0
    share[on_end] = 1.0
    return segment, share, on_begin | on_end


def _levels(values: Floats, segment: Counts, share: Floats) -> Floats:
    """The line's values part-way along segments."""
    begin = values[segment]
    return begin + (values[segment + 1] - begin) * share


def fastest(
    lines: Sequence[SensorLine], limit: RateLimit, *, begin: float, finish: float, rising: bool
) -> dict[str, float | None]:
    """Each sensor's fastest rise (or fall, as a positive figure) in degC per minute.

    None for a sensor without one whole window of proven time within [begin, finish]. A sensor that
    only falls has a negative rise.
    """
    made: dict[int, Windows] = {}
    rates: dict[str, float | None] = {}
    for sensor in lines:
        times = sensor.line.times
        if id(times) not in made:
            made[id(times)] = windows(times, window_s=limit.window_s, begin=begin, finish=finish)
        early, late = changes(sensor.line, made[id(times)])
        change = late - early if rising else early - late
        per_minute = MINUTE_S / limit.window_s
        rates[sensor.name] = float(change.max()) * per_minute if len(change) else None
    return rates


def rate_finding(
    rates: Mapping[str, float | None] | None, limit: RateLimit, cycle_name: str, *, rising: bool
) -> Finding:
    """Whether every sensor's fastest change keeps to the limit (included).

    Changes over the window are compared with 1e-6 degC of slack. *Not proven* where a sensor has
    no whole window to judge, or where there is no soak (``rates`` None).
    """
    word, code = ("heating", "heating_rate") if rising else ("cooling", "cooling_rate")
    source = f"cycle {cycle_name}, {word} rate"
    known = {name: rate for name, rate in (rates or {}).items() if rate is not None}
    unknown = [name for name, rate in (rates or {}).items() if rate is None]
    if not known:
        outcome = Outcome.NOT_PROVEN
        why = "there is no soak" if rates is None else "no window of it is wholly recorded"
        text = f"The {word} rate cannot be judged: {why}."
        return Finding(code, outcome, text, None, limit.max_c_per_min, "degC/min", source)
    name = max(known, key=lambda sensor: known[sensor])
    rate = known[name]
    minutes = limit.window_s / MINUTE_S
    too_fast = rate * minutes > limit.max_c_per_min * minutes + DEGREES_SLACK
    outcome = Outcome.CONFORMS
    text = (
        f"Fastest {word} {figure(rate)} degC/min ({name}) over {seconds(limit.window_s)}; at most "
        f"{figure(limit.max_c_per_min)} degC/min is permitted."
    )
    if too_fast:
        outcome = Outcome.DOES_NOT_CONFORM
    elif unknown:
        outcome = Outcome.NOT_PROVEN
        text = f"{text} {listed(unknown)} cannot be judged: no window of it is wholly recorded."
    working = tuple(
        f"{sensor}: {figure(value * minutes, 6)} degC in {figure(limit.window_s, 6)} s = "
        f"{figure(value, 6)} degC/min"
        for sensor, value in known.items()
    )
    return Finding(code, outcome, text, rate, limit.max_c_per_min, "degC/min", source, working)
