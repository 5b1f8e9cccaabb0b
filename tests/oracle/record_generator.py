"""Invented furnace files and cycles of modest length, made to sit on limits, cross and break off.

Everything follows from the seed. Figures have one or two decimals, so that a reading equal to a
limit is common; nothing here is a real cycle.
"""

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from .record_oracle import Truth

MISSING = ("OPEN", "----", "", "NaN", "open", "-", "nan")
SETS = {1: [(150,), (120,), (175,)], 2: [(120, 160), (160, 120), (100, 150)], 3: [(100, 130, 160)]}


@dataclass
class RecordCase:
    """One file's text and its cycle paper."""

    text: str
    cycle: dict


@dataclass
class _Plan:
    """What the generator has settled on while it fills a record."""

    unit: str
    place: Decimal
    bands: list[tuple[Decimal, Decimal, Decimal]]  # low, set, high of each stage
    sensors: list[str]
    times: list[Decimal]
    stage_at: list[int]  # -1 warming from cold, 0.. in a stage, -2 cooling
    style: str = "quiet"
    spikes: float = 0
    cells: dict[str, list[str]] = field(default_factory=dict)


def generate_record(seed: int) -> RecordCase:
    """The record of that seed."""
    rng = random.Random(seed)  # noqa: S311 - a repeatable case, no secret
    unit = "F" if rng.random() < 0.2 else "C"
    place = Decimal(rng.choice(["0.1", "0.1", "0.01", "1"]))
    sensors = [f"TC{i + 1}" for i in range(rng.randint(1, 6))]
    times = _times(rng)
    stages, bands = _stages(rng, unit, place, times[-1] - times[0])
    plan = _Plan(unit, place, bands, sensors, times, _programme(rng, len(times), len(bands)))
    plan.style = rng.choice(["quiet", "quiet", "quiet", "edge", "edge", "wild"])
    plan.spikes = rng.choice([0, 0, 0, 0.002, 0.01])
    for name in sensors:
        plan.cells[name] = _sensor(rng, plan)
    if len(sensors) > 1 and rng.random() < 0.1:
        _mirror(rng, plan)
    if rng.random() < 0.45:
        _lose_samples(rng, plan)
    step = min((b - a for a, b in pairwise(times)), default=Decimal(60))
    cycle = {
        "name": f"invented {seed}",
        "temperature_unit": unit,
        "stages": stages,
        "sensors": sensors,
        "max_gap_s": str(step * rng.choice([1, 1, 2, 3, 5])),
        "corrections": _corrections(rng, plan),
        "excursions": _excursion_rule(rng, step),
        "heating_rate": _rate_rule(rng, step),
        "cooling_rate": _rate_rule(rng, step),
        "vacuum": None,
        "ageing": None,
    }
    if rng.random() < 0.4:
        plan.cells["VAC"] = _bag(rng, len(times))
        cycle["vacuum"] = {
            "column": "VAC",
            "min_kpa": rng.choice(["70", "84.5", 80]),
            "from": rng.choice(["start", "soak_start"]),
            "to": rng.choice(["soak_end", "end"]),
        }
    if rng.random() < 0.4:
        cycle["ageing"] = _ageing(rng, bands[-1][1], times[-1] - times[0])
    return RecordCase(_written(rng, plan), cycle)


def tightened(case: RecordCase, truth: Truth, seed: int) -> RecordCase:
    """The same record under a cycle whose limits are what the record shows, or a tick beside it.

    On such a limit a rule conforms, and one tick to the wrong side it does not.
    """
    rng = random.Random(seed)  # noqa: S311 - a repeatable case, no secret
    cycle = dict(case.cycle)
    step = Fraction(9, 5) if cycle["temperature_unit"] == "F" else Fraction(1)
    cycle["stages"] = [dict(paper) for paper in cycle["stages"]]
    for paper, stage in zip(cycle["stages"], truth.stages, strict=True):
        if stage.start is not None:
            least = stage.in_band + rng.choice([0, 0, stage.unproven])
            longest = max(stage.elapsed, stage.in_band + stage.unproven)
            paper["soak_min_s"] = _near(rng, least)
            paper["soak_max_s"] = max(_near(rng, longest), paper["soak_min_s"], key=Decimal)
    found = [e for stage in truth.stages for e in stage.excursions]
    if found:
        lengths = [e.end - e.start for e in found]
        cycle["excursions"] = {
            "longest_s": _near(rng, max(lengths)),
            "beyond": _near(rng, max(e.beyond for e in found) * step),
            "total_s": _near(rng, sum(lengths)),
        }
    for name, rates in (("heating_rate", truth.heating), ("cooling_rate", truth.cooling)):
        known = [abs(rate) * step for rate in (rates or {}).values() if rate is not None]
        if known and max(known) > 0:
            cycle[name] = cycle[name] | {"max_per_min": _near(rng, max(known), "0.1")}
    if cycle["vacuum"] and truth.vacuum and truth.vacuum.lowest is not None:
        lowest = _near(rng, truth.vacuum.lowest, "0.001")
        cycle["vacuum"] = cycle["vacuum"] | {"min_kpa": lowest}
    return RecordCase(case.text, cycle)


