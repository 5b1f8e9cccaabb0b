"""What earlier loads make doubtful: a trace seen before, and a channel too smooth. Pure.

Source of the rules: judging rules, "Doubt".
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from app.judging.doubt.context import LEAST_LOADS, SOURCE, SeenBefore, Usual
from app.judging.verdict import Finding, Outcome
from app.judging.wording import figure, listed

MARKS_TO_TELL = 3
"""Marks a record must share with an earlier load: one alone could be chance in many loads."""
SMOOTH_SHARE = 0.4
"""A channel is too smooth below this share of its usual noise,"""
SMOOTH_SPREADS = 4.0
"""and this many spreads below it,"""
LEAST_STEPS = 0.5
"""where its usual noise is at least this many steps of its display: less can hide within one."""
_SHOWN = 40


def seen_findings(seen: Sequence[SeenBefore]) -> Iterator[Finding]:
    """One note for each earlier load whose marks this record shares, by the load's code."""
    shared = sorted((one for one in seen if one.shared > 0), key=lambda one: one.load)
    for load, of_load in groupby(shared, key=lambda one: one.load):
        hits = list(of_load)
        total = sum(one.shared for one in hits)
        if total < MARKS_TO_TELL:
            continue
        names = list(dict.fromkeys(one.channel for one in hits))
        told = listed(names) if len(names) <= _FEW else f"{len(names)} channels"
        verb = "runs" if len(names) == 1 else "run"
        yield Finding(
            "doubt.seen_before",
            Outcome.NOTE,
            f"{told} {verb} as in load {load}, noise and all: is it the same trace again?",
            value=float(total),
            limit=float(MARKS_TO_TELL),
            source=SOURCE,
            working=tuple(
                f"{one.channel}: {one.shared} of {one.marks} marks are those of "
                f"{one.earlier_channel} in load {load}"
                for one in hits[:_SHOWN]
            ),
        )


_FEW = 4


def smooth_findings(
    noise: Mapping[str, float], usual: Mapping[str, Usual], steps: Mapping[str, float]
) -> Iterator[Finding]:
    """One note naming the channels whose noise is far below what they usually show.

    ``noise`` and ``steps`` (resolution) in degC, by channel.
    """
    smooth = [
        name
        for name, own in noise.items()
        if name in usual and _too_smooth(own, usual[name], steps.get(name, 0.0))
    ]
    if not smooth:
        return
    lowest = min(smooth, key=lambda name: noise[name] / usual[name].mean)
    told = listed(smooth) if len(smooth) <= _FEW else f"{len(smooth)} channels"
    verb = "is" if len(smooth) == 1 else "are"
    yield Finding(
        "doubt.too_smooth",
        Outcome.NOTE,
        f"{told} {verb} far smoother than in earlier loads: is it a reading or a computed curve?",
        value=noise[lowest],
        limit=usual[lowest].mean,
        unit="degC",
        source=SOURCE,
        working=tuple(
            f"{name}: noise {figure(noise[name], 4)} degC, usually {figure(usual[name].mean, 4)} "
            f"degC, give or take {figure(usual[name].spread, 4)} degC ({usual[name].loads} loads)"
            for name in smooth[:_SHOWN]
        ),
    )


def _too_smooth(own: float, usual: Usual, step: float) -> bool:
    return (
        usual.loads >= LEAST_LOADS
        and usual.mean >= LEAST_STEPS * step
        and own < SMOOTH_SHARE * usual.mean
        and own < usual.mean - SMOOTH_SPREADS * usual.spread
    )
