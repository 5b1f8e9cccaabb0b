"""Bag vacuum over the span it must hold in. Pure.

Source of the rules: judging rules, "Rates, equivalent time, vacuum". Levels are kPa below ambient
and are compared with the slack of temperatures, 1e-6. The logger's longest bridged gap holds for
this channel too; the range of temperature sensors does not.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.errors import Refusal
from app.judging.record.crossings import band_parts
from app.judging.record.cycle import VacuumLimit
from app.judging.record.rates import changes, windows
from app.judging.record.spans import SECONDS_SLACK, Floats, clipped, measure
from app.judging.record.trace import Line, Trace, channel_line
from app.judging.verdict import Finding, Outcome
from app.judging.wording import MINUTE_S, figure, seconds

KPA_SLACK = 1e-6
BURST_SHARE = 0.5
"""Share of the level lost within a minute beyond which a burst bag is suspected."""


@dataclass(frozen=True, slots=True)
class VacuumFigures:
    """What the channel shows within the span [begin_s, end_s].

    ``lowest_kpa`` is None where nothing is known in the span; ``fastest_loss_kpa_per_min`` is None
    where no whole minute of it is known, and negative where the level only rose. ``burst_at_s`` is
    the first instant from which more than half the level was lost within a minute.
    """

    begin_s: float
    end_s: float
    lowest_kpa: float | None
    below_limit_s: float
    unproven_s: float
    fastest_loss_kpa_per_min: float | None
    burst_at_s: float | None


def vacuum_figures(
    trace: Trace, limit: VacuumLimit, *, max_gap_s: float, begin: float, end: float
) -> VacuumFigures:
    """The vacuum's figures within [begin, end], ends included.

    Raises:
        Refusal: the record has no such column.
    """
    if limit.column not in trace.channels:
        raise Refusal(
            f"The record has no vacuum column {limit.column}; its columns are "
            f"{', '.join(trace.channels) or 'none'}."
        )
    line, gaps = channel_line(trace.times, trace.channels[limit.column], max_gap_s=max_gap_s)
    parts = band_parts(line, limit.min_kpa, np.inf)
    below = clipped(parts.outside, begin, end)
    below = below[below[:, 1] - below[:, 0] >= SECONDS_SLACK]
    within = (line.times >= begin) & (line.times <= end)
    known = np.concatenate((line.values[within], line.at(np.array([begin, end]))))
    known = known[~np.isnan(known)]
    found = windows(line.times, window_s=MINUTE_S, begin=begin, finish=end)
    early, late = changes(line, found)
    return VacuumFigures(
        begin,
        end,
        float(known.min()) if len(known) else None,
        measure(below),
        measure(clipped(gaps, begin, end)),
        float((early - late).max()) if len(early) else None,
        _burst_at(line, begin, end),
    )


def _burst_at(line: Line, begin: float, end: float) -> float | None:
    """First known instant in the span after which half the level is lost within a minute, or None.

    Every known point is compared with the highest level of the minute before it; points on both
    sides of a gap are compared too, for both were read.
    """
    edges = np.array([begin, end])
    points = line.times[(line.times >= begin) & (line.times <= end)]
    points = np.unique(np.concatenate((edges, points, points - MINUTE_S, points + MINUTE_S)))
    points = points[(points >= begin) & (points <= end)]
    levels = line.at(points)
    points, levels = points[~np.isnan(levels)], levels[~np.isnan(levels)]
    if not len(points):
        return None
    since = np.searchsorted(points, points - MINUTE_S - SECONDS_SLACK)
    highest = _highest_since(levels, since)
    lost = np.flatnonzero(levels < highest * BURST_SHARE - KPA_SLACK)
    return float(points[lost[0]]) if len(lost) else None


def _highest_since(levels: Floats, since: np.ndarray[tuple[int], np.dtype[np.intp]]) -> Floats:
    """For each point the highest level from point ``since`` up to it, by doubling lengths."""
    at = np.arange(len(levels))
    length = at - since + 1
    highest = levels.copy()
    table = levels
    span = 1
    while span <= int(length.max()):
        fits = (length >= span) & (length < 2 * span)
        # Two runs of this length, one from each end, cover the points between.
        highest[fits] = np.maximum(table[since[fits]], table[at[fits] - span + 1])
        table = np.concatenate((np.maximum(table[:-span], table[span:]), table[-span:]))
        span *= 2
    return highest


def vacuum_findings(
    figures: VacuumFigures | None, limit: VacuumLimit, cycle_name: str
) -> Iterator[Finding]:
    """Whether the level held throughout the span; ``figures`` None where there is no span."""
    source = f"cycle {cycle_name}, vacuum"
    if figures is None:
        text = "The vacuum cannot be judged: there is no soak to begin or end its span."
        yield Finding("vacuum.level", Outcome.NOT_PROVEN, text, None, limit.min_kpa, "kPa", source)
        return
    yield _level_finding(figures, limit, source)
    if figures.unproven_s > SECONDS_SLACK:
        yield Finding(
            "vacuum.gap",
            Outcome.NOT_PROVEN,
            f"The vacuum is not known for {seconds(figures.unproven_s)} of the span in which it "
            f"must hold.",
            value=figures.unproven_s,
            limit=0.0,
            unit="s",
            source=source,
        )
    loss = figures.fastest_loss_kpa_per_min
    yield Finding(
        "vacuum.fastest_loss",
        Outcome.NOTE,
        "No whole minute of the vacuum is recorded, so that its fastest loss is not known."
        if loss is None
        else f"Fastest loss of vacuum: {figure(loss)} kPa in one minute.",
        value=loss,
        unit="kPa/min",
        source=source,
    )
    if figures.burst_at_s is not None:
        yield Finding(
            "vacuum.burst_suspected",
            Outcome.NOTE,
            f"More than half the vacuum was lost within the minute up to "
            f"{seconds(figures.burst_at_s)}: suspected burst bag.",
            value=figures.burst_at_s,
            unit="s",
            source="judging rules, vacuum",
        )


def _level_finding(figures: VacuumFigures, limit: VacuumLimit, source: str) -> Finding:
    """The lowest level against the limit (included)."""
    lowest = figures.lowest_kpa
    span = f"{figure(figures.begin_s, 6)} s to {figure(figures.end_s, 6)} s"
    if lowest is None:
        outcome, text = Outcome.NOT_PROVEN, f"No vacuum reading from {span}."
    else:
        held = lowest >= limit.min_kpa - KPA_SLACK
        outcome = Outcome.CONFORMS if held else Outcome.DOES_NOT_CONFORM
        text = (
            f"Lowest vacuum {figure(lowest)} kPa below ambient, {seconds(figures.below_limit_s)} "
            f"under the limit of {figure(limit.min_kpa)} kPa."
        )
    return Finding(
        "vacuum.level",
        outcome,
        text,
        value=lowest,
        limit=limit.min_kpa,
        unit="kPa",
        source=source,
        working=(
            f"span {span}",
            f"under {figure(limit.min_kpa, 6)} kPa for {figure(figures.below_limit_s, 6)} s",
            f"unproven {figure(figures.unproven_s, 6)} s",
        ),
    )
