"""Where a line is inside a band and where outside, found on the straight lines. Pure.

Source of the rules: judging rules, "The soak" and "Slack in comparisons". A *point* of a line
within 1e-6 of the band's end counts as inside; where a segment then leads from inside to outside,
the crossing is where the straight line meets the band's end itself, so slack moves no crossing.
Within one segment a line's part inside the band is one interval, so only segments whose two ends
lie on different sides need a crossing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.judging.record.spans import (
    BEGINS_AFTER,
    BEGINS_WITH,
    DEGREES_SLACK,
    ENDS_BEFORE,
    ENDS_WITH,
    NO_SPANS,
    Counts,
    Floats,
    Ranks,
    Spans,
    as_spans,
    covered_by,
)
from app.judging.record.trace import Line


@dataclass(frozen=True, slots=True, eq=False)
class BandParts:
    """A line against a band.

    ``inside``: spans with the line in the band, ends included. ``outside``: maximal spans out of
    it, with ``side`` 1 above and -1 below, and the first and last point of the line within each;
    the line's extreme in such a span is at one of these points. An end of an outside span is
    included only where it is not a crossing but a gap's end or the line's; the ranks say so.
    """

    inside: Spans
    outside: Spans
    begin_ranks: Ranks
    end_ranks: Ranks
    side: Counts
    first: Counts
    last: Counts


def band_parts(line: Line, low: float, high: float) -> BandParts:
    """The parts of a line inside and outside [low, high], both ends included, with slack.

    Nothing is said of gaps: they belong to neither part, except that their ends are known points.
    """
    count = len(line.times)
    none = np.empty(0, dtype=np.intp)
    if count == 0:
        no_ranks = np.empty(0, dtype=np.int8)
        return BandParts(NO_SPANS, NO_SPANS, no_ranks, no_ranks, none, none, none)
    above, under = line.values > high + DEGREES_SLACK, line.values < low - DEGREES_SLACK
    side = above.view(np.int8) - under.view(np.int8)
    changes = side[1:] != side[:-1]
    if line.broken is not None:
        changes |= line.broken
    cut = np.flatnonzero(changes)
    first = np.concatenate(([0], cut + 1))
    last = np.concatenate((cut, [count - 1]))
    begins, ends = line.times[first], line.times[last]
    crossing = np.flatnonzero(~line.broken[cut]) if line.broken is not None else np.arange(len(cut))
    at = cut[crossing]
    before, after = side[at], side[at + 1]
    leaves = _crossing_times(line, at, np.where(before != 0, before, after), low, high)
    enters = _crossing_times(line, at, np.where(after != 0, after, before), low, high)
    ends[crossing] = leaves
    begins[crossing + 1] = enters
    begin_ranks = np.full(len(begins), BEGINS_WITH)
    end_ranks = np.full(len(begins), ENDS_WITH)
    begin_ranks[crossing + 1] = BEGINS_AFTER
    end_ranks[crossing] = ENDS_BEFORE
    run_side = side[first]
    through = before * after == -1
    held = as_spans(begins[run_side == 0], ends[run_side == 0])
    if through.any():
        held = np.concatenate((held, as_spans(leaves[through], enters[through])))
        held = held[np.argsort(held[:, 0], kind="stable")]
    out = run_side != 0
    return BandParts(
        held,
        as_spans(begins[out], ends[out]),
        begin_ranks[out],
        end_ranks[out],
        run_side[out].astype(np.intp),
        first[out],
        last[out],
    )


def _crossing_times(line: Line, at: Counts, side: Counts, low: float, high: float) -> Floats:
    """When the segments starting at the points ``at`` cross the band's end on the given side."""
    level = np.where(side > 0, high, low)
    begin, end = line.times[at], line.times[at + 1]
    value = line.values[at]
    share = np.clip((level - value) / (line.values[at + 1] - value), 0.0, 1.0)
    # begin + 1 * (end - begin) need not be end to the last bit.
    return np.where(share == 1.0, end, begin + share * (end - begin))


SAME_INSTANT_S = 1e-7
"""Crossings of different sensors no further apart than this, in seconds, are one instant.

Well within the slack of times (1e-6 s), and well above what rounding does to a crossing: two
sensors that cross at the same instant do so here too.
"""


def same_instants(parts: Sequence[BandParts]) -> tuple[BandParts, ...]:
    """The parts with instants that differ only by rounding made the same."""
    groups = [spans.ravel() for part in parts for spans in (part.inside, part.outside)]
    instants = np.concatenate(groups)
    order = np.argsort(instants, kind="stable")
    ordered = instants[order]
    leads = np.concatenate(([True], np.diff(ordered) > SAME_INSTANT_S))[: len(ordered)]
    instants[order] = ordered[np.maximum.accumulate(np.where(leads, np.arange(len(ordered)), 0))]
    made = np.split(instants, np.cumsum([len(group) for group in groups])[:-1])
    return tuple(
        replace(part, inside=made[2 * at].reshape(-1, 2), outside=made[2 * at + 1].reshape(-1, 2))
        for at, part in enumerate(parts)
    )


def out_spans(parts: Sequence[BandParts]) -> Spans:
    """The maximal spans in which at least one of the lines is outside.

    Two spans that meet at a crossing are two: at that instant no line is outside.
    """
    return covered_by(
        np.concatenate([part.outside for part in parts]),
        times_over=1,
        begin_ranks=np.concatenate([part.begin_ranks for part in parts]),
        end_ranks=np.concatenate([part.end_ranks for part in parts]),
    )
