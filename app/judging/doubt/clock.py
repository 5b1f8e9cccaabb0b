"""A logger's clock that was set, and rows written at another pace. Pure.

Source of the rules: judging rules, "Doubt".
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.judging.doubt.context import SOURCE
from app.judging.doubt.logged import Logged
from app.judging.record.spans import Counts, Floats
from app.judging.verdict import Finding, Outcome
from app.judging.wording import MINUTE_S, degrees, figure, seconds

SAME_PACE = 1.25
"""Intervals whose ratio is no more than this belong to one pace: loggers are not exact."""
PACE_ROWS = 20
"""A pace holds for at least this many intervals."""
KEEPS_PACE = 0.8
"""Share of the intervals that must keep some pace; below it the logger writes when it likes."""
OFF_BEAT = 0.25
"""An interval this share of the pace away from a whole number of intervals is off the beat."""
LATE_ROWS = 5
"""Rows by which a late row has been made up for."""
SHORT_PAUSE = 3.0
"""Off the beat, an interval shorter than this many paces is a clock set; a longer one a restart."""
HOUR_S = 3600.0
LONG_PAUSE = 5.0
"""Paces from which on an interval is asked whether the temperatures went on over it."""
SHOULD_MOVE_C = 5.0
"""They should have moved by this much, in degC, by their slopes before and after."""
MOVED_SHARE = 0.25
"""And moved by no more than this share of it."""
_SLOPE_POINTS = 10


@dataclass(frozen=True, slots=True, eq=False)
class _Beat:
    """The intervals between rows, and the pace each belongs to or follows (seconds)."""

    steps: Floats
    pace: Floats
    off: Counts
    changes: Counts


def clock_findings(channels: Logged) -> Iterator[Finding]:
    """Steps of the clock and changes of pace, the first of each kind with the number of all."""
    if len(channels.times) <= PACE_ROWS:
        return
    beat = _beat(np.diff(channels.times))
    hours, sets, leaps = [], [], []
    for at in beat.off.tolist():
        step, pace = float(beat.steps[at]), float(beat.pace[at])
        beyond = step - pace
        whole = round(beyond / HOUR_S)
        if whole >= 1 and abs(beyond - whole * HOUR_S) <= pace / 2 and pace <= HOUR_S / 6:
            hours.append(at)
        elif step < SHORT_PAUSE * pace and _off_beat(beat.steps, at, pace):
            sets.append(at)
        elif step >= LONG_PAUSE * pace and _went_on_without(channels, at):
            leaps.append(at)
    if hours:
        yield _step(channels, beat, hours, "by whole hours: was its clock set, or summer time?")
    if sets:
        yield _step(channels, beat, sets, "off its beat: was its clock set?")
    if leaps:
        yield _leap(channels, beat, leaps)
    if len(beat.changes):
        yield _pace(channels, beat)


def _beat(steps: Floats) -> _Beat:
    """The paces that hold, the intervals that keep none, and where one pace follows another."""
    none = np.empty(0, dtype=np.intp)
    larger = np.maximum(steps[1:], steps[:-1])
    cut = np.flatnonzero(larger > SAME_PACE * np.minimum(steps[1:], steps[:-1])) + 1
    begins, ends = np.append(0, cut), np.append(cut, len(steps))
    long = np.flatnonzero(ends - begins >= PACE_ROWS)
    if (ends - begins)[long].sum() < KEEPS_PACE * len(steps):
        return _Beat(steps, steps, none, none)
    paces = np.array([float(np.median(steps[begins[at] : ends[at]])) for at in long])
    # What keeps no pace of its own follows the one before it, the first ones the first.
    owner = np.maximum(np.searchsorted(begins[long], np.arange(len(steps)), side="right") - 1, 0)
    kept = np.zeros(len(steps), dtype=np.bool_)
    for at in long:
        kept[begins[at] : ends[at]] = True
    unlike = np.maximum(paces[1:], paces[:-1]) > SAME_PACE * np.minimum(paces[1:], paces[:-1])
    changes = begins[long[1:]][unlike]
    off = np.flatnonzero(~kept)
    # The interval in which one pace gives way to another belongs to neither.
    off = off[~np.isin(off, np.concatenate((changes - 1, changes)))]
    return _Beat(steps, paces[owner], off, changes)


def _off_beat(steps: Floats, at: int, pace: float) -> bool:
    """Whether the rows keep off the beat after the interval, or did before it.

    A late row, or a few of them, is back on the beat soon after; a clock that was set never is. Of
    the first and last few rows nothing can be said.
    """
    if at < LATE_ROWS or at + LATE_ROWS > len(steps):
        return False
    after = np.cumsum(steps[at : at + LATE_ROWS])
    before = np.cumsum(steps[at + 1 - LATE_ROWS : at + 1][::-1])
    return not (_whole(after, pace) or _whole(before, pace))


def _whole(lengths: Floats, pace: float) -> bool:
    """Whether any of the lengths is a whole number of paces, one at least."""
    paces = lengths / pace
    nearest = np.maximum(np.round(paces), 1.0)
    return bool((np.abs(paces - nearest) <= OFF_BEAT).any())


def _went_on_without(channels: Logged, at: int) -> bool:
    """Whether the temperatures stood still over a pause in which they should have moved."""
    should, moved = _over_pause(channels, at)
    return abs(should) >= SHOULD_MOVE_C and abs(moved) <= MOVED_SHARE * abs(should)


def _over_pause(channels: Logged, at: int) -> tuple[float, float]:
    """How far the middle channel should have moved over the interval, and how far it did (degC)."""
    times = channels.times
    changes, shoulds = [], []
    first, stop = max(at - _SLOPE_POINTS, 0), min(at + 2 + _SLOPE_POINTS, len(times))
    if at - first < 2 or stop - at - 2 < 2:  # noqa: PLR2004 - a slope needs some rows
        return 0.0, 0.0
    pause = float(times[at + 1] - times[at])
    for values in channels.values:
        before = (values[at] - values[first]) / (times[at] - times[first])
        after = (values[stop - 1] - values[at + 1]) / (times[stop - 1] - times[at + 1])
        # Slopes of opposite sign say nothing of what was between.
        slope = min(before, after, key=abs) if before * after > 0 else 0.0
        if not np.isnan(before + after + values[at + 1] - values[at]):
            shoulds.append(slope * pause)
            changes.append(float(values[at + 1] - values[at]))
    if not shoulds:
        return 0.0, 0.0
    return float(np.median(shoulds)), float(np.median(changes))


def _step(channels: Logged, beat: _Beat, found: list[int], what: str) -> Finding:
    at = found[0]
    step, pace = float(beat.steps[at]), float(beat.pace[at])
    return Finding(
        "doubt.clock",
        Outcome.NOTE,
        f"After the row at {seconds(float(channels.times[at]))} the logger's time steps by "
        f"{seconds(step)} where its rows are {seconds(pace)} apart, {what}",
        value=step - pace,
        unit="s",
        source=SOURCE,
        working=_places(channels, beat, found),
    )


def _leap(channels: Logged, beat: _Beat, found: list[int]) -> Finding:
    at = found[0]
    should, moved = _over_pause(channels, at)
    return Finding(
        "doubt.clock",
        Outcome.NOTE,
        f"After the row at {seconds(float(channels.times[at]))} the time steps by "
        f"{seconds(float(beat.steps[at]))}, but the temperatures go on as if no time had passed: "
        f"was the logger's clock set?",
        value=float(beat.steps[at]),
        unit="s",
        source=SOURCE,
        working=(
            f"middle channel: {degrees(moved)} over the step, {degrees(should)} by its slopes",
            *_places(channels, beat, found),
        ),
    )


def _pace(channels: Logged, beat: _Beat) -> Finding:
    at = int(beat.changes[0])
    before, after = float(beat.pace[max(at - 1, 0)]), float(beat.pace[at])
    more = f", and {len(beat.changes) - 1} times more" if len(beat.changes) > 1 else ""
    return Finding(
        "doubt.pace",
        Outcome.NOTE,
        f"From {seconds(float(channels.times[at]))} on the rows are {seconds(after)} apart instead "
        f"of {seconds(before)}{more}.",
        value=after,
        limit=before,
        unit="s",
        source=SOURCE,
        working=(f"{len(beat.steps)} intervals, {len(beat.changes)} changes of pace",),
    )


_SHOWN = 20


def _places(channels: Logged, beat: _Beat, found: list[int]) -> tuple[str, ...]:
    """Where the steps are, the first of them."""
    lines = [
        f"row {at + 1} to row {at + 2}, {figure(float(channels.times[at]) / MINUTE_S)} min: "
        f"{figure(float(beat.steps[at]))} s, pace {figure(float(beat.pace[at]))} s"
        for at in found[:_SHOWN]
    ]
    if len(found) > _SHOWN:
        lines.append(f"and {len(found) - _SHOWN} more")
    return tuple(lines)
