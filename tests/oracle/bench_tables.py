"""Invented acceptance and correction tables, and bench sessions about their limits."""

import random
from decimal import Decimal

from .bench_case import MINUTES_OF_A_DAY, ZONE_MINUTES, BlockCheck, Desk, Paper, TableInForce
from .bench_figures import check_conforms

DAY = 60
# Three parts of which 2 sqrt(u_tester^2 + u_block^2 + s^2) comes out even: U, U, s and the result.
EVEN_PARTS = [
    ("0.6", "0.8", "0", "1.0"),
    ("0.2", "0.3", "0.3", "0.7"),
    ("0.1", "0.4", "0.4", "0.9"),
    ("0.3", "0.4", "0.6", "1.3"),
]
SCALES = {"HRB": "79.0", "HBW 5/250": "121", "HV10": "140", "HR15T": "84.5"}
ELECTRICAL = {"%IACS": "38.0", "MS/m": "22.0"}


def last_place(figure: str) -> Decimal:
    return Decimal((0, (1,), Decimal(figure).as_tuple().exponent))


def invented_table(rng: random.Random) -> dict:
    """An acceptance table of one or two entries."""
    entries = [_entry(rng, "1", "8")]
    if rng.random() < 0.2:
        entries.append(_entry(rng, "8", "20") | {"thickness_mm": _span("8", "20", lower=False)})
    return {"name": "invented", "revision": "A", "entries": entries}


def _span(low: str, high: str, *, lower: bool) -> dict:
    return {"from": low, "to": high, "from_included": lower, "to_included": True}


def _entry(rng: random.Random, low: str, high: str) -> dict:
    decision = "guarded" if rng.random() < 0.35 else "simple"
    entry = {
        "alloy": "Q-77",
        "temper": "K1",
        "form": "plate",
        "thickness_mm": _span(low, high, lower=True),
        "surface": None,
        "decision": decision,
        "source": "invented for a comparison of two judges",
        "obtained": "invented",
        "criteria": _criteria(rng, decision),
    }
    if rng.random() < 0.75:
        of = rng.choice(["sets", "coupons"])
        entry["retest"] = {"further": rng.choice([1, 1, 2]), "of": of}
        if rng.random() < 0.5:
            entry["retest"]["by_another"] = True
    if rng.random() < 0.1:
        entry["depths_needed"] = rng.choice(["2", "3"])
    return entry


def _criteria(rng: random.Random, decision: str) -> list[dict]:
    kinds = rng.choice([*["h", "c", "z"] * 3, "hc", "hz"])
    found = []
    for kind in kinds:
        if kind == "h":
            scale = rng.choice(list(SCALES))
            found.append(_plain(rng, "hardness", scale, SCALES[scale]))
        elif kind == "c" or decision == "guarded":
            unit = rng.choice(list(ELECTRICAL))
            found.append(_plain(rng, "conductivity", unit, ELECTRICAL[unit]))
        else:
            found.append(_zoned(rng))
            if rng.random() < 0.4:
                found[-1]["zones"][1]["also"].append(_hardness_too(rng, found[:-1]))
    return found


def _hardness_too(rng: random.Random, beside: list[dict]) -> dict:
    """A zone's further criterion, in a scale of its own or in that of another criterion."""
    scale = rng.choice(list(SCALES))
    if any(other.get("scale") == scale and other.get("correction") for other in beside):
        scale = next(free for free in SCALES if free != scale)
    also = {"quantity": "hardness", "scale": scale, "min": SCALES[scale]}
    if rng.random() < 0.5:
        also |= {"statistic": "mean", "readings_min": 2}
    return also


def _how_measured(rng: random.Random, quantity: str, middle: str) -> dict:
    """How it is to be measured: builds, standards, a correction table, a rise expected."""
    asked: dict = {}
    if rng.random() < 0.15:
        asked["instruments"] = rng.choice(
            [["fixed"], ["fixed"], ["portable"], ["fixed", "portable"]]
        )
    if rng.random() < 0.16:
        asked["standards_apart"] = "10"
    if rng.random() < 0.25:
        asked["correction"] = f"CT-{quantity[0].upper()}"
    if rng.random() < 0.1:
        asked["rise"] = {"from": "-1", "to": "1"}
    if rng.random() < 0.1:
        middling = Decimal(middle)
        asked["possible"] = {"from": str(middling / 4), "to": str(middling * 4)}
    return asked


