"""Judge a furnace record for a load: the cycle with the load's own sensors, the verdict's paper.

No database: papers, seats and traces in, a verdict and its paper out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from app.database import paper_sha256
from app.documents.cycle import cycle_of, cycle_paper_from
from app.documents.record_verdict import record_verdict_to_json
from app.judging.doubt import channel_noise, response_lags
from app.judging.record.cycle import SENSOR_RANGE_C, Cycle
from app.judging.record.furnace_record import JudgedTrace, judge_trace
from app.judging.record.sensor_summary import sensor_summaries
from app.judging.record.trace import SensorLine, Trace, sensor_lines

Corrections = Mapping[str, Sequence[Sequence[str]]]
"""By channel: pairs of degC read and degC to add, as texts from the sensor's certificate."""


@dataclass(frozen=True, slots=True)
class JudgedRecord:
    """A verdict with what is kept of it.

    ``summary`` has what each required sensor saw, in the cycle's order.
    """

    verdict: str
    cycle_as_judged: dict[str, Any]
    paper: dict[str, Any]
    summary: list[dict[str, Any]]

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
    """The record's verdict by a cycle with its sensors filled in, and the papers that are kept.

    The paper is the record verdict's, each finding with its working, and besides it ``gaps`` (each
    sensor's unproven spans), ``cooling_rate_c_per_min`` and ``sensors`` (each sensor's arrival in
    the band and extremes over the soaks).

    Raises:
        Refusal: a required sensor or the vacuum has no column, or the paper cannot be judged by.
    """
    judged = judge_trace(trace, cycle_as_judged(cycle_paper))
    verdict = judged.verdict
    paper = record_verdict_to_json(verdict)
    for kept, finding in zip(paper["findings"], verdict.findings, strict=True):
        kept["working"] = list(finding.working)
    cooling = verdict.cooling_rate_c_per_min
    paper["cooling_rate_c_per_min"] = None if cooling is None else dict(cooling)
    paper["gaps"] = {
        name: [list(gap) for gap in gaps] for name, gaps in verdict.gaps.items() if gaps
    }
    summary = _summary(judged)
    paper["sensors"] = {
        one["channel"]: {name: one[name] for name in ("arrival_s", "lowest_c", "highest_c")}
        for one in summary
    }
    return JudgedRecord(verdict.verdict.value, cycle_paper, paper, summary)


def cycle_as_judged(cycle_paper: dict[str, Any]) -> Cycle:
    """The cycle that a paper with its sensors filled in holds."""
    return cycle_of(cycle_paper_from(cycle_paper, filename="the cycle's paper"))


def _summary(judged: JudgedTrace) -> list[dict[str, Any]]:
    """What each required sensor saw, and how it responded: lag in s, noise in degC."""
    lags = response_lags(judged.trace, judged.cycle)
    noise = channel_noise(judged.trace, judged.cycle)
    return [
        {**asdict(one), "lag_s": lags.get(one.channel), "noise_c": noise.get(one.channel)}
        for one in sensor_summaries(judged)
    ]


def lines_of(trace: Trace, cycle: Cycle, names: Sequence[str]) -> list[SensorLine]:
    """The named channels as judged: corrected where the cycle corrects them, bridged, in degC."""
    return sensor_lines(
        trace,
        names,
        max_gap_s=cycle.max_gap_s,
        ranges={name: cycle.sensor_ranges.get(name, SENSOR_RANGE_C) for name in names},
        corrections=cycle.corrections,
    )
