"""Invented coupons at the bench: readings on, beside and halfway between the stated figures."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from .bench_case import BenchCase, Desk, Plan, TableInForce, Taken
from .bench_counting import every_criterion
from .bench_figures import hardness, instrument_adds, paper_of, table_adds
from .bench_oracle import judge_bench
from .bench_tables import (
    DAY,
    EVEN_PARTS,
    correction_tables,
    invented_desk,
    invented_table,
    last_place,
    limits_of,
)
from .coupon_oracle import in_unit

COUPONS_OF_A_SHIFT = 40
TICKS = ("0", "0", "0.5", "-0.5", "0.49", "-0.51", "1", "-1", "1.5", "0.05", "-0.05")
FORCES = {"HBW 5/250": ("2451.6625", "5"), "HV10": ("98.0665", "")}
FULL_NUMBERS = {"HRB": ("130", "0.002"), "HR15T": ("100", "0.001")}


@dataclass
class Shift:
    """A table, the sessions of a shift, and the correction tables then in force."""

    table: dict
    desks: tuple[Desk, ...]
    of_criterion: list[tuple[dict, list[int]]]  # each criterion and the desks that read it
    tables: tuple[TableInForce, ...]


def shift_of_coupons(seed: int) -> Iterator[BenchCase]:
    """The coupons of one shift, always the same for the same seed."""
    rng = random.Random(seed)  # noqa: S311 - repeatable cases, no secret
    table = invented_table(rng)
    shifts = [_shift(rng, table, entry) for entry in table["entries"]]
    for number in range(COUPONS_OF_A_SHIFT):
        which = rng.randrange(len(shifts))
        yield _coupon(rng, shifts[which], table["entries"][which], f"{seed}.{number}")


def _shift(rng: random.Random, table: dict, entry: dict) -> Shift:
    desks: list[Desk] = []
    of_criterion, tables = [], {}
    for criterion in every_criterion(entry):
        if criterion["quantity"] not in {"hardness", "conductivity"}:
            continue  # a laboratory's
        here = []
        for _ in range(rng.choice([1, 1, 2])):
            here.append(len(desks))
            desks.append(invented_desk(rng, criterion))
        of_criterion.append((criterion, here))
        code = criterion.get("correction")
        if code and code not in tables:
            tables[code] = correction_tables(rng, criterion)
    return Shift(table, tuple(desks), of_criterion, tuple(t for f in tables.values() for t in f))


def _coupon(rng: random.Random, shift: Shift, entry: dict, seed: str) -> BenchCase:
    low, high = (Decimal(entry["thickness_mm"][key]) for key in ("from", "to"))
    thickness = rng.choice([low, high, low + Decimal("0.01"), *[(low + high) / 2] * 5])
    if rng.random() < 0.01:
        thickness = high + Decimal("20")
    case = BenchCase(
        seed,
        "C-1",
        {"alloy": "Q-77", "temper": "K1", "form": "plate", "surface": "bare"},
        str(thickness),
        rng.choice(["1", "4.5", "12", "20", "20.01", None]) if rng.random() < 0.7 else "6",
        shift.table,
        shift.desks,
        shift.tables,
    )
    for criterion, desks in shift.of_criterion:
        if rng.random() < 0.97:
            _measure(rng, case, criterion, desks, entry)
        if criterion.get("rise") and rng.random() < 0.7:
            unit = criterion.get("scale") or criterion["unit"]
            before = tuple(rng.choice(["36.5", "79", "139.5"]) for _ in range(2))
            case.before_furnace.append((criterion["quantity"], unit, before))
        for also in _further(criterion):
            if rng.random() < 0.8:
                _laboratory(rng, case, also)
    if rng.random() < 0.1:
        rng.shuffle(case.readings)
        case.readings = [replace(r, number=n) for n, r in enumerate(case.readings, 1)]
    this_entry = entry["thickness_mm"]["from_included"] or thickness != low
    if entry.get("retest") and this_entry and rng.random() < 0.85:
        _retest(rng, case, shift, entry)
    return case


def _further(criterion: dict) -> list[dict]:
    """What a laboratory measures for a criterion's zones."""
    also = [also for zone in criterion.get("zones") or [] for also in zone.get("also", [])]
    return [one for one in also if one["quantity"] != "hardness"]


