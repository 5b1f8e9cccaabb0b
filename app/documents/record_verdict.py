"""The record verdict as a paper: what `judge record` prints as JSON."""

from typing import Any, Literal, Self

from app.documents.paper import Paper
from app.judging.record.furnace_record import RecordVerdict, StageVerdict
from app.judging.verdict import Finding, Outcome, Verdict


class ExcursionVerdictPaper(Paper):
    """One excursion: seconds from the first sample, degC beyond the band."""

    from_s: float
    to_s: float
    beyond_c: float
    side: Literal["above", "below"]
    sensors: tuple[str, ...]


class StageVerdictPaper(Paper):
    """One stage's soak; start and end are null where the load was never in."""

    start_s: float | None
    end_s: float | None
    elapsed_s: float
    in_band_s: float
    unproven_s: float
    spread_c: float
    excursions: tuple[ExcursionVerdictPaper, ...]

    @classmethod
    def of(cls, stage: StageVerdict) -> Self:
        """The paper of a stage's verdict."""
        return cls(
            start_s=stage.start_s,
            end_s=stage.end_s,
            elapsed_s=stage.elapsed_s,
            in_band_s=stage.in_band_s,
            unproven_s=stage.unproven_s,
            spread_c=stage.spread_c,
            excursions=tuple(
                ExcursionVerdictPaper(
                    from_s=one.from_s,
                    to_s=one.to_s,
                    beyond_c=one.beyond_c,
                    side=one.side,
                    sensors=one.sensors,
                )
                for one in stage.excursions
            ),
        )


class VacuumVerdictPaper(Paper):
    """The vacuum's figures over its span; null where nothing is known."""

    lowest_kpa: float | None
    below_limit_s: float
    fastest_loss_kpa_per_min: float | None


class RecordFindingPaper(Paper):
    """One finding, without its working."""

    code: str
    outcome: Outcome
    text: str
    value: float | str | None
    limit: float | str | None
    unit: str | None
    source: str | None

    @classmethod
    def of(cls, finding: Finding) -> Self:
        """The paper of a finding."""
        return cls(
            code=finding.code,
            outcome=finding.outcome,
            text=finding.text,
            value=finding.value,
            limit=finding.limit,
            unit=finding.unit,
            source=finding.source,
        )


class RecordVerdictPaper(Paper):
    """The verdict; figures the cycle does not ask for, or that cannot be had, are null."""

    verdict: Verdict
    stages: tuple[StageVerdictPaper, ...]
    heating_rate_c_per_min: dict[str, float | None] | None
    equivalent_time_s: dict[str, float] | None
    vacuum: VacuumVerdictPaper | None
    findings: tuple[RecordFindingPaper, ...]


def record_verdict_to_json(judged: RecordVerdict) -> dict[str, Any]:
    """The verdict as JSON values."""
    vacuum, heating, aged = judged.vacuum, judged.heating_rate_c_per_min, judged.equivalent_time_s
    paper = RecordVerdictPaper(
        verdict=judged.verdict,
        stages=tuple(StageVerdictPaper.of(stage) for stage in judged.stages),
        heating_rate_c_per_min=None if heating is None else dict(heating),
        equivalent_time_s=None if aged is None else dict(aged),
        vacuum=None
        if vacuum is None
        else VacuumVerdictPaper(
            lowest_kpa=vacuum.lowest_kpa,
            below_limit_s=vacuum.below_limit_s,
            fastest_loss_kpa_per_min=vacuum.fastest_loss_kpa_per_min,
        ),
        findings=tuple(RecordFindingPaper.of(finding) for finding in judged.findings),
    )
    return paper.model_dump(mode="json")