def _plain(rng: random.Random, quantity: str, unit: str, middle: str) -> dict:
    criterion: dict = {"quantity": quantity, ("scale" if quantity == "hardness" else "unit"): unit}
    sides, place = rng.choice(["min", "max", "both"]), last_place(middle)
    criterion["min"] = None if sides == "max" else middle
    high = str(Decimal(middle) + place * rng.choice([0, 3, 30]))
    criterion["max"] = None if sides == "min" else high
    criterion["statistic"] = rng.choice(["each", "mean"])
    criterion["readings_min"] = rng.randint(1, 3)
    if rng.random() < 0.3:
        criterion["range_max"] = str(place * rng.choice([1, 2, 5, 20]))
    criterion["rounding"] = rng.choice(["rounding", "rounding", "absolute"])
    if criterion["rounding"] == "rounding" and rng.random() < 0.2:
        criterion["resolution"] = str(rng.choice([place, place / 10, place / 2]))
    return criterion | _how_measured(rng, quantity, middle)


def _zoned(rng: random.Random) -> dict:
    also = [{"quantity": "yield_strength", "unit": rng.choice(["ksi", "MPa"]), "max": "67.9"}]
    if also[0]["unit"] == "MPa":
        also[0]["max"] = "468"
    middle = {"from": "38.0", "to": "39.9", "outcome": "accept_if", "also": also}
    ends = [{"to": "37.9", "outcome": "reject"}, {"from": "40.0", "outcome": "accept"}]
    if rng.random() < 0.3:
        ends[1] = {"from": "40.0", "to": "43.0", "outcome": "accept"}
        ends.append({"from": "43.1", "outcome": "reject"})
    return {
        "quantity": "conductivity",
        "unit": "%IACS",
        "statistic": rng.choice(["mean", "each"]),
        "readings_min": rng.randint(1, 3),
        "rounding": "rounding",
        "resolution": "0.1",
        "zones": [ends[0], middle, *ends[1:]],
    } | _how_measured(rng, "conductivity", "38.0")


def limits_of(criterion: dict) -> list[str]:
    """Every limit as it is written."""
    written = [criterion[key] for key in ("min", "max") if criterion.get(key)]
    for zone in criterion.get("zones") or []:
        written += [zone[key] for key in ("from", "to") if zone.get(key)]
    return written


def correction_tables(rng: random.Random, criterion: dict) -> list[TableInForce]:
    """Revisions of the table that the criterion names, one after the other, or none."""
    limit = Decimal(limits_of(criterion)[0])
    unit = criterion.get("scale") or criterion["unit"]
    by = rng.choice(["diameter", "thickness", None])
    if by == "diameter" and criterion["quantity"] != "hardness" and rng.random() < 0.5:
        by = "thickness"
    low, high = limit - rng.choice([0, 3, *[20] * 6]), limit + rng.choice([0, 5, 40]) + 1
    reads = (
        [str(low), str((low + high) / 2), str(high)]
        if rng.random() < 0.5
        else [
            str(low),
            str(high),
        ]
    )
    measures = ["1", "4.5", "8", "20"] if by else []
    found, since = [], DAY * MINUTES_OF_A_DAY - 5000
    for revision in range(rng.choice([1, 1, 2])):
        flat = rng.random() < 0.5
        even = str(rng.choice(["0.5", "-0.2", "1"]))
        additions = tuple(
            tuple(
                even if flat else str(Decimal(rng.randint(-9, 9)) / 10)
                for _ in range(len(measures) or 1)
            )
            for _ in reads
        )
        until = None
        if revision == 0 and rng.random() < 0.3:
            until = DAY * MINUTES_OF_A_DAY + rng.randint(8, 15) * 60
        found.append(
            TableInForce(
                criterion["correction"], unit, criterion["quantity"], by, tuple(reads),
                tuple(measures), additions, since, until,
            )
        )  # fmt: skip
        if until is None:
            break
        since = until
    return found


def invented_desk(rng: random.Random, criterion: dict) -> Desk:
    """A session at a tester that reads what the criterion asks for."""
    limits = sorted(map(Decimal, limits_of(criterion)))
    unit = criterion.get("scale") or criterion["unit"]
    quantity = criterion["quantity"]
    start = DAY * MINUTES_OF_A_DAY + rng.choice([8 * 60, 9 * 60, 14 * 60 + 20])
    blocks = _blocks(rng, criterion, limits)
    tester, block, scatter, _ = rng.choice(EVEN_PARTS)
    studies: tuple[tuple[int, str], ...] = ()
    if rng.random() < 0.5:
        studies = ((start - 5000, scatter),)
        if rng.random() < 0.2:
            studies = ((start - 9000, "2.5"), *studies)
    of_block = rng.choice([[block], [block, None], [None], [block, "0.05"]])
    checks = _checks(rng, blocks, start)
    checked = sorted({check.block for check in checks})
    u_of = {code: of_block[number % len(of_block)] for number, code in enumerate(checked)}
    corrections = _instrument_corrections(rng, limits[0]) if rng.random() < 0.3 else ()
    thermometer = None
    if quantity == "conductivity" and rng.random() < 0.3:
        thermometer = _papers(rng, start, None, ())
    return Desk(
        quantity,
        unit,
        rng.choice([*["fixed"] * 6, "portable", None]),
        "0.1",
        checks,
        _papers(rng, start, tester if rng.random() < 0.85 else None, corrections),
        u_of,
        thermometer,
        studies,
    )


