"""Judge a furnace record exactly and slowly: fractions, every breakpoint, every crossing.

Written from the judging rules, section 4, alone; it shares no code with the program. What it
decides is told by meaning (``soak 1``, ``overheating`` ...), not by the program's codes.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from .exact_lines import (
    SLACK,
    Line,
    Recording,
    exact,
    read_recording,
    step_to_celsius,
    to_celsius,
)
from .record_figures import (
    Vacuum,
    cooling_rates,
    equivalent_times,
    heating_rates,
    judge_ageing,
    judge_rates,
    judge_vacuum,
    worst,
)

CONFORMS, FAILS, UNPROVEN = "conforms", "does_not_conform", "not_proven"


@dataclass
class Stretch:
    """A maximal run of one state of the load, instants and open intervals together."""

    state: str
    start: Fraction
    end: Fraction
    instants: list[Fraction]

    @property
    def length(self) -> Fraction:
        return self.end - self.start


@dataclass
class Excursion:
    start: Fraction
    end: Fraction
    beyond: Fraction
    sides: set[str]  # both where both sides are equally far out
    sensors: set[str]


@dataclass
class Stage:
    low: Fraction
    high: Fraction
    shortest: Fraction
    longest: Fraction | None
    sought_from: Fraction = Fraction(0)
    start: Fraction | None = None
    end: Fraction | None = None
    in_band: Fraction = Fraction(0)
    unproven: Fraction = Fraction(0)
    spread: Fraction | None = None
    excursions: list[Excursion] = field(default_factory=list)
    stretches: list[Stretch] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)

    @property
    def elapsed(self) -> Fraction:
        return self.end - self.start


@dataclass
class Truth:
    """What the rules say of one record. ``unsure`` names why a binary clock could differ."""

    verdict: str
    stages: list[Stage]
    outcomes: dict[str, str]
    heating: dict[str, Fraction | None] | None
    cooling: dict[str, Fraction | None] | None
    equivalent: dict[str, tuple[float, float]] | None
    vacuum: Vacuum | None
    ends_in_soak: bool
    unsure: set[str]


def judge(text: str, cycle: dict) -> Truth:
    """The exact verdict on the file's text under the cycle paper."""
    recording = read_recording(text, cycle)
    stages = _find_stages(recording, cycle)
    outcomes, unsure = {}, set()
    for number, stage in enumerate(stages, 1):
        _judge_stage(stage, number, cycle, outcomes)
    _judge_total(stages, cycle, outcomes)
    outcomes["overheating"] = _overheating(recording, stages, cycle["sensors"])
    heating = heating_rates(recording, cycle, stages[0].start)
    cooling = cooling_rates(recording, cycle, stages[-1].end)
    judge_rates(cycle, heating, cooling, outcomes, unsure)
    soak = (stages[0].start, stages[-1].end)
    vacuum = judge_vacuum(recording, cycle, soak, outcomes, unsure)
    equivalent = equivalent_times(recording, cycle)
    judge_ageing(recording, cycle, equivalent, outcomes, unsure)
    ends_in = any(stage.end == recording.end for stage in stages)
    return Truth(
        worst(outcomes.values()),
        stages,
        outcomes,
        heating,
        cooling,
        equivalent,
        vacuum,
        ends_in,
        unsure,
    )


def _state(lines: list[Line], low: Fraction, high: Fraction, t: Fraction) -> str:
    values = [line.at(t) for line in lines]
    if any(v is not None and not low <= v <= high for v in values):
        return "out"
    return "unproven" if None in values else "in"


def _stretches(recording: Recording, stage: Stage) -> list[Stretch]:
    instants = set(recording.row_times)
    for line in stage.lines:
        instants |= line.crossings(stage.low) | line.crossings(stage.high)
    ordered = sorted(instants)
    told = [(_state(stage.lines, stage.low, stage.high, ordered[0]), ordered[0], ordered[0])]
    for a, b in pairwise(ordered):
        told.append((_state(stage.lines, stage.low, stage.high, (a + b) / 2), a, b))
        told.append((_state(stage.lines, stage.low, stage.high, b), b, b))
    merged: list[Stretch] = []
    for state, a, b in told:
        if merged and merged[-1].state == state:
            merged[-1].end = b
        else:
            merged.append(Stretch(state, a, b, []))
        if a == b:
            merged[-1].instants.append(a)
    return _without_slivers(merged)


def _without_slivers(stretches: list[Stretch]) -> list[Stretch]:
    """4.6: an out interval shorter than the slack is none; it joins what surrounds it."""
    kept: list[Stretch] = []
    for i, stretch in enumerate(stretches):
        state = stretch.state
        if state == "out" and stretch.length < SLACK and len(stretches) > 1:
            around = {s.state for s in stretches[max(i - 1, 0) : i + 2]} - {"out"}
            state = "in" if around == {"in"} else "unproven"
        if kept and kept[-1].state == state:
            kept[-1].end = stretch.end
            kept[-1].instants += stretch.instants
        else:
            kept.append(Stretch(state, stretch.start, stretch.end, stretch.instants))
    return kept


