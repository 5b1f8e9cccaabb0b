"""Invented coupons and tables with readings on, beside and halfway between the stated figures."""

import random
from dataclasses import dataclass
from decimal import Decimal

FORMS = ("sheet", "plate")
SURFACES = ("bare", "clad")
STRENGTHS = ("tensile_strength", "yield_strength")


@dataclass
class CouponCase:
    """A coupon's paper and a table's paper."""

    coupon: dict
    table: dict


def generate_coupon(seed: int) -> CouponCase:
    """The coupon and table of that seed."""
    rng = random.Random(seed)  # noqa: S311 - a repeatable case, no secret
    entries = _entries(rng)
    target = rng.choice(entries)
    coupon = {key: target[key] if rng.random() < 0.98 else "other" for key in ("alloy", "temper")}
    coupon["form"] = target["form"] if rng.random() < 0.98 else rng.choice(FORMS)
    if rng.random() < 0.97:
        coupon["thickness_mm"] = _thickness(rng, target["thickness_mm"])
    if target["surface"] is not None or rng.random() < 0.3:
        other = rng.choice(SURFACES)
        coupon["surface"] = (target["surface"] or other) if rng.random() < 0.95 else other
    coupon["readings"], stated = [], {}
    for criterion in _all_criteria(target):
        if rng.random() < 0.9:
            coupon["readings"] += _readings(rng, criterion)
        if rng.random() < (0.85 if target["decision"] == "guarded" else 0.2):
            where = criterion.get("scale") or criterion["unit"]
            stated.setdefault(criterion["quantity"], {})[where] = str(
                _place(criterion) * rng.randint(1, 12)
            )
    if stated:
        coupon["expanded_uncertainty"] = stated
    if rng.random() < 0.2:
        rng.shuffle(coupon["readings"])
    return CouponCase(coupon, {"name": "invented", "revision": "A", "entries": entries})


def _all_criteria(entry: dict) -> list[dict]:
    found = list(entry["criteria"])
    for criterion in entry["criteria"]:
        for zone in criterion.get("zones") or []:
            found += zone.get("also", [])
    return found


def _entries(rng: random.Random) -> list[dict]:
    """Entries that no coupon can fall between two of: thickness spans that only touch."""
    entries, edge = [], Decimal("0.80")
    first_included = True
    for _ in range(rng.randint(1, 3)):
        width = Decimal(rng.choice(["0.4", "5.55", "19.05"]))
        last_included = rng.random() < 0.5
        entries.append(
            {
                "alloy": "Q-77",
                "temper": "K1",
                "form": "plate",
                "thickness_mm": {
                    "from": str(edge),
                    "to": str(edge + width),
                    "from_included": first_included,
                    "to_included": last_included,
                },
                "surface": rng.choice([None, None, *SURFACES]),
                "decision": rng.choice(["simple", "simple", "guarded"]),
                "source": "invented for a comparison of two judges",
                "obtained": "from memory",
            }
        )
        edge, first_included = edge + width, not last_included
        entries[-1]["criteria"] = _criteria(rng, entries[-1]["decision"])
    return entries


def _thickness(rng: random.Random, span: dict) -> str:
    low, high = Decimal(span["from"]), Decimal(span["to"])
    tick = Decimal("0.001")
    near = [low, high, low - tick, low + tick, high - tick, high + tick]
    return str(rng.choice([*near, (low + high) / 2, (low + high) / 2, (low + high) / 2]))


def _criteria(rng: random.Random, decision: str) -> list[dict]:
    criteria = []
    for kind in rng.sample(
        ["hardness", "conductivity", "strength", "elongation"], rng.randint(1, 3)
    ):
        if kind == "conductivity" and decision == "simple" and rng.random() < 0.6:
            criteria.append(_zoned(rng))
        else:
            criteria.append(_plain(rng, kind))
    return criteria


def _plain(rng: random.Random, kind: str) -> dict:
    criterion: dict = {"quantity": kind}
    if kind == "hardness":
        criterion["scale"] = rng.choice(["HRB", "HBW", "HV"])
        middle = Decimal(rng.choice(["79", "80.0", "82.5", "79.50"]))
    elif kind == "conductivity":
        criterion["unit"] = rng.choice(["%IACS", "MS/m"])
        middle = Decimal("38.0") if criterion["unit"] == "%IACS" else Decimal("22.0")
    elif kind == "strength":
        criterion["quantity"] = rng.choice(STRENGTHS)
        criterion["unit"] = rng.choice(["ksi", "MPa"])
        middle = Decimal("67.9") if criterion["unit"] == "ksi" else Decimal("468")
    else:
        criterion["unit"] = "%"
        middle = Decimal("7.5")
    sides = rng.choice(["min", "max", "both"])
    criterion["min"] = None if sides == "max" else str(middle)
    place = Decimal((0, (1,), middle.as_tuple().exponent))
    criterion["max"] = None if sides == "min" else str(middle + place * rng.randint(0, 30))
    criterion["statistic"] = rng.choice(["each", "mean"])
    criterion["readings_min"] = rng.randint(1, 4)
    if rng.random() < 0.3:
        criterion["range_max"] = str(place * rng.randint(1, 5))
    criterion["rounding"] = rng.choice(["rounding", "rounding", "absolute"])
    if criterion["rounding"] == "rounding" and rng.random() < 0.2:
        criterion["resolution"] = str(rng.choice([place, place / 10, place / 2]))
    return criterion


