"""Marks by which a trace is known again, whatever load it comes with. Pure.

Source of the rules: judging rules, "Doubt". A mark is a 64-bit digest of a short run of differences
between neighbouring readings: an offset, another start, another name or a trimmed end do not change
it. Of all runs those few are kept whose digests come first in a fixed order, so that a part of a
trace keeps those of the whole's marks that lie in it (a bottom-k sketch).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.judging.record.spans import Counts, Floats

MOST_MARKS = 8
"""Marks of a channel, at most."""
RUN = 48
"""Differences in a run: long enough that noise never repeats one by chance."""
LEAST_TURNS = 28
"""Differences within a run that must be unlike the one before: a quiet run could be anybody's."""
GRID = 1000.0
"""Differences are taken in thousandths of the channel's unit."""
_LARGEST = 1e6

_Words = NDArray[np.uint32]
_FACTORS = (np.uint32(0x9E3779B1), np.uint32(0x85EBCA6B))
_POWERS = np.power(np.uint64(0x9E3779B97F4A7C15), np.arange(RUN, dtype=np.uint64))


def marks_of(times: Floats, values: Floats) -> tuple[int, ...]:
    """The channel's marks: at most 8 signed 64-bit figures, smallest first; often none if quiet.

    ``times`` and ``values`` of shape (n,), NaN missing. Marks of two channels are compared by
    ``shared``. Times do not count: a trace moved to another day has the same marks.
    """
    if len(times) != len(values) or len(values) <= RUN:
        return ()
    steps = np.diff(values)
    missing = np.isnan(steps)
    if missing.any():
        steps[missing] = 0.0
    turns = np.rint(np.clip(steps, -_LARGEST, _LARGEST) * GRID).astype(np.int32)
    at = _first_runs(turns, missing)
    if not len(at):
        return ()
    return tuple(sorted(_digests(turns, at).tolist()))


def shared(marks: Sequence[int], others: Sequence[int]) -> int:
    """How many marks the two have in common."""
    return len(set(marks) & set(others))


def _first_runs(turns: NDArray[np.int32], missing: NDArray[np.bool_]) -> Counts:
    """Where the runs begin that come first in the order, at most ``MOST_MARKS``, all different."""
    order = _order(turns.view(np.uint32))[: len(turns) - RUN + 1]
    limit = min(64 * 2**32 // len(order), 2**32 - 1)
    while True:
        found = np.flatnonzero(order <= limit)
        found = found[_begins_lively(turns, found)]
        windows = turns[found[:, None] + np.arange(RUN)]
        lively = (windows[:, 1:] != windows[:, :-1]).sum(axis=1) >= LEAST_TURNS
        if missing.any():
            lively &= ~missing[found[:, None] + np.arange(RUN)].any(axis=1)
        found = found[lively]
        first = _first_of(turns, found, order[found])
        if len(first) == MOST_MARKS or limit == 2**32 - 1:
            return first
        limit = min(limit * 8, 2**32 - 1)


def _order(words: _Words) -> _Words:
    """A figure for the four differences from each row on; the smaller, the sooner it is chosen."""
    mixed = words * _FACTORS[0]
    mixed ^= mixed >> np.uint32(15)
    pair = mixed[:-1] * _FACTORS[1] + mixed[1:]
    four = pair[:-2] * _FACTORS[0] + pair[2:]
    four ^= four >> np.uint32(16)
    four *= _FACTORS[1]
    return np.asarray(four)


def _begins_lively(turns: NDArray[np.int32], at: Counts) -> NDArray[np.bool_]:
    """Whether the first differences of each run change: it spares a look at long quiet spans."""
    one, two, three = turns[at], turns[at + 1], turns[at + 2]
    return np.asarray((one != two) & (two != three))


def _first_of(turns: NDArray[np.int32], at: Counts, order: _Words) -> Counts:
    """The first few by order, then by digest; of equal runs one."""
    digests = _digests(turns, at)
    _, once = np.unique(digests, return_index=True)
    ranked = once[np.lexsort((digests[once], order[once]))]
    return at[ranked[:MOST_MARKS]]


def _digests(turns: NDArray[np.int32], at: Counts) -> NDArray[np.int64]:
    """A 64-bit digest of the run beginning at each row."""
    windows = turns[at[:, None] + np.arange(RUN)].astype(np.int64).view(np.uint64)
    mixed = (windows + np.uint64(0x632BE59BD9B4E019)) * np.uint64(0xD1342543DE82EF95)
    mixed ^= mixed >> np.uint64(32)
    total = (mixed * _POWERS).sum(axis=1, dtype=np.uint64)
    total ^= total >> np.uint64(29)
    total *= np.uint64(0xBF58476D1CE4E5B9)
    total ^= total >> np.uint64(32)
    return np.asarray(total.view(np.int64))
