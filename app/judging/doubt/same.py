"""Channels that are one and the same signal. Pure.

Source of the rules: judging rules, "Doubt". Sensors that lie side by side see the same course, but
each has noise of its own; a copied channel has the same noise. So readings are compared where they
jump for no reason but noise.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.judging.doubt.context import SOURCE
from app.judging.doubt.logged import BLOCKS, Logged, bends
from app.judging.record.spans import Flags, Floats
from app.judging.verdict import Finding, Outcome
from app.judging.wording import degrees, listed

ALIKE = 0.5
"""Correlation of second differences from which on two channels are compared reading by reading.

Independent noise has about 0; a copy has 1, and about 0.7 where it was rounded to a display three
times as coarse as the noise.
"""
LEAST_JUMPS = 30
"""Jumps (second differences of two steps and more) two channels need before anything is said."""
JUMPS_AGREE = 0.97
"""Share of the jumps at which the two must differ by their usual difference and no more."""
ROWS_AGREE = 0.95
"""The same over all rows compared."""


@dataclass(frozen=True, slots=True)
class _Copy:
    """Channel ``second`` is ``first`` plus an offset, ``late`` rows later (-1, 0 or 1)."""

    first: int
    second: int
    late: int
    offset_c: float
    jumps: int
    rows: int
    agree: float


def same_findings(channels: Logged) -> Iterator[Finding]:
    """Groups of channels that are one signal, up to an offset, one row's shift and resolution."""
    copies = _copies(channels)
    group = {at: at for at in range(len(channels.names))}
    found: dict[int, list[_Copy]] = {}
    for copy in copies:
        old, new = group[copy.second], group[copy.first]
        group = {at: new if of == old else of for at, of in group.items()}
        found.setdefault(new, []).append(copy)
        if old != new:
            found[new].extend(found.pop(old, []))
    for of, members in found.items():
        names = [channels.names[at] for at, own in group.items() if own == of]
        yield _finding(channels, names, members)


def _copies(channels: Logged) -> Iterator[_Copy]:
    """Pairs that are one signal; a pair already known to be one through others is left out."""
    if len(channels.names) < 2:  # noqa: PLR2004 - a pair
        return
    alike = _alike(channels.sample, channels.steps)
    joined = np.arange(len(channels.names))
    lates, firsts, seconds_ = np.nonzero(alike >= ALIKE)
    strongest = np.argsort(-alike[lates, firsts, seconds_], kind="stable")
    for at in strongest.tolist():
        first, second = int(firsts[at]), int(seconds_[at])
        if first >= second or joined[first] == joined[second]:
            continue
        copy = _compared(channels, first, second, int(lates[at]) - 1)
        if copy is not None:
            joined[joined == joined[second]] = joined[first]
            yield copy


def _alike(sample: Floats, steps: Floats) -> Floats:
    """Correlation of second differences with shifts of -1, 0 and 1 rows: shape (3, m, m)."""
    turns = np.nan_to_num(bends(sample))
    # A door opened moves all channels at once; beyond a few usual bends it counts no more.
    size = np.abs(turns)
    count = np.maximum((size > 0).sum(axis=(1, 2)), 1)
    usual = np.maximum(size.sum(axis=(1, 2)) / count, steps)[:, None, None]
    turns = np.clip(turns, -3.0 * usual, 3.0 * usual)
    length = np.sqrt((turns**2).sum(axis=(1, 2)))[:, None, None]
    turns /= np.where(length > 0, length, 1.0)
    whole = turns.reshape(len(turns), -1)
    early, late = turns[:, :, :-1].reshape(len(turns), -1), turns[:, :, 1:].reshape(len(turns), -1)
    ahead = _products(late, early)
    return np.stack((ahead, _products(whole, whole), ahead.T))


def _products(rows: Floats, others: Floats) -> Floats:
    """Every row times every other, shape (rows, others).

    Not as a matrix product: its threads wait for each other where the machine is busy, and take
    ten times as long as the sums themselves.
    """
    return np.asarray(np.einsum("ik,jk->ij", rows, others, optimize=False))


def _compared(channels: Logged, first: int, second: int, late: int) -> _Copy | None:
    """The copy, reading by reading on the sample; None where the two are two."""
    coarse = max(float(channels.steps[first]), float(channels.steps[second]))
    one, other = channels.sample[first], channels.sample[second]
    rows = one.shape[1]
    one = one[:, max(-late, 0) : rows - max(late, 0)]
    other = other[:, max(late, 0) : rows - max(-late, 0)]
    if coarse == 0 or _plainly_two(one[BLOCKS // 2], other[BLOCKS // 2], coarse):
        return None
    apart = other - one
    known = ~np.isnan(apart)
    if not known.any():
        return None
    jumper = one if channels.steps[first] >= channels.steps[second] else other
    jumps = np.zeros(apart.shape, dtype=np.bool_)
    jumps[:, 1:-1] = np.abs(bends(jumper)) >= 1.5 * coarse
    jumps &= known
    offset = float(np.median(apart[known]))
    # A copy on a coarser display is within half its step; the rest is rounding.
    agrees: Flags = np.abs(apart - offset) <= 0.51 * coarse
    if jumps.sum() < LEAST_JUMPS or agrees[jumps].mean() < JUMPS_AGREE:
        return None
    share = float(agrees[known].mean())
    if share < ROWS_AGREE:
        return None
    return _Copy(first, second, late, offset, int(jumps.sum()), int(known.sum()), share)


def _plainly_two(one: Floats, other: Floats, coarse: float) -> bool:
    """Whether the middle block alone shows two signals: it spares a look at the rest."""
    apart = other - one
    apart = apart[~np.isnan(apart)]
    if not len(apart):
        return False
    middle = np.partition(apart, len(apart) // 2)[len(apart) // 2]
    return bool(np.mean(np.abs(apart - middle) <= 0.51 * coarse) < _PLAINLY)


_PLAINLY = 0.8


def _finding(channels: Logged, names: list[str], copies: list[_Copy]) -> Finding:
    count = f"{len(names)} channels" if len(names) > 2 else "both"  # noqa: PLR2004 - a pair
    return Finding(
        "doubt.same",
        Outcome.NOTE,
        f"{listed(names)} show the same signal, noise and all: did {count} come from one sensor?",
        value=float(len(names)),
        source=SOURCE,
        working=tuple(_told(channels, copy) for copy in copies[:_SHOWN]),
    )


_SHOWN = 20


def _told(channels: Logged, copy: _Copy) -> str:
    first, second = channels.names[copy.first], channels.names[copy.second]
    shift = {-1: ", one row earlier", 0: "", 1: ", one row later"}[copy.late]
    return (
        f"{second} = {first} + {degrees(copy.offset_c)}{shift}, within half a step in "
        f"{copy.agree * 100:.1f} % of {copy.rows} readings compared; {copy.jumps} jumps agree"
    )
