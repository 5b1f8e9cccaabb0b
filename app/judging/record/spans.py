"""Closed intervals of time and what several of them have in common. Pure.

Spans are a float64 array of shape (m, 2): begin and end of each, begin <= end, in order of time. A
span may be one instant (begin == end). Every function is a sweep over sorted ends, never a loop.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]
Ranks: TypeAlias = NDArray[np.int8]
Counts: TypeAlias = NDArray[np.intp]
Spans: TypeAlias = NDArray[np.float64]

NO_SPANS: Spans = np.empty((0, 2))

SECONDS_SLACK = 1e-6
"""Slack when two times are compared, in seconds. Source: judging rules, "Slack in comparisons"."""
DEGREES_SLACK = 1e-6
"""Slack when two temperatures are compared, in degC. Source: as above."""


def as_spans(begins: Floats, ends: Floats) -> Spans:
    """The spans with these begins and ends, shape (m, 2)."""
    return np.column_stack((begins, ends))


# The order of span ends that fall on one instant: what reaches the instant itself holds longer.
BEGINS_WITH, ENDS_BEFORE, BEGINS_AFTER, ENDS_WITH = (np.int8(rank) for rank in range(4))


def covered_by(
    spans: Spans,
    *,
    times_over: int,
    begin_ranks: Ranks | None = None,
    end_ranks: Ranks | None = None,
) -> Spans:
    """Where at least ``times_over`` of the given spans hold at once.

    ``spans`` may be in any order and may overlap. Their ends are included, so that spans that share
    one instant hold together there, unless ``begin_ranks`` or ``end_ranks`` (one for each span)
    say ``BEGINS_AFTER`` or ``ENDS_BEFORE``.
    """
    count = len(spans)
    if count == 0 or times_over < 1:
        return NO_SPANS
    instants = np.concatenate((spans[:, 0], spans[:, 1]))
    ranks = np.repeat(np.array([BEGINS_WITH, ENDS_WITH]), count)
    if begin_ranks is not None:
        ranks[:count] = begin_ranks
    if end_ranks is not None:
        ranks[count:] = end_ranks
    order = np.lexsort((ranks, instants))
    depth = np.cumsum(np.where(order < count, 1, -1))
    before = np.concatenate(([0], depth[:-1]))
    begins = instants[order[(depth == times_over) & (before == times_over - 1)]]
    ends = instants[order[(depth == times_over - 1) & (before == times_over)]]
    return as_spans(begins, ends)


def union(*groups: Spans) -> Spans:
    """All instants in any of the groups; spans that touch become one."""
    return covered_by(np.concatenate(groups), times_over=1) if groups else NO_SPANS


def common(groups: Sequence[Spans]) -> Spans:
    """All instants that lie in every group; each group's own spans must not overlap."""
    if not groups:
        return NO_SPANS
    return covered_by(np.concatenate(groups), times_over=len(groups))


def clipped(spans: Spans, begin: float, end: float) -> Spans:
    """The parts of the spans within [begin, end], ends included."""
    inside = spans[(spans[:, 1] >= begin) & (spans[:, 0] <= end)]
    return np.clip(inside, begin, end)


def without(spans: Spans, taken: Spans) -> Spans:
    """What is left of ``spans`` where ``taken`` is cut out; both disjoint and in order."""
    if not len(spans):
        return NO_SPANS
    edges = np.concatenate(([-np.inf], taken.ravel(), [np.inf])).reshape(-1, 2)
    left = covered_by(np.concatenate((spans, edges)), times_over=2)
    return left[left[:, 1] > left[:, 0]]


def measure(spans: Spans) -> float:
    """Total length of disjoint spans, in seconds."""
    return float((spans[:, 1] - spans[:, 0]).sum())


def pairs(spans: Spans) -> tuple[tuple[float, float], ...]:
    """The spans as plain pairs of floats."""
    return tuple((float(begin), float(end)) for begin, end in spans)
