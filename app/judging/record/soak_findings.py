"""What is found of the soaks: length, overheating, spread and how the record ends. Pure.

Source of the rules: judging rules, "The soak".
"""

from collections.abc import Iterator, Sequence

import numpy as np

from app.judging.record.cycle import Cycle
from app.judging.record.soak import Soak
from app.judging.record.spans import DEGREES_SLACK, SECONDS_SLACK
from app.judging.record.trace import SensorLine
from app.judging.verdict import Finding, Outcome
from app.judging.wording import degrees, figure, seconds


def soak_length_findings(soak: Soak, cycle: Cycle) -> Iterator[Finding]:
    """Whether the soak is long enough, and not too long where the stage says so."""
    source = f"cycle {cycle.name}, stage {soak.number}"
    if soak.start is None or soak.end is None:
        yield _no_soak(soak, source)
        return
    stage = soak.stage
    could_be = soak.in_band_s + soak.unproven_s
    if soak.in_band_s >= stage.soak_min_s - SECONDS_SLACK:
        outcome, says = Outcome.CONFORMS, "long enough"
    elif could_be < stage.soak_min_s - SECONDS_SLACK:
        outcome, says = Outcome.DOES_NOT_CONFORM, "too short"
    else:
        outcome, says = Outcome.NOT_PROVEN, "long enough only if the unproven time was in band"
    yield Finding(
        "soak.shortest",
        outcome,
        f"Stage {soak.number}: in band for {seconds(soak.in_band_s)}"
        f"{f', unproven for {seconds(soak.unproven_s)}' if soak.unproven_s else ''}; at least "
        f"{seconds(stage.soak_min_s)} is asked for: {says}.",
        value=soak.in_band_s,
        limit=stage.soak_min_s,
        unit="s",
        source=source,
        working=_length_working(soak),
    )
    if stage.soak_max_s is not None:
        kept = soak.elapsed_s <= stage.soak_max_s + SECONDS_SLACK
        yield Finding(
            "soak.longest",
            Outcome.CONFORMS if kept else Outcome.DOES_NOT_CONFORM,
            f"Stage {soak.number}: {seconds(soak.elapsed_s)} from start to end of the soak; at "
            f"most {seconds(stage.soak_max_s)} is permitted.",
            value=soak.elapsed_s,
            limit=stage.soak_max_s,
            unit="s",
            source=source,
            working=_length_working(soak),
        )


def _length_working(soak: Soak) -> tuple[str, ...]:
    """The soak's length, redone from its parts."""
    stage = soak.stage
    below, low = figure(stage.below_c, 6), figure(stage.low_c, 6)
    above, high = figure(stage.above_c, 6), figure(stage.high_c, 6)
    middle = figure(stage.set_c, 6)
    begin, end = figure(soak.start or 0.0, 6), figure(soak.end or 0.0, 6)
    elapsed, held = figure(soak.elapsed_s, 6), figure(soak.in_band_s, 6)
    out = figure(max(soak.elapsed_s - soak.in_band_s - soak.unproven_s, 0.0), 6)
    return (
        f"band {middle} - {below} = {low} degC to {middle} + {above} = {high} degC, ends included",
        "temperatures compared with 1e-6 degC of slack, times with 1e-6 s",
        f"first in at {begin} s, last in at {end} s: elapsed {elapsed} s",
        f"{elapsed} - out {out} - unproven {figure(soak.unproven_s, 6)} = in band {held} s",
    )