def _zoned(rng: random.Random) -> dict:
    also = [{"quantity": "yield_strength", "unit": rng.choice(["ksi", "MPa"]), "max": "67.9"}]
    if also[0]["unit"] == "MPa":
        also[0]["max"] = "468"
    if rng.random() < 0.4:
        hardness = {"quantity": "hardness", "scale": "HRB", "min": "80.0"}
        if rng.random() < 0.5:
            hardness |= {"statistic": "mean", "readings_min": 2}
        also.append(hardness)
    middle = {"from": "38.0", "to": "39.9", "outcome": "accept_if", "also": also}
    ends = [{"to": "37.9", "outcome": "reject"}, {"from": "40.0", "outcome": "accept"}]
    if rng.random() < 0.3:
        ends[1] = {"from": "40.0", "to": "43.0", "outcome": "accept"}
        ends.append({"from": "43.1", "outcome": "reject"})
    return {
        "quantity": "conductivity",
        "unit": rng.choice(["%IACS", "%IACS", "MS/m"]),
        "statistic": rng.choice(["mean", "each"]),
        "readings_min": rng.randint(1, 3),
        "rounding": "rounding",
        "resolution": "0.1",
        "zones": [ends[0], middle, *ends[1:]],
    }


def _place(criterion: dict) -> Decimal:
    if criterion.get("zones"):
        return Decimal("0.1")
    limit = Decimal(criterion.get("min") or criterion.get("max"))
    return Decimal((0, (1,), limit.as_tuple().exponent))


def _readings(rng: random.Random, criterion: dict) -> list[dict]:
    place = _place(criterion)
    if criterion.get("zones"):
        limits = [Decimal(z[k]) for z in criterion["zones"] for k in ("from", "to") if z.get(k)]
    else:
        limits = [Decimal(criterion[k]) for k in ("min", "max") if criterion.get(k)]
    limit, readings = rng.choice(limits), []
    close = rng.random() < 0.8
    for _ in range(rng.choice([1, 2, 3, 3, 3, 4, 5])):
        tick = rng.choice(["0", "0.5", "-0.5", "0.49", "-0.51", "1", "-1", "1.5", "0.05", "-0.05"])
        value = limit + place * (Decimal(tick) if close else Decimal(rng.randint(-60, 60)) / 10)
        reading: dict = {"quantity": criterion["quantity"]}
        if criterion.get("scale"):
            reading["scale"] = criterion["scale"] if rng.random() < 0.95 else "HRE"
        else:
            reading["unit"] = criterion["unit"]
            value = _other_unit(rng, reading, value)
        reading["value"] = format(value, "f")
        if criterion["quantity"] == "conductivity":
            _conditions(rng, reading)
        readings.append(reading)
    return readings


def _other_unit(rng: random.Random, reading: dict, value: Decimal) -> Decimal:
    """Now and then the same figure in the other unit, exactly where its digits end."""
    if rng.random() > 0.1:
        return value
    if reading["unit"] == "%IACS":
        reading["unit"] = "MS/m"
        return value * Decimal("0.58")
    if reading["unit"] == "ksi":
        reading["unit"] = "MPa"
        return value * Decimal("6.894757293168")
    if reading["unit"] == "MS/m":
        reading["unit"] = "%IACS"
        return (value / Decimal("0.58")).quantize(Decimal("0.0001"))
    return value


def _conditions(rng: random.Random, reading: dict) -> None:
    if rng.random() < 0.4:
        reading["frequency_khz"] = rng.choice([60, "60", "480", "20.5"])
    if rng.random() < 0.4:
        reading["block_c"] = rng.choice(["20.0", 21])
        apart = Decimal(rng.choice(["0", "1.5", "3.0", "3.0", "3.1", "-3.0", "-3.01"]))
        reading["coupon_c"] = str(Decimal(str(reading["block_c"])) + apart)