def _blocks(
    rng: random.Random, criterion: dict, limits: list[Decimal]
) -> list[tuple[str, Decimal]]:
    name = f"B{rng.randrange(10**6)}"  # no block of another session's
    if not criterion.get("standards_apart") and rng.random() < 0.7:
        return [(f"{name}-1", limits[0])]
    tick = Decimal("0.1")
    low = limits[0] - rng.choice([Decimal(3), Decimal(3), Decimal(0), Decimal(0), -tick])
    apart = rng.choice([*[Decimal(10)] * 7, Decimal(10) - tick, Decimal(12)])
    high = low + apart
    if high < limits[-1] and rng.random() < 0.7:
        high = limits[-1]
    found = [(f"{name}-1", low), (f"{name}-2", high)]
    if rng.random() < 0.1:
        found.append((f"{name}-3", (low + high) / 2))
    return found[: rng.choice([1, *[3] * 8])]


def _instrument_corrections(rng: random.Random, limit: Decimal) -> tuple[tuple[str, str], ...]:
    low, high = limit - rng.choice([0, 4, *[30] * 6]), limit + rng.choice([0, 4, 40]) + 1
    if rng.random() < 0.5:
        even = rng.choice(["0.5", "-0.3", "0"])
        return ((str(low), even), (str(high), even))
    between = (low + high) / 2
    return tuple((str(at), str(Decimal(rng.randint(-8, 8)) / 10)) for at in (low, between, high))


def _papers(
    rng: random.Random,
    minute: int,
    expanded: str | None,
    corrections: tuple[tuple[str, str], ...],
) -> tuple[Paper, ...]:
    """Certificates in date on the day of the reading, just out of date, or followed by another."""
    day = (minute + ZONE_MINUTES) // MINUTES_OF_A_DAY
    done, due = rng.choice(
        [
            *[(day - 90, day + 90)] * 36,
            *[(day - 90, day), (day, day + 9)] * 2,
            (day - 90, day - 1),
            (day + 1, day + 90),
        ]
    )
    papers = [Paper(done, due, expanded, corrections)]
    if rng.random() < 0.15:
        papers.append(Paper(day - 200, day + 30, "3", ()))
    if rng.random() < 0.03:
        papers.append(Paper(day - 20, day - 3, "3", ()))
    return tuple(papers)


def _checks(
    rng: random.Random, blocks: list[tuple[str, Decimal]], start: int
) -> tuple[BlockCheck, ...]:
    """A session from its opening to wherever it got, with room for readings in between."""
    checks: list[BlockCheck] = []
    for block in blocks:
        if rng.random() < 0.08:
            checks.append(_check(rng, "opening", block, start + 2 * len(checks), fine=False))
        if rng.random() < 0.985:
            checks.append(_check(rng, "opening", block, start + 2 * len(checks), fine=True))
    latest = {one.block: check_conforms(one) for one in checks}
    if not latest or not all(latest.values()):
        return tuple(checks)  # never open
    opened = [block for block in blocks if block[0] in latest]
    rounds = [("interim", opened) for _ in range(rng.choice([0, 0, 1, 2]))]
    rounds = [(m, b if rng.random() < 0.6 else [rng.choice(b)]) for m, b in rounds]
    if rng.random() < 0.88:
        rounds.append(("closing", opened))
    for pauses, (moment, of) in enumerate(rounds, 1):
        for block in of:
            minute = start + 20 * pauses + 2 * len(checks)
            fine = rng.random() < 0.975
            checks.append(_check(rng, moment, block, minute, fine=fine))
            if not fine or (moment == "closing" and rng.random() < 0.03):
                return tuple(checks)
    return tuple(checks)


def _check(
    rng: random.Random, moment: str, block: tuple[str, Decimal], minute: int, *, fine: bool
) -> BlockCheck:
    """A check whose error is on or beside the permitted one, or halfway to the next figure."""
    code, certified = block
    permitted, good, bad = rng.choice(
        [
            ("0.5", ["0.5", "-0.5", "0", "0.54", "0.45", "-0.54"], ["0.55", "0.6", "-0.56"]),
            ("0.6", ["0.65", "-0.65", "0.6", "0.1"], ["0.66", "-0.7"]),
            ("1", ["1.4", "-1.49", "0.5", "1"], ["1.5", "-2", "1.51"]),
        ]
    )
    error = Decimal(rng.choice(good if fine else bad))
    spread = Decimal(rng.choice(["0", "0.2", "0.3"]))
    readings = (str(certified + error - spread), str(certified + error + spread))
    return BlockCheck(moment, code, str(certified), readings, permitted, minute)
