"""What a panel was exposed to: every load it lay in, under whatever identity, run in full or not.

Source of the rules: judging rules, "Panels that come of panels". Pure.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.judging.verdict import Verdict
from app.release.rules.facts import LoadFacts, PanelFacts
from app.release.rules.standing import ENDED, Standing


@dataclass(frozen=True, slots=True)
class RunOnRecord:
    """What is on record of how a load ran. ``paper`` is its record's verdict, None without one."""

    started_at: datetime | None = None
    ended_at: datetime | None = None
    planned_end: datetime | None = None
    record_s: float | None = None
    """Length of the furnace record."""
    paper: Mapping[str, Any] | None = None


NOTHING_ON_RECORD = RunOnRecord()


@dataclass(frozen=True, slots=True)
class Exposure:
    """One load in the ledger; lengths in seconds, None where nothing on record says.

    ``number`` is the treatment's. ``above_s`` is the time at or above the low end of the bands,
    ``in_band_s`` that within them, ``equivalent_s`` the least of any deciding sensor.
    """

    load: str
    panel: str
    number: int
    starts_at: datetime
    state: str
    furnace_s: float | None = None
    above_s: float | None = None
    in_band_s: float | None = None
    equivalent_s: float | None = None


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every load with the totals of what is known, and whether one more is permitted."""

    lines: tuple[Exposure, ...]
    furnace_s: float
    above_s: float
    in_band_s: float
    seen: int
    most: int
    onward: str


def ledger(facts: PanelFacts, runs: Mapping[int, RunOnRecord]) -> Ledger:
    """The panel's exposure, oldest load first; cancelled loads are not among its facts.

    A load counts as a treatment whatever came of it.
    """
    lines = tuple(
        _line(facts, load, number, runs.get(load.id, NOTHING_ON_RECORD))
        for number, load in enumerate(facts.loads, start=facts.treatments_before + 1)
    )
    seen = facts.treatments_before + len(lines)
    return Ledger(
        lines,
        _sum(one.furnace_s for one in lines),
        _sum(one.above_s for one in lines),
        _sum(one.in_band_s for one in lines),
        seen,
        facts.treatments_most,
        _onward(facts, seen),
    )


def _onward(facts: PanelFacts, seen: int) -> str:
    """Whether one more treatment is permitted, with the count and the limit."""
    most = facts.treatments_most
    told = f"{seen} of at most {most}"
    if facts.decided in {one.value for one in ENDED}:
        replaced = facts.decided == Standing.REPLACED.value
        why = "it was replaced" if replaced else f"it was decided as {facts.decided}"
        return f"{told}. No further treatment of this panel: {why}."
    if seen + 1 > most:
        return f"{told}. One more, number {seen + 1}, is refused."
    return f"{told}. One more, number {seen + 1}, is permitted."


def _line(facts: PanelFacts, load: LoadFacts, number: int, run: RunOnRecord) -> Exposure:
    stages: Sequence[Mapping[str, Any]] = () if run.paper is None else run.paper.get("stages", ())
    figures = run.paper is not None
    aged = None if run.paper is None else run.paper.get("equivalent_time_s")
    return Exposure(
        load=load.code,
        panel=facts.code if load.earlier_self is None else load.earlier_self.code,
        number=number,
        starts_at=load.starts_at if load.record is not None else run.started_at or load.starts_at,
        state=_state(load, run, stages),
        furnace_s=_in_furnace(run),
        above_s=sum(_above(stage) for stage in stages) if figures else None,
        in_band_s=sum(float(stage["in_band_s"]) for stage in stages) if figures else None,
        equivalent_s=min(aged.values()) if aged else None,
    )


def _in_furnace(run: RunOnRecord) -> float | None:
    """By the start and end that were entered; by the record where they were not, or it is longer.

    The longer of the two: what is in doubt counts as exposure.
    """
    entered = None
    if run.started_at is not None and run.ended_at is not None:
        entered = (run.ended_at - run.started_at).total_seconds()
    known = [one for one in (entered, run.record_s) if one is not None]
    return max(known, default=None)


def _above(stage: Mapping[str, Any]) -> float:
    """From the first moment in band to the last, without the excursions below the band.

    Time without a reading counts as exposure.
    """
    below = [one for one in stage["excursions"] if one["side"] == "below"]
    lost = sum(float(one["to_s"]) - float(one["from_s"]) for one in below)
    return max(float(stage["elapsed_s"]) - lost, 0.0)


_SAID = {
    Verdict.CONFORMS: "conforms",
    Verdict.DOES_NOT_CONFORM: "does not conform",
    Verdict.NOT_PROVEN: "not proven",
}


def _state(load: LoadFacts, run: RunOnRecord, stages: Sequence[Mapping[str, Any]]) -> str:
    early = (
        run.ended_at is not None
        and run.planned_end is not None
        and run.started_at is not None
        and run.ended_at < run.planned_end
    )
    if load.record is None:
        if run.ended_at is not None:
            return "aborted, no record" if early else "no record"
        return "no record yet" if run.started_at is not None else "planned, not started"
    if load.record.verdict is None:
        return "not judged"
    said = _SAID[load.record.verdict]
    unreached = any(stage["start_s"] is None for stage in stages)
    if load.record.verdict is not Verdict.CONFORMS and (early or unreached):
        return f"aborted, {said}"
    return said


def _sum(lengths: Iterable[float | None]) -> float:
    return sum(one for one in lengths if one is not None)
