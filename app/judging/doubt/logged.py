"""A record's channels as logged, and a sample of them for what need not look at every row. Pure.

Doubts look at readings as the logger wrote them: before correction, and without bridging. A file in
degF is only scaled to degC.
"""

from dataclasses import dataclass

import numpy as np

from app.judging.record.cycle import Cycle
from app.judging.record.spans import Counts, Floats
from app.judging.record.trace import Trace, celsius

BLOCKS = 8
"""Runs of neighbouring rows a sample is made of, spread evenly over the record."""
BLOCK_ROWS = 512
"""Rows of each, at most: 4,096 rows say as much of noise as 86,400 do."""
SAME_READING_C = 1e-9
"""Readings closer than this are the same figure with rounding of binary numbers."""


@dataclass(frozen=True, slots=True, eq=False)
class Logged:
    """The temperature channels of a record: all but the bag's vacuum.

    ``times`` has shape (n,), each of ``values`` too, in degC, NaN missing. ``sample`` has shape
    (channels, blocks, rows) and ``rows`` says which rows of the record each block holds, shape
    (blocks, rows). ``steps`` is each channel's resolution in degC: its smallest change, 0 where it
    never changes in the sample.
    """

    times: Floats
    names: tuple[str, ...]
    values: tuple[Floats, ...]
    sample: Floats
    rows: Counts
    steps: Floats


def logged(trace: Trace, cycle: Cycle) -> Logged:
    """The trace's temperature channels with a sample of their rows."""
    vacuum = None if cycle.vacuum is None else cycle.vacuum.column
    names = tuple(name for name in trace.channels if name != vacuum)
    values = tuple(celsius(trace.channels[name], trace.temperature_unit) for name in names)
    rows = _sample_rows(len(trace.times))
    sample = np.array([channel[rows] for channel in values]).reshape(len(names), *rows.shape)
    steps = np.array([_smallest_change(channel) for channel in sample])
    return Logged(trace.times, names, values, sample, rows, steps)


def _sample_rows(count: int) -> Counts:
    """Evenly spread blocks of neighbouring rows; all rows (but a few) of a short record."""
    length = min(count // BLOCKS, BLOCK_ROWS)
    starts = np.linspace(0, max(count - length, 0), BLOCKS).astype(np.intp)
    return starts[:, None] + np.arange(length)


def _smallest_change(channel: Floats) -> float:
    """The smallest difference of neighbouring readings that is none of rounding; 0 without one."""
    changes = np.abs(np.diff(channel, axis=1)).ravel()
    changes = changes[changes > SAME_READING_C]
    return float(changes.min()) if len(changes) else 0.0


def bends(sample: Floats) -> Floats:
    """Second differences along the rows: noise stays, slopes go. Shape (..., rows - 2)."""
    if sample.shape[-1] < 3:  # noqa: PLR2004 - a bend needs three readings
        return np.empty((*sample.shape[:-1], 0))
    return np.asarray(sample[..., 2:] - 2.0 * sample[..., 1:-1] + sample[..., :-2])


BEND_VARIANCE = 6.0
"""The variance of a second difference of independent readings, in variances of one."""


def noise_c(channels: Logged) -> dict[str, float]:
    """Each channel's noise in degC: a standard deviation of single readings.

    From second differences, the middle one of the blocks' figures, so that a ramp or a door opened
    does not count. Resolution is part of it. A channel without enough readings is left out.
    """
    found = {}
    turns = bends(channels.sample)
    for name, channel in zip(channels.names, turns, strict=True):
        known = ~np.isnan(channel)
        counts = known.sum(axis=1)
        enough = counts >= _LEAST_BENDS
        if enough.sum() * 2 < BLOCKS:
            continue
        squares = np.where(known, channel, 0.0)[enough] ** 2
        by_block = np.sqrt(squares.sum(axis=1) / counts[enough] / BEND_VARIANCE)
        found[name] = float(np.median(by_block))
    return found


_LEAST_BENDS = 10
