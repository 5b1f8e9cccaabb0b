"""A furnace record as straight lines: cleaning, correction, bridging and gaps. Pure.

Source of the rules: judging rules, "Furnace records", input.

The correction is applied to the readings; between corrected readings the line is straight. Where
the rules leave it open: consecutive readings further apart than the permitted gap are a gap,
whether rows between them were missing or the logger wrote none, for nothing is known of that time
either way.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from app.errors import Refusal
from app.judging.record.spans import (
    DEGREES_SLACK,
    NO_SPANS,
    SECONDS_SLACK,
    Flags,
    Floats,
    Spans,
    as_spans,
)


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Readings as logged: times in seconds, strictly increasing, shape (n,).

    ``channels`` has one float64 array of shape (n,) per column; NaN is a missing sample. Readings
    are in ``temperature_unit`` and are converted where a channel is used as a temperature.
    """

    times: Floats
    channels: Mapping[str, Floats]
    temperature_unit: Literal["C", "F"] = "C"


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Known points joined by straight lines, except where a segment is broken by a gap.

    ``times`` and ``values`` have shape (m,) without NaN; ``broken`` has shape (m - 1,) and is True
    where nothing is known between two points, or is None where no segment is broken.
    """

    times: Floats
    values: Floats
    broken: Flags | None

    def at(self, instants: Floats) -> Floats:
        """The values at the given instants, NaN where not known. A gap's ends are known."""
        values = np.full(len(instants), np.nan)
        if not len(self.times):
            return values
        after = np.searchsorted(self.times, instants)
        on_point = self.times[np.minimum(after, len(self.times) - 1)] == instants
        values[on_point] = self.values[after[on_point]]
        between = (after > 0) & (after < len(self.times)) & ~on_point
        if self.broken is not None:
            between[between] = ~self.broken[after[between] - 1]
        right = after[between]
        begin, low = self.times[right - 1], self.values[right - 1]
        share = (instants[between] - begin) / (self.times[right] - begin)
        values[between] = low + (self.values[right] - low) * share
        return values


@dataclass(frozen=True, slots=True, eq=False)
class SensorLine:
    """One sensor, corrected, in degC.

    ``rows`` has one value for each row of the record, bridged ones included, NaN inside gaps.
    ``gaps`` are the spans of the record in which the sensor is unproven, their ends known unless
    they are the record's.
    """

    name: str
    line: Line
    rows: Floats
    gaps: Spans


def celsius(readings: Floats, unit: Literal["C", "F"]) -> Floats:
    """The readings in degC; the same array where they already are."""
    return readings if unit == "C" else (readings - 32.0) * (5.0 / 9.0)


def correction_at(readings: Floats, points: Sequence[tuple[float, float]]) -> Floats:
    """The correction to add to each reading: straight between points, constant outside."""
    first, *rest = points
    correction = np.full_like(readings, first[1])
    before = first
    for point in rest:
        rise = (point[1] - before[1]) / (point[0] - before[0])
        if rise:
            part = np.clip(readings, before[0], point[0])
            part -= before[0]
            part *= rise
            correction += part
        before = point
    return correction


def channel_line(times: Floats, readings: Floats, *, max_gap_s: float) -> tuple[Line, Spans]:
    """A channel as it stands (NaN missing), bridged, with its gaps; no range, no correction."""
    rows = _bridged(times, readings, ~np.isnan(readings), max_gap_s)
    line = _line(times, rows, max_gap_s)
    return line, _gaps(line, times)


def sensor_lines(
    trace: Trace,
    sensors: Sequence[str],
    *,
    max_gap_s: float,
    ranges: Mapping[str, tuple[float, float]],
    corrections: Mapping[str, Sequence[tuple[float, float]]],
) -> list[SensorLine]:
    """The required sensors' lines, in the order named.

    Raises:
        Refusal: a sensor has no column in the record.
    """
    missing = [name for name in sensors if name not in trace.channels]
    if missing:
        raise Refusal(
            f"The record has no column for the required sensor {missing[0]}; "
            f"its columns are {', '.join(trace.channels) or 'none'}."
        )
    return [
        _sensor_line(trace, name, max_gap_s, ranges[name], corrections.get(name, ()))
        for name in sensors
    ]


def _sensor_line(
    trace: Trace,
    name: str,
    max_gap_s: float,
    span_c: tuple[float, float],
    points: Sequence[tuple[float, float]],
) -> SensorLine:
    """One sensor: range, correction, bridging, bends."""
    times = trace.times
    readings = celsius(trace.channels[name], trace.temperature_unit)
    low, high = span_c[0] - DEGREES_SLACK, span_c[1] + DEGREES_SLACK
    corrected = readings + correction_at(readings, points) if points else readings
    # The extremes of an array with a NaN are NaN, and no comparison with NaN holds.
    if readings.min() >= low and readings.max() <= high:
        rows = corrected
    else:
        known = (readings >= low) & (readings <= high)
        rows = _bridged(times, corrected, known, max_gap_s)
    line = _line(times, rows, max_gap_s)
    gaps = _gaps(line, times)
    return SensorLine(name, line, rows, gaps)


def _bridged(times: Floats, readings: Floats, known: Flags, max_gap_s: float) -> Floats:
    """One value per row: as read where known, on the bridge where bridged, NaN inside gaps."""
    if known.all():
        return readings
    if not known.any():
        return np.full_like(readings, np.nan)
    missing = np.flatnonzero(~known)
    known_times, known_values = times[known], readings[known]
    after = np.searchsorted(known_times, times[missing])
    between = (after > 0) & (after < len(known_times))
    right = np.where(between, after, 0)
    left = np.where(between, after - 1, 0)
    apart = known_times[right] - known_times[left]
    bridge = between & (apart <= max_gap_s + SECONDS_SLACK)
    rows = np.where(known, readings, np.nan)
    at = missing[bridge]
    left, right = left[bridge], right[bridge]
    share = (times[at] - known_times[left]) / (known_times[right] - known_times[left])
    rows[at] = known_values[left] + (known_values[right] - known_values[left]) * share
    return rows


def _line(times: Floats, rows: Floats, max_gap_s: float) -> Line:
    """The known rows as a line, broken at every gap."""
    wide = np.diff(times) > max_gap_s + SECONDS_SLACK
    unknown = np.isnan(rows)
    if not unknown.any():
        return Line(times, rows, wide if wide.any() else None)
    at = np.flatnonzero(~unknown)
    if not len(at):
        return Line(np.empty(0), np.empty(0), None)
    # Known rows that are not neighbours have a gap between them, or they would be bridged.
    broken = wide[at[:-1]] | (np.diff(at) > 1)
    return Line(times[at], rows[at], broken if broken.any() else None)


def _gaps(line: Line, times: Floats) -> Spans:
    """The unproven spans of the record: before, between and after the line's points."""
    begin, end = times[0], times[-1]
    if not len(line.times):
        return np.array([[begin, end]])
    found = [NO_SPANS]
    if line.times[0] > begin:
        found.append(np.array([[begin, line.times[0]]]))
    if line.broken is not None:
        at = np.flatnonzero(line.broken)
        found.append(as_spans(line.times[at], line.times[at + 1]))
    if line.times[-1] < end:
        found.append(np.array([[line.times[-1], end]]))
    return np.concatenate(found)