def _no_soak(soak: Soak, source: str) -> Finding:
    """A load that is never *in*: no soak, unless missing readings are long enough to hide one."""
    stage = soak.stage
    hidden = soak.unproven_s
    could_hide = hidden > SECONDS_SLACK and hidden >= stage.soak_min_s - SECONDS_SLACK
    says = (
        f"readings are missing for {seconds(hidden)}, which could hide the soak"
        if could_hide
        else "there is no soak"
    )
    return Finding(
        "soak.never_in",
        Outcome.NOT_PROVEN if could_hide else Outcome.DOES_NOT_CONFORM,
        f"Stage {soak.number}: the load is never seen wholly between {degrees(stage.low_c)} and "
        f"{degrees(stage.high_c)}; {says}.",
        value=0.0,
        limit=stage.soak_min_s,
        unit="s",
        source=source,
        working=(
            (
                f"no instant with every required sensor within {figure(stage.low_c, 6)} to "
                f"{figure(stage.high_c, 6)} degC"
            ),
            f"unproven time {figure(hidden, 6)} s, shortest soak {figure(stage.soak_min_s, 6)} s",
        ),
    )


def overheating_finding(
    lines: Sequence[SensorLine], soaks: Sequence[Soak], cycle: Cycle
) -> Finding:
    """Whether any required sensor was ever above what its stage, or a later one, permits.

    A stage is current from its start to the start of the next; the first also before its start.
    The highest temperature a stage permits is the upper end of its band; permitted excursions do
    not raise it.
    """
    ceilings = _ceilings(soaks)
    worst: tuple[float, float, float, str] | None = None
    for sensor in lines:
        edges = np.searchsorted(sensor.line.times, [*(begin for begin, _ in ceilings), np.inf])
        for at, (_, ceiling) in enumerate(ceilings):
            values = sensor.line.values[edges[at] : edges[at + 1]]
            if len(values):
                highest = float(values.max())
                if worst is None or highest - ceiling > worst[0]:
                    worst = (highest - ceiling, highest, ceiling, sensor.name)
    source = f"cycle {cycle.name}, highest permitted temperature"
    if worst is None:
        return Finding(
            "overheating",
            Outcome.NOT_PROVEN,
            "No required sensor has a single usable reading.",
            source=source,
        )
    above, highest, ceiling, name = worst
    hot = above > DEGREES_SLACK
    return Finding(
        "overheating",
        Outcome.DOES_NOT_CONFORM if hot else Outcome.CONFORMS,
        f"{name} reached {degrees(highest)}, above the {degrees(ceiling)} permitted then."
        if hot
        else f"No required sensor was seen above what was permitted; nearest to it was {name} "
        f"with {degrees(highest)} of {degrees(ceiling)}.",
        value=highest,
        limit=ceiling,
        unit="degC",
        source=source,
        working=tuple(
            f"from {figure(begin, 6)} s on: at most {figure(limit, 6)} degC (1e-6 degC slack)"
            for begin, limit in ceilings
        ),
    )


def _ceilings(soaks: Sequence[Soak]) -> list[tuple[float, float]]:
    """From when on which temperature is the highest permitted, in degC."""
    ceilings = [(0.0, max(soak.stage.high_c for soak in soaks))]
    for at, soak in enumerate(soaks[1:], start=1):
        if soak.start is not None:
            ceilings.append((soak.start, max(later.stage.high_c for later in soaks[at:])))
    return ceilings


def record_end_finding(soaks: Sequence[Soak], finish: float) -> Finding | None:
    """A note where the record ends with the load *in*: it is judged on what it shows."""
    ending = [soak for soak in soaks if soak.end is not None and soak.end >= finish - SECONDS_SLACK]
    if not ending:
        return None
    return Finding(
        "record.ends_in_soak",
        Outcome.NOTE,
        f"The record ends at {seconds(finish)} with the load still in band (stage "
        f"{ending[-1].number}); it is judged on what it shows.",
        value=finish,
        unit="s",
        source="judging rules, the soak",
    )


def spread_finding(soak: Soak, spread_c: float) -> Finding:
    """A note of the largest difference between required sensors at one instant of the soak."""
    return Finding(
        "soak.spread",
        Outcome.NOTE,
        f"Stage {soak.number}: the required sensors differ by {degrees(spread_c)} at most at one "
        f"instant of the soak.",
        value=spread_c,
        unit="degC",
        source="judging rules, the soak",
    )
