"""Excursions from the band inside a soak, and the rule that may permit them. Pure.

Source of the rules: judging rules, "The soak".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from app.judging.record.crossings import BandParts
from app.judging.record.cycle import Cycle, Stage
from app.judging.record.soak import Soak
from app.judging.record.spans import DEGREES_SLACK, SECONDS_SLACK, Counts, Floats
from app.judging.record.trace import SensorLine
from app.judging.verdict import Finding, Outcome
from app.judging.wording import degrees, figure, listed, seconds


@dataclass(frozen=True, slots=True)
class Excursion:
    """One maximal *out* span inside a soak.

    ``from_s`` and ``to_s`` in seconds from the first row; ``beyond_c`` is the furthest any sensor
    got beyond the band itself (without slack), on ``side``; ``sensors`` are all that were out, in
    the cycle's order.
    """

    from_s: float
    to_s: float
    beyond_c: float
    side: Literal["above", "below"]
    sensors: tuple[str, ...]

    @property
    def length_s(self) -> float:
        """How long it lasted, in seconds."""
        return self.to_s - self.from_s


@dataclass(frozen=True, slots=True, eq=False)
class _SensorOut:
    """One sensor's spans out of band within excursions: which excursion, how far, which side."""

    excursion: Counts
    beyond: Floats
    side: Counts


def excursions(soak: Soak, lines: Sequence[SensorLine]) -> tuple[Excursion, ...]:
    """The soak's excursions in order of time."""
    if not len(soak.out):
        return ()
    outs = [_sensor_out(soak, sensor, part) for sensor, part in zip(lines, soak.parts, strict=True)]
    which = np.concatenate([out.excursion for out in outs])
    beyond = np.concatenate([out.beyond for out in outs])
    side = np.concatenate([out.side for out in outs])
    sensor = np.repeat(np.arange(len(outs)), [len(out.excursion) for out in outs])
    # Within each excursion the furthest comes first; of two equally far, the one above.
    order = np.lexsort((-side, -beyond, which))
    firsts = np.searchsorted(which[order], np.arange(len(soak.out) + 1))
    found = []
    for at, (begin, end) in enumerate(soak.out.tolist()):
        members = order[firsts[at] : firsts[at + 1]]
        furthest = members[0]
        names = tuple(lines[index].name for index in np.unique(sensor[members]))
        on_side: Literal["above", "below"] = "above" if side[furthest] > 0 else "below"
        found.append(Excursion(begin, end, float(beyond[furthest]), on_side, names))
    return tuple(found)


def _sensor_out(soak: Soak, sensor: SensorLine, part: BandParts) -> _SensorOut:
    """One sensor's share in the soak's excursions."""
    at = np.searchsorted(soak.out[:, 0], part.outside[:, 0], side="right") - 1
    within = (at >= 0) & (part.outside[:, 1] <= soak.out[at, 1])
    excursion, side = at[within], part.side[within]
    if not len(excursion):
        return _SensorOut(excursion, np.empty(0), side)
    edges = np.column_stack((part.first[within], part.last[within] + 1)).ravel()
    values = sensor.line.values
    # reduceat needs an element behind the last edge; a repeated last value changes no extreme.
    padded = np.append(values[: edges[-1]], values[edges[-1] - 1])
    highest = np.maximum.reduceat(padded, edges)[::2]
    lowest = np.minimum.reduceat(padded, edges)[::2]
    beyond = np.where(side > 0, highest - soak.stage.high_c, soak.stage.low_c - lowest)
    return _SensorOut(excursion, beyond, side)


def excursion_finding(soak: Soak, found: Sequence[Excursion], cycle: Cycle) -> Finding:
    """Whether the soak stayed in band, or left it only as the cycle permits.

    The total over all stages is judged apart (``total_excursion_finding``). Unproven time in the
    window leaves it *not proven* unless an excursion already decides.
    """
    rule = cycle.excursions
    working = _working(soak, found)
    refused = [one for one in found if not _permitted(one, cycle)]
    if refused:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"Stage {soak.number}: {_told(refused)}"
    elif soak.unproven_s > SECONDS_SLACK:
        outcome = Outcome.NOT_PROVEN
        text = (
            f"Stage {soak.number}: whether the load stayed in band is not known for "
            f"{seconds(soak.unproven_s)} of the soak, where readings are missing."
        )
    else:
        outcome = Outcome.CONFORMS
        text = (
            f"Stage {soak.number}: {len(found)} excursions, each within what the cycle permits."
            if found
            else f"Stage {soak.number}: no excursion from the band during the soak."
        )
    source = "common practice: a run that leaves its band is rejected"
    return Finding(
        "soak.excursions",
        outcome,
        text,
        value=float(len(found)),
        limit=0.0 if rule is None else None,
        source=source if rule is None else f"cycle {cycle.name}, permitted excursions",
        working=working,
    )


def _told(refused: Sequence[Excursion]) -> str:
    """The excursions that are not permitted, in words; of several, the longest is described."""
    one = max(refused, key=lambda excursion: excursion.length_s)
    what = (
        f"{listed(one.sensors)} left the band for {seconds(one.length_s)}, up to "
        f"{figure(one.beyond_c)} degC {one.side} it."
    )
    if len(refused) == 1:
        return what
    return f"{len(refused)} excursions are not permitted. In the longest, {what}"


def total_excursion_finding(found: Sequence[Excursion], cycle: Cycle) -> Finding | None:
    """Whether all excursions of the cycle together keep to the permitted total; None without one.

    The total is the whole cycle's, over all stages.
    """
    rule = cycle.excursions
    if rule is None or not found:
        return None
    total = sum(one.length_s for one in found)
    kept = total <= rule.total_s + SECONDS_SLACK
    return Finding(
        "soak.excursions_total",
        Outcome.CONFORMS if kept else Outcome.DOES_NOT_CONFORM,
        f"All excursions together last {seconds(total)}; the cycle permits "
        f"{seconds(rule.total_s)}.",
        value=total,
        limit=rule.total_s,
        unit="s",
        source=f"cycle {cycle.name}, permitted excursions",
        working=(
            (
                f"{' + '.join(figure(one.length_s, 6) for one in found)} = {figure(total, 6)} s, "
                f"compared with {figure(rule.total_s, 6)} s (1e-6 s slack)"
            ),
        ),
    )


def _permitted(one: Excursion, cycle: Cycle) -> bool:
    """Whether the cycle permits this excursion; its limits included, with slack."""
    rule = cycle.excursions
    return (
        rule is not None
        and one.length_s <= rule.longest_s + SECONDS_SLACK
        and one.beyond_c <= rule.beyond_c + DEGREES_SLACK
    )


SHOWN_IN_WORKING = 50


def _working(soak: Soak, found: Sequence[Excursion]) -> tuple[str, ...]:
    """Band, window and each excursion, line by line; beyond a page's worth only their number."""
    stage: Stage = soak.stage
    lines = [
        f"band {figure(stage.low_c, 6)} to {figure(stage.high_c, 6)} degC, both included",
        *(
            f"{figure(one.from_s, 6)} s to {figure(one.to_s, 6)} s = {figure(one.length_s, 6)} s, "
            f"{degrees(one.beyond_c)} {one.side}: {listed(one.sensors)}"
            for one in found[:SHOWN_IN_WORKING]
        ),
    ]
    if len(found) > SHOWN_IN_WORKING:
        lines.append(f"and {len(found) - SHOWN_IN_WORKING} more")
    lines.append(f"unproven inside the soak: {figure(soak.unproven_s, 6)} s")
    return tuple(lines)
