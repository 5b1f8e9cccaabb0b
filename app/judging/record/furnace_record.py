"""The verdict over a whole furnace record. Pure: a trace and a cycle in, a verdict out.

Source of the rules: judging rules, "Furnace records".
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from app.errors import Refusal
from app.judging.record.cycle import SENSOR_RANGE_C, Cycle
from app.judging.record.equivalent_time import equivalent_seconds, equivalent_time_findings
from app.judging.record.excursions import (
    Excursion,
    excursion_finding,
    excursions,
    total_excursion_finding,
)
from app.judging.record.rates import fastest, rate_finding
from app.judging.record.soak import Soak, find_soaks, spread_c
from app.judging.record.soak_findings import (
    overheating_finding,
    record_end_finding,
    soak_length_findings,
    spread_finding,
)
from app.judging.record.spans import measure, pairs
from app.judging.record.trace import SensorLine, Trace, sensor_lines
from app.judging.record.vacuum import VacuumFigures, vacuum_figures, vacuum_findings
from app.judging.verdict import Finding, Verdict, worst


@dataclass(frozen=True, slots=True)
class StageVerdict:
    """One stage's soak: times in seconds from the first row, temperatures in degC.

    ``start_s`` and ``end_s`` are None where the load was never *in*; the lengths are then 0 and
    ``unproven_spans`` are those in which a soak could be hidden.
    """

    start_s: float | None
    end_s: float | None
    elapsed_s: float
    in_band_s: float
    unproven_s: float
    spread_c: float
    excursions: tuple[Excursion, ...]
    unproven_spans: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class RecordVerdict:
    """What a furnace record shows.

    Rates per sensor in degC per minute (a fall as a positive figure), None for a sensor that
    cannot be judged; the whole mapping is None where the cycle asks for none or where there is no
    soak. ``equivalent_time_s`` is None without ageing parameters. ``gaps`` are each sensor's
    unproven spans over the whole record.
    """

    verdict: Verdict
    stages: tuple[StageVerdict, ...]
    heating_rate_c_per_min: Mapping[str, float | None] | None
    cooling_rate_c_per_min: Mapping[str, float | None] | None
    equivalent_time_s: Mapping[str, float] | None
    vacuum: VacuumFigures | None
    findings: tuple[Finding, ...]
    gaps: Mapping[str, tuple[tuple[float, float], ...]]


@dataclass(frozen=True, slots=True, eq=False)
class JudgedTrace:
    """A verdict with what it was found on, for whoever has more to say of the same lines.

    ``lines`` are the required sensors' in the cycle's order, ``soaks`` the stages' soaks; their
    times, and those of ``trace``, are seconds from the first row.
    """

    verdict: RecordVerdict
    trace: Trace
    cycle: Cycle
    lines: tuple[SensorLine, ...]
    soaks: tuple[Soak, ...]


def judge_record(trace: Trace, cycle: Cycle) -> RecordVerdict:
    """Judge a furnace record against its cycle.

    Raises:
        Refusal: the record has no row, or lacks the column of a required sensor or of the vacuum.
    """
    return judge_trace(trace, cycle).verdict


def judge_trace(trace: Trace, cycle: Cycle) -> JudgedTrace:
    """Judge a furnace record against its cycle, and keep the lines it was judged on.

    Raises:
        Refusal: as ``judge_record``.
    """
    trace = from_first_row(trace)
    finish = float(trace.times[-1])
    lines = sensor_lines(
        trace,
        cycle.sensors,
        max_gap_s=cycle.max_gap_s,
        ranges={name: cycle.sensor_ranges.get(name, SENSOR_RANGE_C) for name in cycle.sensors},
        corrections=cycle.corrections,
    )
    soaks = find_soaks(lines, cycle.stages, finish=finish)
    stages = [_stage_verdict(soak, lines, trace) for soak in soaks]
    findings = [*_soak_findings(soaks, stages, cycle)]
    findings.append(overheating_finding(lines, soaks, cycle))
    heating, cooling = _rates(lines, soaks, cycle, findings)
    equivalent = _equivalent_times(lines, cycle, findings)
    vacuum = _vacuum(trace, soaks, cycle, findings)
    end_note = record_end_finding(soaks, finish)
    if end_note is not None:
        findings.append(end_note)
    verdict = RecordVerdict(
        worst(findings),
        tuple(stages),
        heating,
        cooling,
        equivalent,
        vacuum,
        tuple(findings),
        {sensor.name: pairs(sensor.gaps) for sensor in lines},
    )
    return JudgedTrace(verdict, trace, cycle, tuple(lines), tuple(soaks))


def from_first_row(trace: Trace) -> Trace:
    """The trace with its times counted from its first row.

    Raises:
        Refusal: the record has no row.
    """
    if not len(trace.times):
        raise Refusal("The record has no row of readings; import the whole file of the run.")
    if trace.times[0] == 0:
        return trace
    return Trace(trace.times - trace.times[0], trace.channels, trace.temperature_unit)


def _stage_verdict(soak: Soak, lines: Sequence[SensorLine], trace: Trace) -> StageVerdict:
    """The soak's figures, with spread and excursions."""
    never = soak.start is None or soak.end is None
    return StageVerdict(
        soak.start,
        soak.end,
        soak.elapsed_s,
        soak.in_band_s,
        0.0 if never else soak.unproven_s,
        0.0
        if soak.start is None or soak.end is None
        else spread_c(lines, trace.times, soak.start, soak.end),
        excursions(soak, lines),
        pairs(soak.unproven),
    )


