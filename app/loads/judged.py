"""Judge a furnace record for a load: the cycle with the load's own sensors, the verdict's paper.

No database: papers, seats and traces in, a verdict and its paper out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from app.database import paper_sha256
from app.documents.cycle import cycle_of, cycle_paper_from
from app.documents.record_verdict import record_verdict_to_json
from app.judging.crossings import band_parts
from app.judging.cycle import SENSOR_RANGE_C, Cycle
from app.judging.furnace_record import RecordVerdict, judge_record
from app.judging.spans import Floats
from app.judging.trace import SensorLine, Trace, sensor_lines

Corrections = Mapping[str, Sequence[Sequence[str]]]
"""By channel: pairs of degC read and degC to add, as texts from the sensor's certificate."""


@dataclass(frozen=True, slots=True)
class JudgedRecord:
    """A verdict with what is kept of it."""

    verdict: str
    cycle_as_judged: dict[str, Any]
    paper: dict[str, Any]

    @property
    def paper_sha256(self) -> str:
        """SHA-256 of the paper's text form."""
        return paper_sha256(self.paper)


def cycle_for_load(
    paper: Mapping[str, Any], *, channels: Sequence[str], corrections: Corrections
) -> dict[str, Any]:
    """The cycle's paper with the required channels and their corrections, in the paper's unit.

    The conversion to degF multiplies by 9 and divides by 5, which is exact in decimals.
    """
    fahrenheit = paper.get("temperature_unit") == "F"

    def converted(pair: Sequence[str]) -> list[str]:
        at, add = Decimal(pair[0]), Decimal(pair[1])
        if fahrenheit:
            at, add = at * 9 / 5 + 32, add * 9 / 5
        return [str(at), str(add)]

    own = {
        name: [converted(pair) for pair in pairs]
        for name, pairs in corrections.items()
        if pairs and name in channels
    }
    return {**paper, "sensors": list(channels), "corrections": own}


def judge_for_load(trace: Trace, cycle_paper: dict[str, Any]) -> JudgedRecord:
    """The record's verdict by a cycle with its sensors filled in, and the paper that is kept.

    The paper is the record verdict's, each finding with its working, and besides it ``gaps`` (each
    sensor's unproven spans), ``cooling_rate_c_per_min`` and ``sensors`` (each sensor's arrival in
    the band and extremes in each soak).

    Raises:
        Refusal: a required sensor or the vacuum has no column, or the paper cannot be judged by.
    """
    cycle = cycle_of(cycle_paper_from(cycle_paper, filename="the cycle's paper"))
    verdict = judge_record(trace, cycle)
    paper = record_verdict_to_json(verdict)
    for kept, finding in zip(paper["findings"], verdict.findings, strict=True):
        kept["working"] = list(finding.working)
    cooling = verdict.cooling_rate_c_per_min
    paper["cooling_rate_c_per_min"] = None if cooling is None else dict(cooling)
    paper["gaps"] = {
        name: [list(gap) for gap in gaps] for name, gaps in verdict.gaps.items() if gaps
    }
    lines = lines_of(trace, cycle, cycle.sensors)
    paper["sensors"] = {
        line.name: _sensor_figures(line, trace.times, cycle, verdict) for line in lines
    }
    return JudgedRecord(verdict.verdict.value, cycle_paper, paper)


def lines_of(trace: Trace, cycle: Cycle, names: Sequence[str]) -> list[SensorLine]:
    """The named channels as judged: corrected where the cycle corrects them, bridged, in degC."""
    return sensor_lines(
        trace,
        names,
        max_gap_s=cycle.max_gap_s,
        ranges={name: cycle.sensor_ranges.get(name, SENSOR_RANGE_C) for name in names},
        corrections=cycle.corrections,
    )


def _sensor_figures(
    sensor: SensorLine, times: Floats, cycle: Cycle, verdict: RecordVerdict
) -> dict[str, Any]:
    """Arrival in the first stage's band (s) and lowest and highest in each soak (degC)."""
    first = cycle.stages[0]
    inside = band_parts(sensor.line, first.low_c, first.high_c).inside
    soaks = [
        _extremes(sensor, stage.start_s, stage.end_s)
        for stage in verdict.stages
        if stage.start_s is not None and stage.end_s is not None
    ]
    return {
        "arrival_s": float(inside[0, 0] - times[0]) if len(inside) else None,
        "lowest_c": min((low for low, _ in soaks if low is not None), default=None),
        "highest_c": max((high for _, high in soaks if high is not None), default=None),
    }


def _extremes(sensor: SensorLine, start: float, end: float) -> tuple[float | None, float | None]:
    """Lowest and highest within a soak, its ends and bends included; None where unknown."""
    line = sensor.line
    begin, finish = np.searchsorted(line.times, [start, end], side="left")
    inner = line.values[begin : finish + 1][: int(finish - begin)]
    ends = line.at(np.array([start, end]))
    known = np.concatenate((inner, ends[~np.isnan(ends)]))
    if not len(known):
        return None, None
    return float(known.min()), float(known.max())
