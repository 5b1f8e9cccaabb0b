"""A channel that stands still while the load does not. Pure.

Source of the rules: judging rules, "Doubt".
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import erf, log, sqrt

import numpy as np

from app.judging.doubt.context import SOURCE
from app.judging.doubt.logged import BEND_VARIANCE, Logged, bends
from app.judging.record.spans import Counts, Flags, Floats
from app.judging.verdict import Finding, Outcome
from app.judging.wording import degrees, figure, seconds

LEAST_S = 600.0
"""A channel that shows one figure for less than this, in seconds, is not looked at."""
LEAST_ROWS = 5
OTHERS_MOVE_C = 5.0
"""What the middle channel must move meanwhile, in degC."""
OTHERS_MOVE_STEPS = 20.0
"""And in steps of the channel's own resolution: a coarse display stands still by itself."""
OWN_MOVE_C = 3.0
"""A channel was on the move where it changed by this much, in degC, in the ``LEAST_S`` before."""
LIVELY_ROWS = 16
"""Rows of a piece; a channel is lively where half its pieces hold a jump (a second difference) of
three steps or more. A reading that only flickers between two figures of the display never has one;
noise of 0.4 steps has one in half the pieces. Such noise cannot rest on one figure, wherever its
level lies."""
BY_CHANCE = log(1e10)
"""A lively channel's rest is no chance where chance allows it once in this many (natural log)."""
_LEAST_PIECES = 6
_THREE_STEPS = 2.5
OTHERS_SHARE = 0.25
"""The others' movement is that of the channel at this share from the slowest of them."""


@dataclass(frozen=True, slots=True)
class _Rest:
    """A span of one figure: rows ``first`` to ``last``, both included."""

    first: int
    last: int


@dataclass(frozen=True, slots=True, eq=False)
class _Rests:
    """Every channel's long spans of one figure, shape (k,) each, channel by channel in order."""

    channel: Counts
    first: Counts
    last: Counts

    def of(self, channel: int) -> slice:
        """Which of them are the channel's."""
        begin, end = np.searchsorted(self.channel, [channel, channel + 1])
        return slice(int(begin), int(end))

    def __getitem__(self, at: int) -> _Rest:
        return _Rest(int(self.first[at]), int(self.last[at]))


def frozen_findings(channels: Logged) -> Iterator[Finding]:
    """Channels that show one figure for long, although the others move or they cannot rest."""
    rests = _rests(channels)
    moved = _others_moved(channels, rests)
    for at, (name, values) in enumerate(zip(channels.names, channels.values, strict=True)):
        own = rests.of(at)
        if own.start == own.stop:
            continue
        step = float(channels.steps[at])
        furthest = own.start + int(np.argmax(moved[own]))
        longest = own.start + int(np.argmax(rests.last[own] - rests.first[own]))
        if moved[furthest] >= max(OTHERS_MOVE_C, OTHERS_MOVE_STEPS * step):
            why = _by_others(float(moved[furthest]))
            yield _finding(channels, name, values, rests[furthest], why)
        elif (chance := _no_chance(values, rests[longest], step)) is not None:
            yield _finding(channels, name, values, rests[longest], chance)


def _rests(channels: Logged) -> _Rests:
    """The spans of one figure that are long enough; a missing reading ends a span."""
    times = channels.times
    found = []
    for at, values in enumerate(channels.values):
        last = np.append(np.flatnonzero(values[1:] != values[:-1]), len(values) - 1)
        first = np.append(0, last[:-1] + 1)
        long = (times[last] - times[first] >= LEAST_S) & (last - first >= LEAST_ROWS - 1)
        found.append((np.full(int(long.sum()), at), first[long], last[long]))
    return _Rests(*(np.concatenate(part) for part in zip(*found, strict=True)))