def _laboratory(rng: random.Random, case: BenchCase, also: dict, again: int | None = None) -> None:
    limit = Decimal(also["max"])
    for _ in range(rng.choice([1, 1, 2])):
        value = limit + last_place(also["max"]) * Decimal(rng.choice(TICKS))
        number = len(case.readings) + 1
        taken = Taken(number, None, also["quantity"], also["unit"], str(value), DAY * 1440 + 600)
        taken.again, taken.by = again, 1 if again is None else 2
        case.readings.append(taken)


def _measure(
    rng: random.Random,
    case: BenchCase,
    criterion: dict,
    desks: list[int],
    entry: dict,
    again: int | None = None,
    by: int = 1,
    *,
    good: bool = False,
) -> None:
    """The readings of one criterion, about one of its figures, at one or two sessions."""
    which = rng.choice(desks)
    limit, aim = _aim(rng, criterion, entry, good=good)
    place = last_place(limit)
    count = max(1, criterion.get("readings_min", 1) + rng.choice([-1, *[0] * 12, 1, 1]))
    khz = rng.choice([None, None, None, None, "60", "480", "480", "20.5"])
    close = rng.random() < 0.9
    raw = criterion["quantity"] == "hardness" and rng.random() < 0.15
    minute = _minute(rng, case.desks[which])
    for _ in range(count):
        if rng.random() < 0.04:
            which = rng.choice(desks)
            minute = _minute(rng, case.desks[which])
        tick = Decimal(rng.choice(TICKS)) if close else Decimal(rng.randint(-60, 60)) / 10
        wanted = Fraction(aim + place * tick)
        reading = _reading(rng, case, criterion, which, wanted, minute)
        reading.again, reading.by = again, by
        if raw:
            _from_sizes(reading)
        if criterion["quantity"] == "conductivity":
            reading.khz = khz
            _temperatures(rng, reading)
        else:
            reading.spacing = rng.random() < 0.97
        _blemish(rng, reading)
        case.readings.append(reading)


def _aim(rng: random.Random, criterion: dict, entry: dict, *, good: bool) -> tuple[str, Decimal]:
    """A limit as written, and what to read about: it, or it and the uncertainty's guard."""
    limit = rng.choice(limits_of(criterion))
    place, aim = last_place(limit), Decimal(limit)
    inward = -1 if limit == criterion.get("max") else 1
    if entry["decision"] == "guarded" and rng.random() < 0.55:
        aim += inward * Decimal(rng.choice(EVEN_PARTS)[3])
    elif rng.random() < (0.9 if good else 0.25):
        aim += inward * 3 * place
    return limit, aim


def _minute(rng: random.Random, desk: Desk) -> int:
    """Between two checks of the session, mostly; now and then before its opening."""
    opened = [check.minute for check in desk.checks if check.moment == "opening"]
    if not opened:
        return DAY * 1440 + 600
    begin = max(opened)
    later = [check.minute for check in desk.checks if check.minute > begin]
    gaps = [
        (low, high)
        for low, high in zip([begin, *later], [*later, begin + 200], strict=True)
        if high - low > 10
    ]
    moments = {check.moment for check in desk.checks}
    if "closing" in moments and len(gaps) > 1:
        gaps.pop()
    if rng.random() < 0.015:
        return min(opened) - 3
    low, high = gaps[0] if rng.random() < 0.6 else rng.choice(gaps)
    return rng.randint(low + 1, min(high - 1, low + 15))


