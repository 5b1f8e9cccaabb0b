"""Furnace files as exact straight lines: fractions in, fractions out, nothing rounded.

Source: the judging rules, 4.1 (input) and 4.6 (slack). Shares no code with the program.
"""

import csv
import io
from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from itertools import pairwise

SLACK = Fraction(1, 10**6)  # 4.6: seconds and degC alike
LOWEST_C, HIGHEST_C = Fraction(-50), Fraction(700)  # 4.1, where no sensor range is stated
MARKERS = {"", "OPEN", "NAN"}  # compared in capitals


def exact(written: object) -> Fraction:
    """The number as written; a JSON float is taken by its shortest text."""
    return Fraction(str(written))


@dataclass
class Line:
    """One channel: the known samples in order, joined where they are near enough."""

    name: str
    times: list[Fraction]
    values: list[Fraction]
    max_gap: Fraction
    _by_time: dict[Fraction, Fraction] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._by_time = dict(zip(self.times, self.values, strict=True))

    def at(self, t: Fraction) -> Fraction | None:
        """Value at one instant; None in a gap, before the first and after the last sample."""
        known = self._by_time.get(t)
        if known is not None:
            return known
        right = bisect_left(self.times, t)
        if right in (0, len(self.times)):
            return None
        t0, t1 = self.times[right - 1], self.times[right]
        if t1 - t0 > self.max_gap + SLACK:
            return None
        v0, v1 = self.values[right - 1], self.values[right]
        return v0 + (v1 - v0) * (t - t0) / (t1 - t0)

    def pieces(self) -> Iterable[tuple[Fraction, Fraction, Fraction, Fraction]]:
        """Every known straight piece as (t0, t1, v0, v1)."""
        for i in range(len(self.times) - 1):
            t0, t1 = self.times[i], self.times[i + 1]
            if t1 - t0 <= self.max_gap + SLACK:
                yield t0, t1, self.values[i], self.values[i + 1]

    def crossings(self, level: Fraction) -> set[Fraction]:
        """Instants strictly inside a piece at which the line passes ``level``."""
        return {
            t0 + (level - v0) * (t1 - t0) / (v1 - v0)
            for t0, t1, v0, v1 in self.pieces()
            if (v0 < level < v1) or (v1 < level < v0)
        }

    def known_throughout(self, start: Fraction, end: Fraction) -> bool:
        """Whether no part of ``[start, end]`` lies in a gap."""
        if self.at(start) is None or self.at(end) is None:
            return False
        inside = self.times[bisect_right(self.times, start) : bisect_left(self.times, end)]
        stops = [start, *inside, end]
        return all(self.at((a + b) / 2) is not None for a, b in pairwise(stops) if a < b)

    def snapped(self, levels: Iterable[Fraction]) -> "Line":
        """The line with each sample that is within the slack of a level put on that level.

        The slack decides whether a temperature is beyond a limit; the instant of a crossing
        stays where the straight line meets the limit itself.
        """
        snapped = []
        for value in self.values:
            near = [level for level in levels if abs(value - level) <= SLACK]
            snapped.append(near[0] if near else value)
        return Line(self.name, self.times, snapped, self.max_gap)


@dataclass
class Recording:
    """A file read exactly: row times from the first row, and each channel's lines."""

    row_times: list[Fraction]
    lines: dict[str, Line]

    @property
    def end(self) -> Fraction:
        return self.row_times[-1]


def correction_at(points: list[tuple[Fraction, Fraction]], reading: Fraction) -> Fraction:
    """Correction to add: straight between calibration points, constant outside (4.1)."""
    if reading <= points[0][0]:
        return points[0][1]
    for (x0, c0), (x1, c1) in pairwise(points):
        if x0 <= reading <= x1:
            return c0 + (c1 - c0) * (reading - x0) / (x1 - x0)
    return points[-1][1]


def is_missing(cell: str) -> bool:
    """Blank, a word for an open circuit, a run of dashes or NaN."""
    text = cell.strip().upper()
    return text in MARKERS or not text.strip("-")


def to_celsius(value: Fraction, unit: str) -> Fraction:
    return (value - 32) * Fraction(5, 9) if unit == "F" else value


def step_to_celsius(value: Fraction, unit: str) -> Fraction:
    return value * Fraction(5, 9) if unit == "F" else value


def _row_seconds(name: str, cell: str) -> Fraction:
    if name == "time_s":
        return exact(cell)
    moment = datetime.fromisoformat(cell)
    since = moment - datetime(2020, 1, 1, tzinfo=moment.tzinfo)
    return Fraction(since.days * 86400 + since.seconds) + Fraction(since.microseconds, 10**6)


def read_recording(text: str, cycle: dict) -> Recording:
    """The channels the cycle names, corrected, in degC and (the bag) in kPa."""
    rows = list(csv.reader(io.StringIO(text)))
    header, body = rows[0], rows[1:]
    clock = next(n for n in header if n in ("time", "time_s"))
    stamps = [_row_seconds(clock, row[header.index(clock)]) for row in body]
    times = [t - stamps[0] for t in stamps]
    unit, gap = cycle["temperature_unit"], exact(cycle["max_gap_s"])
    lines = {}
    for name in cycle["sensors"]:
        points = [
            (to_celsius(exact(x), unit), step_to_celsius(exact(c), unit))
            for x, c in (cycle.get("corrections") or {}).get(name, [])
        ]
        cells = [row[header.index(name)] for row in body]
        kept = _temperatures(times, cells, unit, points)
        lines[name] = Line(name, [t for t, _ in kept], [v for _, v in kept], gap)
    if cycle.get("vacuum"):
        name = cycle["vacuum"]["column"]
        cells = [row[header.index(name)] for row in body]
        kept = [(t, exact(c)) for t, c in zip(times, cells, strict=True) if not is_missing(c)]
        lines[name] = Line(name, [t for t, _ in kept], [v for _, v in kept], gap)
    return Recording(times, lines)


def _temperatures(
    times: list[Fraction],
    cells: list[str],
    unit: str,
    points: list[tuple[Fraction, Fraction]],
) -> list[tuple[Fraction, Fraction]]:
    """Samples that are there and in range, corrected before any line is drawn (4.1)."""
    kept = []
    for t, cell in zip(times, cells, strict=True):
        if is_missing(cell):
            continue
        reading = to_celsius(exact(cell), unit)
        if LOWEST_C <= reading <= HIGHEST_C:
            kept.append((t, reading + correction_at(points, reading) if points else reading))
    return kept
