"""Rates, vacuum and equivalent time of a furnace record, exactly (exp alone is binary).

Source: the judging rules, 4.4. Shares no code with the program.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from .exact_lines import SLACK, Line, Recording, exact, step_to_celsius, to_celsius

GAS_CONSTANT = 8.314462618
MINUTE = Fraction(60)
NEAR = Fraction(1, 10**4)


@dataclass
class Vacuum:
    lowest: Fraction | None
    below_limit: Fraction
    fastest_loss: Fraction | None  # per minute; None where no full minute is known
    burst: bool  # more than half lost over exactly one minute
    burst_within: bool  # ... or over any part of a minute


def worst(outcomes: Iterable[str]) -> str:
    found = set(outcomes)
    if "does_not_conform" in found:
        return "does_not_conform"
    return "not_proven" if "not_proven" in found or "conforms" not in found else "conforms"


def window_changes(
    line: Line, width: Fraction, start: Fraction, end: Fraction
) -> list[tuple[Fraction, Fraction]]:
    """(value at t, value at t + width) at every breakpoint of their difference.

    Both instants lie in ``[start, end]`` and in no gap.
    """
    begins = {start, end - width, *line.times, *(t - width for t in line.times)}
    pairs = []
    for t in begins:
        if start <= t and t + width <= end:
            before, after = line.at(t), line.at(t + width)
            if before is not None and after is not None:
                pairs.append((before, after))
    return pairs


def heating_rates(
    recording: Recording, cycle: dict, soak_start: Fraction | None
) -> dict[str, Fraction | None] | None:
    """Largest rise per minute of each sensor before the soak; None where nothing is asked."""
    rule = cycle.get("heating_rate")
    if not rule or soak_start is None:
        return None
    width = exact(rule["window_s"])
    rates = {}
    for name in cycle["sensors"]:
        changes = window_changes(recording.lines[name], width, Fraction(0), soak_start)
        rates[name] = max(((b - a) / width * 60 for a, b in changes), default=None)
    return rates


def cooling_rates(
    recording: Recording, cycle: dict, soak_end: Fraction | None
) -> dict[str, Fraction | None] | None:
    """Fastest fall per minute of each sensor after the last soak, as a negative rate."""
    rule = cycle.get("cooling_rate")
    if not rule or soak_end is None:
        return None
    width = exact(rule["window_s"])
    rates = {}
    for name in cycle["sensors"]:
        changes = window_changes(recording.lines[name], width, soak_end, recording.end)
        rates[name] = min(((b - a) / width * 60 for a, b in changes), default=None)
    return rates


def judge_rates(cycle: dict, heating: dict, cooling: dict, outcomes: dict, unsure: set) -> None:
    """Known rates against their limits; a limit exceeded is sure, the rest may lack evidence."""
    for name, rates, sign in (("heating_rate", heating, 1), ("cooling_rate", cooling, -1)):
        rule = cycle.get(name)
        if not rule:
            continue
        if rates is None or all(r is None for r in rates.values()):
            outcomes[name] = "not_proven"
            continue
        width = exact(rule["window_s"])
        limit = step_to_celsius(exact(rule["max_per_min"]), cycle["temperature_unit"])
        over = [(sign * r - limit) * width / 60 for r in rates.values() if r is not None]
        if any(SLACK / 1000 < abs(change) < NEAR for change in over):
            unsure.add(name)
        if max(over) > SLACK:
            outcomes[name] = "does_not_conform"
        else:
            outcomes[name] = "not_proven" if None in rates.values() else "conforms"


def judge_vacuum(
    recording: Recording,
    cycle: dict,
    soak: tuple[Fraction | None, Fraction | None],
    outcomes: dict,
    unsure: set,
) -> Vacuum | None:
    """Figures of the bag over its span, and the outcome; None where the span has no end."""
    rule = cycle.get("vacuum")
    if not rule:
        return None
    start = Fraction(0) if rule["from"] == "start" else soak[0]
    end = recording.end if rule["to"] == "end" else soak[1]
    if start is None or end is None:
        outcomes["vacuum"] = "not_proven"
        return None
    limit = exact(rule["min_kpa"])
    line = recording.lines[rule["column"]].snapped((limit,))
    instants = sorted(
        {start, end}
        | {t for t in recording.row_times if start <= t <= end}
        | {t for t in line.crossings(limit) if start <= t <= end}
    )
    middles = [(a, b, line.at((a + b) / 2)) for a, b in pairwise(instants)]
    known = [v for v in (line.at(t) for t in instants) if v is not None]
    below = sum((b - a for a, b, v in middles if v is not None and v < limit), Fraction(0))
    gap = any(v is None for _, _, v in middles) or len(known) < len(instants)
    if known and min(known) < limit and below < SLACK:
        unsure.add("vacuum")  # one sample between gaps
    if below >= SLACK:
        outcomes["vacuum"] = "does_not_conform"
    else:
        outcomes["vacuum"] = "not_proven" if gap else "conforms"
    minutes = window_changes(recording.lines[rule["column"]], MINUTE, start, end)
    return Vacuum(
        min(known, default=None),
        below,
        max((a - b for a, b in minutes), default=None),
        any(a > 0 and b < a / 2 for a, b in minutes),
        _halved_within_a_minute(recording.lines[rule["column"]], start, end),
    )


def _halved_within_a_minute(line: Line, start: Fraction, end: Fraction) -> bool:
    known = [(t, line.at(t)) for t in {start, end, *line.times} if start <= t <= end]
    known += [(t + s, line.at(t + s)) for t, _ in list(known) for s in (-MINUTE, MINUTE)]
    known = sorted((t, v) for t, v in known if v is not None and start <= t <= end)
    for i, (t, v) in enumerate(known):
        for u, w in known[i + 1 :]:
            if u - t > MINUTE:
                break
            if v > 0 and w <= v / 2:
                return True
    return False


def _ageing_speed(celsius: float, energy: float, reference: float) -> float:
    kelvin, base = celsius + 273.15, reference + 273.15
    return math.exp(-energy / GAS_CONSTANT * (1 / kelvin - 1 / base))


def _simpson(piece: tuple, energy: float, reference: float, parts: int) -> float:
    t0, t1, v0, v1 = (float(x) for x in piece)
    step, total = (t1 - t0) / parts, 0.0
    for i in range(parts):
        a = v0 + (v1 - v0) * i / parts
        b = v0 + (v1 - v0) * (i + 1) / parts
        speeds = [_ageing_speed(x, energy, reference) for x in (a, (a + b) / 2, b)]
        total += step / 6 * (speeds[0] + 4 * speeds[1] + speeds[2])
    return total


def equivalent_times(recording: Recording, cycle: dict) -> dict[str, tuple[float, float]] | None:
    """Per sensor: Simpson's rule once on each sample interval, and on sixteen parts of each."""
    rule = cycle.get("ageing")
    if not rule:
        return None
    energy = float(exact(rule["activation_energy_j_per_mol"]))
    reference = float(to_celsius(exact(rule["reference"]), cycle["temperature_unit"]))
    times = {}
    for name in cycle["sensors"]:
        pieces = list(recording.lines[name].pieces())
        times[name] = tuple(
            math.fsum(_simpson(piece, energy, reference, parts) for piece in pieces)
            for parts in (1, 16)
        )
    return times