def _reading(
    rng: random.Random, case: BenchCase, criterion: dict, which: int, wanted: Fraction, minute: int
) -> Taken:
    """A reading that comes to ``wanted`` once corrected, where the corrections are even."""
    desk = case.desks[which]
    unit = criterion.get("scale") or criterion["unit"]
    read = wanted
    for table in case.tables if criterion.get("correction") else ():
        if table.code == criterion["correction"] and table.since <= minute:
            measure = {"diameter": case.diameter, "thickness": case.thickness}.get(table.by or "")
            read = wanted - (table_adds(table, wanted, measure) or 0)
    paper = paper_of(desk.papers, (minute + 540) // 1440)
    if paper is not None and paper.corrections:
        read -= instrument_adds(paper, read) or 0
    if rng.random() < 0.03:
        read = in_unit(read, unit, {"%IACS": "MS/m", "MS/m": "%IACS"}.get(unit, unit)) or read
    written = Decimal(round(read * 10000)) / 10000
    number = len(case.readings) + 1
    return Taken(number, which, criterion["quantity"], unit, str(written), minute)


def _from_sizes(reading: Taken) -> None:
    """Sizes of an indentation that come near the figure; they take its place."""
    wanted = float(reading.value)
    if wanted <= 0:
        return
    if reading.unit in FULL_NUMBERS:
        full, step = FULL_NUMBERS[reading.unit]
        depth = (Decimal(full) - Decimal(reading.value)) * Decimal(step)
        if depth <= 0:
            return
        reading.sizes = ("rockwell", full, step, str(depth))
    elif reading.unit == "HV10":
        diagonal = round(math.sqrt(0.1891 * 98.0665 / wanted), 4)
        beside = f"{diagonal + 0.002:.4f}"
        reading.sizes = ("vickers", "98.0665", f"{diagonal - 0.002:.4f}", beside)
    else:
        cap = 0.102 * 2 * 2451.6625 / (math.pi * 5 * wanted)
        diameter = math.sqrt(25 - (5 - cap) ** 2)
        reading.sizes = ("brinell", "2451.6625", "5", f"{diameter:.3f}", f"{diameter + 0.001:.3f}")
    shown = hardness(reading.sizes)[0]
    reading.value = str(Decimal(round(shown * 10)) / 10)


def _temperatures(rng: random.Random, reading: Taken) -> None:
    if rng.random() < 0.5:
        reading.block_c = rng.choice(["20.0", "21"])
        apart = Decimal(rng.choice([*["0", "1.5", "3.0", "-3.0"] * 6, "3.1", "-3.01"]))
        reading.coupon_c = str(Decimal(reading.block_c) + apart)


def _blemish(rng: random.Random, reading: Taken) -> None:
    chance = rng.random()
    reading.voided = chance < 0.015
    reading.replaced = 0.015 <= chance < 0.03
    reading.late = chance > 0.97


def _retest(rng: random.Random, case: BenchCase, shift: Shift, entry: dict) -> None:
    """Further sets, or coupons, under a plan that not every reading keeps to."""
    rule = entry["retest"]
    failing = judge_bench(case).failing
    if not failing and rng.random() < 0.9:
        return
    quantities = tuple(sorted(failing)) or (entry["criteria"][0]["quantity"],)
    another = bool(rule.get("by_another"))
    not_by = (1,) if another else ()
    case.retest = Plan(rule["of"], rule["further"], quantities, another, not_by)
    made = max(0, rule["further"] + rng.choice([-1, *[0] * 7, 1]))
    for number in range(1, made + 1):
        if rule["of"] == "sets":
            by = 1 if rng.random() < 0.15 else 2
            for criterion, desks in shift.of_criterion:
                if criterion["quantity"] in quantities:
                    good = rng.random() < 0.8
                    _measure(rng, case, criterion, desks, entry, number, by, good=good)
                for also in _further(criterion):
                    if also["quantity"] in quantities:
                        _laboratory(rng, case, also, number)
            continue
        beside = replace(
            case, code=f"C-{number + 1}", readings=[], before_furnace=[], retest=None, neighbours=[]
        )
        for criterion, desks in shift.of_criterion:
            _measure(rng, beside, criterion, desks, entry, by=2, good=rng.random() < 0.95)
            for also in _further(criterion):
                _laboratory(rng, beside, also)
        case.neighbours.append(beside)
