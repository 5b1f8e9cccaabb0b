"""The soak of each stage: when it starts and ends, how much of it is in band, and the spread. Pure.

Source of the rules: judging rules, "The soak".

How stages follow each other, where the rules leave it open: a stage's first *in* instant is looked
for from the start of the last earlier stage that has one (from the begin of the record where none
has). Where two bands overlap, the later stage therefore starts as soon as the load is in the later
band, and the earlier stage ends with its last *in* instant up to then, which may be that very
instant. A stage followed by one in which the load is never *in* ends at its own last *in* instant.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.judging.record.crossings import BandParts, band_parts, out_spans, same_instants
from app.judging.record.cycle import Stage
from app.judging.record.spans import (
    NO_SPANS,
    SECONDS_SLACK,
    Floats,
    Spans,
    clipped,
    common,
    measure,
    union,
    without,
)
from app.judging.record.trace import SensorLine


@dataclass(frozen=True, slots=True, eq=False)
class Soak:
    """One stage's soak.

    ``start`` and ``end`` are None where the load is never *in*; then ``out`` is empty, the lengths
    are 0 and ``unproven`` are the spans in which a soak could be hidden. Otherwise ``out`` are the
    maximal *out* spans and ``unproven`` the unproven spans of the window, all in seconds.
    """

    number: int
    stage: Stage
    parts: tuple[BandParts, ...]
    start: float | None
    end: float | None
    in_band_s: float
    out: Spans
    unproven: Spans

    @property
    def elapsed_s(self) -> float:
        """End minus start; 0 where the load is never *in*."""
        return 0.0 if self.start is None or self.end is None else self.end - self.start

    @property
    def unproven_s(self) -> float:
        """Total length of the unproven spans."""
        return measure(self.unproven)


def find_soaks(
    lines: Sequence[SensorLine], stages: Sequence[Stage], *, finish: float
) -> list[Soak]:
    """The soak of every stage, in order; ``finish`` is the record's last instant."""
    parts = [
        same_instants([band_parts(sensor.line, stage.low_c, stage.high_c) for sensor in lines])
        for stage in stages
    ]
    held = [common([part.inside for part in of_stage]) for of_stage in parts]
    starts, searched = _starts(held)
    gaps = union(*(sensor.gaps for sensor in lines))
    soaks = []
    for at, stage in enumerate(stages):
        following = starts[at + 1] if at + 1 < len(stages) else None
        start = starts[at]
        if start is None:
            out = out_spans(parts[at])
            hidden = without(clipped(gaps, searched[at], finish), out)
            soaks.append(Soak(at + 1, stage, parts[at], None, None, 0.0, NO_SPANS, hidden))
        else:
            end = _last_in(held[at], finish if following is None else following)
            soaks.append(_soak(at + 1, stage, parts[at], (start, end), gaps))
    return soaks


def _starts(held: Sequence[Spans]) -> tuple[list[float | None], list[float]]:
    """First *in* instant of every stage, and from when on it was looked for."""
    starts: list[float | None] = []
    searched = []
    since = 0.0
    for spans in held:
        searched.append(since)
        later = spans[spans[:, 1] >= since]
        if len(later):
            since = max(since, float(later[0, 0]))
            starts.append(since)
        else:
            starts.append(None)
    return starts, searched


def _last_in(spans: Spans, limit: float) -> float:
    """The last instant of the spans up to ``limit``; one is known to exist."""
    return min(float(spans[spans[:, 0] <= limit][-1, 1]), limit)


def _soak(
    number: int,
    stage: Stage,
    parts: tuple[BandParts, ...],
    window: tuple[float, float],
    gaps: Spans,
) -> Soak:
    """The window divided into *in*, *out* and unproven time."""
    start, end = window
    out = out_spans(parts)
    out = out[(out[:, 0] >= start) & (out[:, 1] <= end)]
    out = out[out[:, 1] - out[:, 0] >= SECONDS_SLACK]
    unproven = without(clipped(gaps, start, end), out)
    in_band_s = end - start - measure(out) - measure(unproven)
    return Soak(number, stage, parts, start, end, max(in_band_s, 0.0), out, unproven)


def spread_c(lines: Sequence[SensorLine], times: Floats, start: float, end: float) -> float:
    """Largest difference between sensors known at one instant of [start, end], in degC.

    Differences of straight lines are largest at a row or at an end of the window.
    """
    first = int(np.searchsorted(times, start - SECONDS_SLACK))
    stop = int(np.searchsorted(times, end + SECONDS_SLACK, side="right"))
    highest = np.full(stop - first, -np.inf)
    lowest = np.full(stop - first, np.inf)
    for sensor in lines:
        rows = sensor.rows[first:stop]
        # fmax and fmin pass over NaN: a sensor in a gap says nothing at that instant.
        np.fmax(highest, rows, out=highest)
        np.fmin(lowest, rows, out=lowest)
    at_rows = highest - lowest
    return max(_apart(lines, np.array([start, end])), float(at_rows.max(initial=0.0)))


def _apart(lines: Sequence[SensorLine], instants: Floats) -> float:
    """Largest difference at any of the instants between sensors known there; 0 where none is."""
    values = np.array([sensor.line.at(instants) for sensor in lines])
    highest = np.where(np.isnan(values), -np.inf, values).max(axis=0)
    lowest = np.where(np.isnan(values), np.inf, values).min(axis=0)
    return float((highest - lowest).max(initial=0.0))
