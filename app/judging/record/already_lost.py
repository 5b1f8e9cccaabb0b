"""What a record that still grows can no longer mend. Pure.

Source of the rules: judging rules, "A record that still grows". Only what further rows cannot
change is listed: a soak that is merely too short so far is not.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.judging.record.cycle import Cycle
from app.judging.record.excursions import excursion_finding, total_excursion_finding
from app.judging.record.furnace_record import JudgedTrace
from app.judging.record.rates import fastest, rate_finding
from app.judging.record.soak import Soak
from app.judging.record.soak_findings import overheating_finding, soak_length_findings
from app.judging.record.soak_so_far import StageSoFar
from app.judging.record.spans import DEGREES_SLACK, SECONDS_SLACK
from app.judging.record.vacuum import VacuumFigures, vacuum_findings
from app.judging.verdict import Finding, Outcome
from app.judging.wording import degrees, figure, listed, seconds


@dataclass(frozen=True, slots=True)
class OutNow:
    """The load outside the band of a soak that is not long enough yet.

    ``since_s`` is the last instant it was in; ``beyond_c`` the furthest any sensor has been outside
    since, ``lasted_s`` how long that is up to the last row. ``too_long_s`` is when it will have
    lasted longer than the cycle permits: at once where the cycle permits none.
    """

    since_s: float
    sensors: tuple[str, ...]
    beyond_c: float
    lasted_s: float
    too_long_s: float


def against(
    judged: JudgedTrace,
    begun: Sequence[Soak],
    stages: Sequence[StageSoFar],
    *,
    out_now: OutNow | None,
    earliest_s: float,
    vacuum: VacuumFigures | None,
) -> tuple[Finding, ...]:
    """The findings that stand against the record whatever is still to come, in the cycle's order.

    ``begun`` are the soaks that have begun. ``earliest_s`` is when the soak under way can have its
    shortest length; ``vacuum`` the figures of the span so far.
    """
    cycle = judged.cycle
    found = [*_soaks(judged, begun, cycle)]
    if begun and stages[len(begun) - 1].missing_s:
        found.extend(_soak_under_way(begun[-1], stages[len(begun) - 1], cycle, out_now, earliest_s))
    found.append(_overheating(judged, len(begun)))
    found.extend(_rates(judged, begun, stages))
    found.extend(_aged(judged))
    if vacuum is not None and cycle.vacuum is not None:
        found.extend(vacuum_findings(vacuum, cycle.vacuum, cycle.name))
    return tuple(one for one in found if _final(one))


_GROWING = {"vacuum.level", "overheating"}
"""Not proven for want of readings so far; more may come."""


def _final(one: Finding) -> bool:
    if one.outcome is Outcome.NOT_PROVEN:
        return one.code not in _GROWING
    return one.outcome is Outcome.DOES_NOT_CONFORM


def _soaks(judged: JudgedTrace, begun: Sequence[Soak], cycle: Cycle) -> Iterator[Finding]:
    """Excursions and too long a soak of every stage begun; too short a soak of those over."""
    stages = judged.verdict.stages
    for soak in begun:
        over = soak is not begun[-1]
        for one in soak_length_findings(soak, cycle):
            if over or one.code == "soak.longest":
                yield one
        yield excursion_finding(soak, stages[soak.number - 1].excursions, cycle)
    every = [one for soak in begun for one in stages[soak.number - 1].excursions]
    total = total_excursion_finding(every, cycle)
    if total is not None:
        yield total


def _soak_under_way(
    soak: Soak, stage: StageSoFar, cycle: Cycle, out_now: OutNow | None, earliest_s: float
) -> Iterator[Finding]:
    """An excursion not permitted that goes on, and a longest soak over before the shortest is."""
    source = f"cycle {cycle.name}, stage {soak.number}"
    rule = cycle.excursions
    if out_now is not None and (
        rule is None
        or out_now.since_s + out_now.lasted_s > out_now.too_long_s + SECONDS_SLACK
        or out_now.beyond_c > rule.beyond_c + DEGREES_SLACK
    ):
        yield Finding(
            "outlook.excursion",
            _lacking(stage, stage.missing_s),
            f"Stage {soak.number}: {listed(out_now.sensors)} left the band at "
            f"{seconds(out_now.since_s)}, up to {degrees(out_now.beyond_c)} beyond it, with "
            f"{seconds(stage.missing_s)} of the soak still missing; "
            + ("no excursion is permitted." if rule is None else "that is more than is permitted."),
            value=out_now.beyond_c,
            limit=0.0 if rule is None else rule.beyond_c,
            unit="degC",
            source=source,
        )
    longest = stage.must_end_s
    # What has been silent since the load was last in becomes unproven once it is in again.
    silent_s = earliest_s - stage.missing_s - (soak.end or 0.0) if out_now is None else 0.0
    if longest is not None and earliest_s > longest + SECONDS_SLACK:
        yield Finding(
            "outlook.too_long",
            # The soak may end where it is, or go on to its longest: whichever lacks less.
            _lacking(stage, min(stage.missing_s, earliest_s - longest) - silent_s),
            f"Stage {soak.number}: the longest soak is over at {seconds(longest)}, and the "
            f"shortest cannot be reached before {seconds(earliest_s)}.",
            value=earliest_s,
            limit=longest,
            unit="s",
            source=source,
            working=(
                (
                    f"start {figure(stage.start_s or 0.0, 6)} s + longest soak "
                    f"{figure(soak.stage.soak_max_s or 0.0, 6)} s = {figure(longest, 6)} s"
                ),
                f"still missing {figure(stage.missing_s, 6)} s",
            ),
        )


def _lacking(stage: StageSoFar, lacking_s: float) -> Outcome:
    """What a soak short by so much amounts to: not proven where unproven time could be the rest."""
    could_be = stage.unproven_s >= lacking_s - SECONDS_SLACK
    return Outcome.NOT_PROVEN if could_be else Outcome.DOES_NOT_CONFORM


def _aged(judged: JudgedTrace) -> Iterator[Finding]:
    """Too much equivalent time, or gaps over which it cannot be known any more."""
    finish = float(judged.trace.times[-1])
    closed = any(gap[1] < finish for gaps in judged.verdict.gaps.values() for gap in gaps)
    for one in judged.verdict.findings:
        lost = one.outcome is Outcome.DOES_NOT_CONFORM or closed
        if one.code == "equivalent_time.longest" and lost:
            yield one


def _overheating(judged: JudgedTrace, begun: int) -> Finding:
    """Overheating, the ceiling lowered only by stages that have surely begun."""
    soaks = [
        soak if at < begun else replace(soak, start=None, end=None)
        for at, soak in enumerate(judged.soaks)
    ]
    return overheating_finding(judged.lines, soaks, judged.cycle)


def _rates(
    judged: JudgedTrace, begun: Sequence[Soak], stages: Sequence[StageSoFar]
) -> Iterator[Finding]:
    """Heating too fast so far; cooling too fast once the last soak is long enough."""
    cycle, verdict = judged.cycle, judged.verdict
    if cycle.heating_rate is not None:
        heating = verdict.heating_rate_c_per_min
        if not begun:
            heating = fastest(
                judged.lines, cycle.heating_rate, begin=0.0, finish=np.inf, rising=True
            )
        one = rate_finding(heating, cycle.heating_rate, cycle.name, rising=True)
        if begun or one.outcome is Outcome.DOES_NOT_CONFORM:
            yield one
    # Where excursions are permitted the load may come back, and cools anew afterwards.
    over = stages[-1].long_enough_s is not None and cycle.excursions is None
    if cycle.cooling_rate is not None and over:
        cooling = verdict.cooling_rate_c_per_min
        one = rate_finding(cooling, cycle.cooling_rate, cycle.name, rising=False)
        if one.outcome is Outcome.DOES_NOT_CONFORM:
            yield one