def judge_ageing(
    recording: Recording, cycle: dict, equivalent: dict | None, outcomes: dict, unsure: set
) -> None:
    """Limits on the coldest and the hottest; what a gap adds is unknown but never negative."""
    rule = cycle.get("ageing")
    if not rule or (rule.get("min_s") is None and rule.get("max_s") is None):
        return
    whole = {
        name
        for name in cycle["sensors"]
        if recording.lines[name].known_throughout(Fraction(0), recording.end)
    }
    coldest = min(one for one, _ in equivalent.values())
    hottest = max(one for one, _ in equivalent.values())
    found = []
    for limit, value in ((rule.get("min_s"), coldest), (rule.get("max_s"), hottest)):
        if limit is not None and abs(value - float(limit)) < 1e-3 * max(1.0, value):
            unsure.add("ageing")
    if rule.get("min_s") is not None:
        short = {name for name, (one, _) in equivalent.items() if one < float(rule["min_s"])}
        found.append("does_not_conform" if short & whole else "not_proven" if short else "conforms")
    if rule.get("max_s") is not None:
        over, gaps = hottest > float(rule["max_s"]), len(whole) < len(equivalent)
        found.append("does_not_conform" if over else "not_proven" if gaps else "conforms")
    outcomes["ageing"] = worst(found)