def _near(rng: random.Random, value: Fraction, tick: str = "0.00001") -> str:
    """``value`` to 12 decimals, as it is or one tick to either side; never below zero."""
    written = Decimal(round(value * 10**12)).scaleb(-12)
    return format(max(written + Decimal(tick) * rng.choice([0, 0, 0, 0, 1, -1]), Decimal(0)), "f")


def _stages(
    rng: random.Random, unit: str, place: Decimal, length: Decimal
) -> tuple[list[dict], list]:
    number = rng.choice([1, 1, 1, 2, 2, 3])
    papers, bands = [], []
    for middle in rng.choice(SETS[number]):
        at = Decimal(middle * 9 // 5 + 32 if unit == "F" else middle)
        below, above = (place * rng.randint(1, 30) for _ in range(2))
        if place == 1:
            below, above = Decimal(rng.randint(0, 5)), Decimal(rng.randint(0, 5))
        share = Decimal(rng.choice(["0", "0.1", "0.3", "0.5", "0.7", "1"])) / number
        shortest = (length * share).quantize(Decimal("0.1"))
        longest = None
        if rng.random() < 0.3:
            longest = str(shortest + rng.choice([0, 60, 600]) + rng.choice([0, 1]) * length)
        papers.append(
            {
                "set": str(at),
                "below": str(below),
                "above": str(above),
                "soak_min_s": str(shortest),
                "soak_max_s": longest,
            }
        )
        bands.append((at - below, at, at + above))
    return papers, bands


def _times(rng: random.Random) -> list[Decimal]:
    size = rng.choice([rng.randint(5, 30)] * 3 + [rng.randint(30, 120)] * 2 + [rng.randint(1, 400)])
    if rng.random() < 0.02:
        size = 1
    step = Decimal(rng.choice(["60", "60", "30", "10", "1", "300", "7.5", "0.1"]))
    uneven = rng.random() < 0.25
    now, times = Decimal(rng.choice(["0", "0", "12.5", "1000"])), []
    stopped = rng.randrange(size) if rng.random() < 0.15 else None
    for i in range(size):
        times.append(now)
        now += step * rng.choice([1, 1, 2, Decimal("0.5")]) if uneven else step
        if i == stopped:  # the logger stops for a while
            now += step * rng.randint(1, 8)
    return times


def _programme(rng: random.Random, size: int, stages: int) -> list[int]:
    """Which part of the run each sample belongs to, the parts in order."""
    parts = [-1]
    for number in range(stages):
        parts += [number] * rng.randint(2, 5)
    parts += rng.choice([[], [], [], [0], [stages - 1, 0, 0]])  # some come back to the first
    parts += rng.choice([[], [-2], [-2, -2]])  # some records end in the soak
    if rng.random() < 0.08:
        parts = parts[1:]  # begins in the soak
    if rng.random() < 0.05:
        parts = [-1] * 3  # never reaches it
    return [parts[i * len(parts) // size] for i in range(size)]


def _sensor(rng: random.Random, plan: _Plan) -> list[str]:
    lag = rng.randint(0, max(1, len(plan.times) // 20))
    value, cells = _cold(plan), []
    fast = rng.choice([Decimal("0.2"), Decimal("0.5"), Decimal("0.9")])
    for i in range(len(plan.times)):
        part = plan.stage_at[max(i - lag, 0)]
        if part == -1:
            value += (plan.bands[0][0] - value) * fast
        elif part == -2:
            value -= (value - _cold(plan)) * Decimal("0.3") * fast
        else:
            value = _in_stage(rng, plan, part)
        if rng.random() < plan.spikes:
            value += rng.choice([-1, 1]) * plan.place * rng.choice([1, 5, 50])
        text = str(value.quantize(plan.place))
        cells.append(rng.choice(["900", "-60.5"]) if rng.random() < plan.spikes / 4 else text)
    return cells


def _cold(plan: _Plan) -> Decimal:
    return Decimal(70) if plan.unit == "F" else Decimal(21)


def _in_stage(rng: random.Random, plan: _Plan, part: int) -> Decimal:
    low, middle, high = plan.bands[part]
    if plan.style == "quiet":
        inner = [low, middle, high, (low + middle) / 2, (middle + high) / 2]
        return rng.choice(inner)
    if plan.style == "edge":
        step = plan.place * rng.choice([1, 1, 2])
        outside = [low - step, high + step] if rng.random() < plan.spikes * 10 else [middle]
        return rng.choice([low, high, low + step, high - step, middle, *outside])
    return rng.choice([low, high]) + plan.place * rng.randint(-40, 40)


def _mirror(rng: random.Random, plan: _Plan) -> None:
    """The second sensor passes a limit whenever the first does, the other way."""
    level = rng.choice(rng.choice(plan.bands)[::2])
    for i, cell in enumerate(plan.cells["TC1"]):
        plan.cells["TC2"][i] = str(2 * level - Decimal(cell))


def _lose_samples(rng: random.Random, plan: _Plan) -> None:
    """Short and long losses, at the ends too, in one sensor or in all of them."""
    size = len(plan.times)
    for _ in range(rng.randint(1, 4)):
        begin = rng.choice([0, rng.randrange(size), rng.randrange(size), size - 2])
        length = rng.choice([1, 1, 2, 3, rng.randint(1, max(1, size // 3))])
        names = plan.sensors if rng.random() < 0.2 else [rng.choice(plan.sensors)]
        for name in names:
            for i in range(max(begin, 0), min(begin + length, size)):
                plan.cells[name][i] = rng.choice(MISSING)
    if rng.random() < 0.03:
        plan.cells[plan.sensors[0]] = ["OPEN"] * size


def _corrections(rng: random.Random, plan: _Plan) -> dict:
    corrections = {}
    far = rng.choice([0, 0, 8, -8])
    for name in plan.sensors:
        if rng.random() < 0.12:
            top = 400 if plan.unit == "F" else 190
            points = sorted(rng.sample(range(20, top), rng.randint(1, 4)))
            if rng.random() < 0.3:
                points = sorted({*points, int(plan.bands[0][1])})
            corrections[name] = [
                [x, str(plan.place * rng.choice([0, 0, 1, -1, far]))] for x in points
            ]
    return corrections


def _excursion_rule(rng: random.Random, step: Decimal) -> dict | None:
    if rng.random() < 0.5:
        return None
    longest = step * rng.choice([1, 2, 3])
    return {
        "longest_s": str(longest),
        "beyond": rng.choice(["0.1", "0.5", "2.0", "10"]),
        "total_s": str(longest * rng.choice([1, 2, 10])),
    }


def _rate_rule(rng: random.Random, step: Decimal) -> dict | None:
    if rng.random() < 0.6:
        return None
    window = step * rng.choice([1, 2, 3, Decimal("2.5"), 10])
    return {"max_per_min": rng.choice(["2.0", "10", "120", "9000"]), "window_s": str(window)}


def _bag(rng: random.Random, size: int) -> list[str]:
    burst = rng.randrange(size) if rng.random() < 0.4 else size
    leak = Decimal(rng.choice(["0.1", "1", "10", "45", "80"]))
    level, cells = Decimal(88), []
    for i in range(size):
        level += Decimal(rng.randint(-3, 3)) / 10
        level = max(level - leak, Decimal("0.5")) if i >= burst else max(level, Decimal("84.4"))
        cells.append(rng.choice(MISSING) if rng.random() < 0.01 else str(level))
    return cells


def _ageing(rng: random.Random, reference: Decimal, length: Decimal) -> dict:
    return {
        "activation_energy_j_per_mol": rng.choice([120000, "95000", "130000.5"]),
        "reference": str(reference),
        "min_s": str(length / 4) if rng.random() < 0.4 else None,
        "max_s": str(length * 2) if rng.random() < 0.4 else None,
    }


def _written(rng: random.Random, plan: _Plan) -> str:
    names = list(plan.cells)
    if rng.random() < 0.2:
        rng.shuffle(names)
    elapsed = rng.random() < 0.6
    start = datetime(2031, 3, 4, 22, 15, 30)  # noqa: DTZ001 - a logger's wall clock
    rows = [",".join(["time_s" if elapsed else "time", *names])]
    for i, t in enumerate(plan.times):
        moment = start + timedelta(microseconds=int(t * 10**6))
        stamp = str(t) if elapsed else moment.isoformat()
        rows.append(",".join([stamp, *(plan.cells[name][i] for name in names)]))
    return "\n".join(rows) + "\n"