def _find_stages(recording: Recording, cycle: dict) -> list[Stage]:
    unit = cycle["temperature_unit"]
    stages = []
    for paper in cycle["stages"]:
        middle = to_celsius(exact(paper["set"]), unit)
        low = middle - step_to_celsius(exact(paper["below"]), unit)
        high = middle + step_to_celsius(exact(paper["above"]), unit)
        longest = paper.get("soak_max_s")
        stage = Stage(
            low, high, exact(paper["soak_min_s"]), None if longest is None else exact(longest)
        )
        stage.lines = [recording.lines[n].snapped((low, high)) for n in cycle["sensors"]]
        stage.stretches = _stretches(recording, stage)
        stages.append(stage)
    after = Fraction(0)
    for stage in stages:  # 4.3: the stages in order, each sought from the one before
        stage.sought_from = after
        inside = [
            max(s.start, after) for s in stage.stretches if s.state == "in" and s.end >= after
        ]
        if inside:
            stage.start = after = inside[0]
    for i, stage in enumerate(stages):
        if stage.start is not None:
            _close_stage(stage, recording, stages[i + 1].start if stages[i + 1 :] else None)
    return stages


def _close_stage(stage: Stage, recording: Recording, next_start: Fraction | None) -> None:
    bound = recording.end if next_start is None else next_start
    stage.end = max(
        min(s.end, bound)
        for s in stage.stretches
        if s.state == "in" and s.start <= bound and s.end >= stage.start
    )
    for s in stage.stretches:
        a, b = max(s.start, stage.start), min(s.end, stage.end)
        if a > b:
            continue
        if s.state == "in":
            stage.in_band += b - a
        elif s.state == "unproven":
            stage.unproven += b - a
        elif stage.start <= s.start < s.end <= stage.end:
            stage.excursions.append(_excursion(stage, s))
    stage.spread = _spread(stage)


def _excursion(stage: Stage, stretch: Stretch) -> Excursion:
    depth: dict[tuple[str, str], Fraction] = {}
    middles = [(a + b) / 2 for a, b in pairwise(stretch.instants)]
    for t in [stretch.start, *stretch.instants, stretch.end, *middles]:
        for line in stage.lines:
            value = line.at(t)
            if value is None:
                continue
            for side, beyond in (("above", value - stage.high), ("below", stage.low - value)):
                if beyond > 0:
                    key = (line.name, side)
                    depth[key] = max(depth.get(key, Fraction(0)), beyond)
    furthest = max(depth.values())
    sides = {side for (_, side), beyond in depth.items() if furthest - beyond <= SLACK}
    return Excursion(stretch.start, stretch.end, furthest, sides, {n for n, _ in depth})


def _spread(stage: Stage) -> Fraction:
    """Largest difference between sensors known at one instant of the soak, its ends too."""
    instants = {stage.start, stage.end}
    for line in stage.lines:
        instants |= {t for t in line.times if stage.start <= t <= stage.end}
    largest = Fraction(0)
    for t in instants:
        known = [v for v in (line.at(t) for line in stage.lines) if v is not None]
        if known:
            largest = max(largest, max(known) - min(known))
    return largest


def _judge_stage(stage: Stage, number: int, cycle: dict, outcomes: dict) -> None:
    if stage.start is None:
        unproven = [s for s in stage.stretches if s.state == "unproven"]
        hidden = sum(max(s.end - max(s.start, stage.sought_from), 0) for s in unproven)
        could_hide = hidden > 0 and hidden >= stage.shortest - SLACK
        outcomes[f"soak {number}"] = UNPROVEN if could_hide else FAILS
        return
    if stage.in_band >= stage.shortest - SLACK:
        outcomes[f"soak {number}"] = CONFORMS
    elif stage.in_band + stage.unproven < stage.shortest - SLACK:
        outcomes[f"soak {number}"] = FAILS
    else:
        outcomes[f"soak {number}"] = UNPROVEN
    if stage.longest is not None:
        over = stage.elapsed > stage.longest + SLACK
        outcomes[f"longest {number}"] = FAILS if over else CONFORMS
    outcomes[f"excursions {number}"] = _judge_excursions(stage, cycle)


def _judge_excursions(stage: Stage, cycle: dict) -> str:
    rule = cycle.get("excursions")
    found = stage.excursions
    if found and rule is None:
        return FAILS
    if found:
        depth = step_to_celsius(exact(rule["beyond"]), cycle["temperature_unit"])
        lengths = [e.end - e.start for e in found]
        if (
            max(lengths) > exact(rule["longest_s"]) + SLACK
            or max(e.beyond for e in found) > depth + SLACK
        ):
            return FAILS
    return UNPROVEN if stage.unproven > 0 else CONFORMS


def _judge_total(stages: list[Stage], cycle: dict, outcomes: dict) -> None:
    """The rule is the whole cycle's (4.2), so its total is over all stages."""
    rule = cycle.get("excursions")
    lengths = [e.end - e.start for stage in stages for e in stage.excursions]
    if rule is not None and lengths:
        over = sum(lengths) > exact(rule["total_s"]) + SLACK
        outcomes["excursions in total"] = FAILS if over else CONFORMS


def _overheating(recording: Recording, stages: list[Stage], sensors: list[str]) -> str:
    """Above the top of the bands of the current and all later stages, at any time (4.3)."""
    begins = [(Fraction(0), 0)]
    begins += [(s.start, i) for i, s in enumerate(stages) if i and s.start is not None]
    for position, (begin, current) in enumerate(begins):
        final = position + 1 == len(begins)
        end = recording.end if final else begins[position + 1][0]
        limit = max(s.high for s in stages[current:])
        for name in sensors:
            line = recording.lines[name]
            values = [line.at(t) for t in {begin, end, *line.times} if begin <= t <= end]
            if any(v is not None and v > limit + SLACK for v in values):
                return FAILS
    return CONFORMS if any(recording.lines[name].times for name in sensors) else UNPROVEN