def _others_moved(channels: Logged, rests: _Rests) -> Floats:
    """How far the others moved from begin to end of each rest, by the slower of them (degC).

    A channel that had arrived, and waits while others follow, is no wonder: unless it was on the
    move itself just before, only movement away from its figure counts. Others that rest all the
    while as well do not count; 0 where none is left.
    """
    begin = np.array([values[rests.first] for values in channels.values])
    end = np.array([values[rests.last] for values in channels.values])
    at = np.arange(len(rests.channel))
    own = begin[rests.channel, at]
    moves = np.where(
        _on_the_move(channels, rests, own),
        np.abs(end - begin),
        np.abs(end - own) - np.abs(begin - own),
    )
    for other in range(len(channels.names)):
        moves[other, _still(rests, rests.of(other))] = np.nan
    moves[rests.channel, at] = np.nan
    # Sorted, what is unknown comes last.
    ranked = np.sort(moves, axis=0)
    known = (~np.isnan(moves)).sum(axis=0)
    slower = ranked[(OTHERS_SHARE * np.maximum(known - 1, 0)).astype(np.intp), at]
    return np.where(known > 0, slower, 0.0)


def _on_the_move(channels: Logged, rests: _Rests, own: Floats) -> Flags:
    """Whether each rest's own channel moved in the minutes before it."""
    since = np.searchsorted(channels.times, channels.times[rests.first] - LEAST_S)
    since = np.minimum(since, np.maximum(rests.first - 1, 0))
    before = np.array(
        [channels.values[of][row] for of, row in zip(rests.channel, since, strict=True)]
    )
    return np.asarray(np.abs(own - before) >= OWN_MOVE_C)


def _still(rests: _Rests, other: slice) -> Flags:
    """Which rests lie wholly within a rest of the other channel."""
    firsts, lasts = rests.first[other], rests.last[other]
    if not len(firsts):
        return np.zeros(len(rests.first), dtype=np.bool_)
    at = np.searchsorted(firsts, rests.first, side="right") - 1
    return np.asarray((at >= 0) & (lasts[np.maximum(at, 0)] >= rests.last))


def _by_others(moved: float) -> tuple[str, str]:
    return f"while three of four other channels moved by {degrees(moved)} or more", ""


def _no_chance(values: Floats, rest: _Rest, step: float) -> tuple[str, str] | None:
    """Why a lively channel cannot rest for so long; None where it can, or is not lively.

    Judged by the readings around the span, as many on both sides together as it has rows.
    """
    if step == 0:
        return None
    rows = rest.last - rest.first + 1
    reach = max(rows, _LEAST_PIECES * LIVELY_ROWS)
    sides = (
        values[max(rest.first - reach, 0) : rest.first],
        values[rest.last + 1 : rest.last + 1 + reach],
    )
    around = np.concatenate([bends(side) for side in sides]) / step
    around = np.abs(around[~np.isnan(around)])
    pieces = around[: len(around) // LIVELY_ROWS * LIVELY_ROWS].reshape(-1, LIVELY_ROWS)
    if len(pieces) < _LEAST_PIECES or np.mean(pieces.max(axis=1) > _THREE_STEPS) < 0.5:  # noqa: PLR2004 - half
        return None
    # The middle piece: a door or a ramp's corner is no noise.
    variance = float(np.median((pieces**2).mean(axis=1))) / BEND_VARIANCE - 1.0 / 12.0
    spread = sqrt(max(variance, 0.16))
    stays = erf(0.5 / (spread * sqrt(2.0)))
    if rows * -log(stays) < BY_CHANCE:
        return None
    return (
        "although its readings just before and after do not rest",
        (
            f"readings around it scatter by {figure(spread, 2)} steps of {degrees(step)}: one "
            f"stays on its figure with a chance of {figure(stays, 2)} at best, {rows} in a row "
            f"never"
        ),
    )


def _finding(
    channels: Logged, name: str, values: Floats, rest: _Rest, why: tuple[str, str]
) -> Finding:
    begin, end = channels.times[rest.first], channels.times[rest.last]
    lasted = float(end - begin)
    return Finding(
        "doubt.frozen",
        Outcome.NOTE,
        f"{name} shows {degrees(float(values[rest.first]))} without a change for "
        f"{seconds(lasted)}, {why[0]}: is the channel frozen?",
        value=lasted,
        unit="s",
        source=SOURCE,
        working=(
            (
                f"{name}: {rest.last - rest.first + 1} equal readings from "
                f"{seconds(float(begin))} to {seconds(float(end))}"
            ),
            *((why[1],) if why[1] else ()),
        ),
    )
