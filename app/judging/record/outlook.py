"""What a record that still grows has shown so far, and what can still come of it. Pure.

Source of the rules: judging rules, "A record that still grows". Nothing here is a verdict: the
record is judged whole when it is closed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Literal

import numpy as np

from app.judging.record.already_lost import OutNow, against
from app.judging.record.cycle import Cycle, Stage
from app.judging.record.drift_warnings import Drift, drift_of, vacuum_drift
from app.judging.record.furnace_record import JudgedTrace, judge_trace
from app.judging.record.soak import Soak
from app.judging.record.soak_so_far import (
    SensorNow,
    StageSoFar,
    reached,
    sensor_now,
    stage_so_far,
)
from app.judging.record.spans import SECONDS_SLACK
from app.judging.record.trace import SensorLine, Trace, channel_line
from app.judging.record.vacuum import VacuumFigures, vacuum_figures
from app.judging.verdict import Finding, Verdict, worst
from app.judging.wording import degrees, listed, seconds

LoadIs = Literal["in", "out", "unproven"]


@dataclass(frozen=True, slots=True)
class VacuumNow:
    """The bag's last level (kPa below ambient) and when it was read; None where nothing was read.

    ``figures`` are those of the span in which it must hold, up to the last reading; None before
    that span begins.
    """

    level_kpa: float | None
    read_s: float | None
    figures: VacuumFigures | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """A growing record's standing. Times in seconds from the first row.

    ``finish_s`` is the last row. ``at`` counts from 0: the stage the load is in, or is to reach
    next; ``load_is`` and ``sensors`` are against its band at the last row. ``complete`` says that
    every stage is long enough; ``earliest_end_s`` is then when the last became so, else the
    earliest instant at which it can, and None where it can no more. ``why`` says how that is found.
    ``can_be`` is the best verdict the record can still get, and ``against`` what stands against a
    better one. ``stale_s`` is the time without a row, where that is too long; else None.
    """

    finish_s: float
    stages: tuple[StageSoFar, ...]
    at: int
    load_is: LoadIs
    sensors: tuple[SensorNow, ...]
    complete: bool
    earliest_end_s: float | None
    why: str
    out_now: OutNow | None
    can_be: Verdict
    against: tuple[Finding, ...]
    vacuum: VacuumNow | None
    drifts: tuple[Drift, ...]
    stale_s: float | None


def outlook(
    trace: Trace, cycle: Cycle, *, now_s: float, rows_stale_s: float | None = None
) -> Outlook:
    """What the rows so far show at ``now_s``, in seconds from the first row.

    ``rows_stale_s``: without a row for longer than this the record counts as stale; the cycle's
    longest bridged gap where None. A ``now_s`` before the last row counts as that row's time.

    Raises:
        Refusal: no row yet, or no column for a required sensor or the vacuum.
    """
    judged = judge_trace(trace, replace(cycle, vacuum=None))
    judged = replace(judged, cycle=cycle)
    finish = float(judged.trace.times[-1])
    now_s = max(now_s, finish)
    begun = reached(judged.soaks)
    stages = tuple(
        stage_so_far(soak, begun=at < len(begun)) for at, soak in enumerate(judged.soaks)
    )
    at = _stage_now(stages, len(begun))
    under_way = begun[at] if at < len(begun) and stages[at].missing_s else None
    sensors = tuple(sensor_now(sensor, cycle.stages[at]) for sensor in judged.lines)
    load_is = _load_is(sensors, finish)
    out_now = None
    if under_way is not None and load_is == "out":
        out_now = _out_now(under_way, judged.lines, cycle, finish, _spent_s(judged, begun))
    since = _counts_from(sensors, now_s, cycle.max_gap_s)
    complete = all(stage.long_enough_s is not None for stage in stages)
    vacuum = _vacuum(judged, begun, complete=complete)
    earliest = since + sum(stage.missing_s for stage in stages[at:])
    stands = against(
        judged,
        begun,
        stages,
        out_now=out_now,
        earliest_s=since + stages[at].missing_s,
        vacuum=None if vacuum is None else vacuum.figures,
    )
    too_long = next((one for one in stands if one.code in _SOAK_LOST), None)
    last = stages[-1].long_enough_s
    return Outlook(
        finish_s=finish,
        stages=stages,
        at=at,
        load_is=load_is,
        sensors=sensors,
        complete=complete,
        earliest_end_s=last if complete else None if too_long is not None else earliest,
        why=_why(stages, at, load_is, sensors=sensors, cycle=cycle, too_long=too_long),
        out_now=out_now,
        can_be=worst(stands) if stands else Verdict.CONFORMS,
        against=stands,
        vacuum=vacuum,
        drifts=_drifts(judged, under_way, sensors, vacuum, complete=complete),
        stale_s=_stale(now_s - finish, cycle, rows_stale_s),
    )


_SOAK_LOST = {"soak.shortest", "soak.longest", "outlook.excursion", "outlook.too_long"}
"""Findings after which the soak asked for cannot come about any more."""


def _stage_now(stages: Sequence[StageSoFar], begun: int) -> int:
    """The stage the load is in, or the next where that one is long enough and another follows."""
    if begun == 0:
        return 0
    enough = stages[begun - 1].long_enough_s is not None
    return begun if enough and begun < len(stages) else begun - 1


def _load_is(sensors: Sequence[SensorNow], finish: float) -> LoadIs:
    """Out where any sensor is, at the last row; else unproven where any is not known there."""
    known = [one for one in sensors if one.read_s is not None and one.read_s >= finish]
    if any(one.off_c for one in known):
        return "out"
    return "in" if len(known) == len(sensors) else "unproven"


def _spent_s(judged: JudgedTrace, begun: Sequence[Soak]) -> float:
    """How long all excursions of the soaks begun have lasted together, in seconds."""
    soaks = judged.verdict.stages[: len(begun)]
    return sum(one.length_s for one in chain.from_iterable(soak.excursions for soak in soaks))


def _out_now(
    soak: Soak, lines: Sequence[SensorLine], cycle: Cycle, finish: float, spent_s: float
) -> OutNow:
    """What has been outside since the load was last in the band."""
    since, stage = float(soak.end or 0.0), soak.stage
    beyond = {}
    for sensor in lines:
        values = sensor.line.values[np.searchsorted(sensor.line.times, since, side="right") :]
        if len(values):
            furthest = max(float(values.max()) - stage.high_c, stage.low_c - float(values.min()))
            beyond[sensor.name] = furthest
    out = tuple(name for name, far in beyond.items() if far > 0)
    rule = cycle.excursions
    allowed = 0.0 if rule is None else min(rule.longest_s, rule.total_s - spent_s)
    return OutNow(since, out, max(beyond.values()), finish - since, since + max(allowed, 0.0))


def _counts_from(sensors: Sequence[SensorNow], now_s: float, max_gap_s: float) -> float:
    """From when on the soak still missing can be counted at the earliest.

    Up to the sensors' last readings it is counted already. What lies between them and now can still
    be bridged, and turn out to be soak, unless it is longer than a bridge may be.
    """
    known = min((one.read_s if one.read_s is not None else -np.inf) for one in sensors)
    return known if now_s - known <= max_gap_s + SECONDS_SLACK else now_s


def _stale(silent_s: float, cycle: Cycle, rows_stale_s: float | None) -> float | None:
    longest = cycle.max_gap_s if rows_stale_s is None else rows_stale_s
    return silent_s if silent_s > longest + SECONDS_SLACK else None


def _vacuum(judged: JudgedTrace, begun: Sequence[Soak], *, complete: bool) -> VacuumNow | None:
    """The bag's level, and the figures of its span so far; None where the cycle asks for none."""
    limit, trace = judged.cycle.vacuum, judged.trace
    if limit is None:
        return None
    max_gap_s = judged.cycle.max_gap_s
    if limit.column not in trace.channels:
        vacuum_figures(trace, limit, max_gap_s=max_gap_s, begin=0.0, end=0.0)
    line, _ = channel_line(trace.times, trace.channels[limit.column], max_gap_s=max_gap_s)
    if not len(line.times):
        return VacuumNow(None, None, None)
    level, read_s = float(line.values[-1]), float(line.times[-1])
    begin: float | None = 0.0
    if limit.begins == "soak_start":
        begin = begun[0].start if begun else None
    # What follows the last reading may still be bridged.
    end = read_s
    if complete and limit.ends == "soak_end":
        end = min(end, judged.soaks[-1].end or 0.0)
    figures = None
    if begin is not None and begin < end:
        figures = vacuum_figures(trace, limit, max_gap_s=max_gap_s, begin=begin, end=end)
    return VacuumNow(level, read_s, figures)