def _soak_findings(
    soaks: Sequence[Soak], stages: Sequence[StageVerdict], cycle: Cycle
) -> list[Finding]:
    """Length, excursions and spread of every stage, and the excursions' total."""
    findings: list[Finding] = []
    for soak, stage in zip(soaks, stages, strict=True):
        findings.extend(soak_length_findings(soak, cycle))
        if soak.start is not None:
            findings.append(excursion_finding(soak, stage.excursions, cycle))
            findings.append(spread_finding(soak, stage.spread_c))
    every = tuple(chain.from_iterable(stage.excursions for stage in stages))
    total = total_excursion_finding(every, cycle)
    if total is not None:
        findings.append(total)
    return findings


def _rates(
    lines: Sequence[SensorLine], soaks: Sequence[Soak], cycle: Cycle, findings: list[Finding]
) -> tuple[Mapping[str, float | None] | None, Mapping[str, float | None] | None]:
    """Heating before the first soak and cooling after the last, where the cycle limits them."""
    heating = cooling = None
    if cycle.heating_rate is not None:
        if (start := soaks[0].start) is not None:
            limit = cycle.heating_rate
            heating = fastest(lines, limit, begin=0.0, finish=start, rising=True)
        findings.append(rate_finding(heating, cycle.heating_rate, cycle.name, rising=True))
    if cycle.cooling_rate is not None:
        if (end := soaks[-1].end) is not None:
            limit = cycle.cooling_rate
            cooling = fastest(lines, limit, begin=end, finish=np.inf, rising=False)
        findings.append(rate_finding(cooling, cycle.cooling_rate, cycle.name, rising=False))
    return heating, cooling


def _equivalent_times(
    lines: Sequence[SensorLine], cycle: Cycle, findings: list[Finding]
) -> Mapping[str, float] | None:
    """Every sensor's equivalent time over the whole record, where the cycle has parameters."""
    if cycle.ageing is None:
        return None
    found = {sensor.name: equivalent_seconds(sensor.line, cycle.ageing) for sensor in lines}
    unproven = {sensor.name: measure(sensor.gaps) for sensor in lines}
    findings.extend(equivalent_time_findings(found, unproven, cycle.ageing, cycle.name))
    return found


def _vacuum(
    trace: Trace, soaks: Sequence[Soak], cycle: Cycle, findings: list[Finding]
) -> VacuumFigures | None:
    """The vacuum's figures over its span; None where the cycle asks for none or has no span."""
    limit = cycle.vacuum
    if limit is None:
        return None
    begin = 0.0 if limit.begins == "start" else soaks[0].start
    end = float(trace.times[-1]) if limit.ends == "end" else soaks[-1].end
    figures = None
    if limit.column not in trace.channels or (begin is not None and end is not None):
        figures = vacuum_figures(
            trace, limit, max_gap_s=cycle.max_gap_s, begin=begin or 0.0, end=end or 0.0
        )
    findings.extend(vacuum_findings(figures, limit, cycle.name))
    return figures