def _drifts(
    judged: JudgedTrace,
    under_way: Soak | None,
    sensors: Sequence[SensorNow],
    vacuum: VacuumNow | None,
    *,
    complete: bool,
) -> tuple[Drift, ...]:
    """What drifts towards its limit, the soonest first."""
    found = []
    if under_way is not None:
        for sensor, now in zip(judged.lines, sensors, strict=True):
            if now.off_c == 0:
                found.append(drift_of(sensor, under_way))
    limit = judged.cycle.vacuum
    holds = limit is not None and not (complete and limit.ends == "soak_end")
    if limit is not None and vacuum is not None and vacuum.figures is not None and holds:
        since, gap = vacuum.figures.begin_s, judged.cycle.max_gap_s
        found.append(vacuum_drift(judged.trace, limit, max_gap_s=gap, since_s=since))
    return tuple(sorted((one for one in found if one is not None), key=lambda one: one.crosses_s))


def _why(
    stages: Sequence[StageSoFar],
    at: int,
    load_is: LoadIs,
    *,
    sensors: Sequence[SensorNow],
    cycle: Cycle,
    too_long: Finding | None,
) -> str:
    """How the earliest end was found, in one or two sentences."""
    stage = stages[at]
    if all(one.long_enough_s is not None for one in stages):
        return f"Every stage is long enough since {seconds(stages[-1].long_enough_s or 0.0)}."
    if too_long is not None:
        return too_long.text
    later = sum(one.missing_s for one in stages[at + 1 :])
    parts = f"{seconds(stage.missing_s)} of stage {stage.number} still missing"
    if later:
        parts += f" and {seconds(later)} of what follows"
    if load_is == "in":
        return f"If the load stays in band: {parts}."
    if load_is == "unproven":
        unknown = [one.channel for one in sensors if one.off_c is None]
        silent = listed(unknown) if unknown else "a required sensor"
        return f"Not before: {parts}, and {silent} has no reading at the last row."
    return f"Not before: {parts}, and {_not_in(sensors, cycle.stages[at])}."


def _not_in(sensors: Sequence[SensorNow], stage: Stage) -> str:
    """Which sensors are not in the band, and the furthest of them."""
    out = [one for one in sensors if one.off_c]
    furthest = max(out, key=lambda one: abs(one.off_c or 0.0))
    side = "below" if (furthest.off_c or 0.0) < 0 else "above"
    band = f"{degrees(stage.low_c)} to {degrees(stage.high_c)}"
    many = "1 sensor is" if len(out) == 1 else f"{len(out)} sensors are"
    return (
        f"{many} not within {band} yet, {furthest.channel} furthest: "
        f"{degrees(abs(furthest.off_c or 0.0))} {side} it"
    )
