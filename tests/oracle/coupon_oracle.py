"""Judge a coupon exactly and slowly from its paper and the table's paper.

Written from the judging rules, sections 2 and 3, alone; it shares no code with the program.
Fractions throughout; only the depth of penetration, which holds pi and a root, is binary, and a
case that comes near its limit is called unsure.
"""

import math
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

CONFORMS, FAILS, UNPROVEN = "conforms", "does_not_conform", "not_proven"
IACS = Fraction(58, 100)  # MS/m of 1 %IACS (IEC 60028, by section 2)
KSI = Fraction("6.894757293168")  # MPa of 1 ksi (section 2)
IN_BASE = {"%IACS": IACS, "MS/m": Fraction(1), "ksi": KSI, "MPa": Fraction(1)}
DEPTHS = 2.6  # standard depths of penetration (3.2)
MU_0 = 4e-7 * math.pi


@dataclass
class CouponTruth:
    """What the rules say: the verdict, one outcome a criterion, and what binary could turn."""

    verdict: str
    entry: dict | None = None
    outcomes: list[str] = field(default_factory=list)
    uncounted: int = 0
    refused: bool = False  # more than one entry matches: bad input, not a verdict
    unsure: bool = False


def judge(coupon: dict, table: dict) -> CouponTruth:
    """The exact verdict on the coupon under the table."""
    entries = [entry for entry in table["entries"] if matches(entry, coupon)]
    if len(entries) > 1:
        return CouponTruth(UNPROVEN, refused=True)
    if not entries:
        return CouponTruth(UNPROVEN)
    entry = entries[0]
    counting, unsure = _counting(coupon, entry)
    outcomes = [_criterion(c, counting, entry, coupon) for c in entry["criteria"]]
    uncounted = len(coupon["readings"]) - len(counting)
    return CouponTruth(worst(outcomes), entry, outcomes, uncounted, unsure=unsure)


def worst(outcomes: list[str]) -> str:
    if FAILS in outcomes:
        return FAILS
    return UNPROVEN if UNPROVEN in outcomes or not outcomes else CONFORMS


@lru_cache(maxsize=10_000)
def number(written: object) -> Fraction:
    """A figure exactly as it is written."""
    return Fraction(str(written))


def matches(entry: dict, coupon: dict) -> bool:
    if any(entry[key] != coupon[key] for key in ("alloy", "temper", "form")):
        return False
    if entry.get("surface") is not None and entry["surface"] != coupon.get("surface"):
        return False
    if coupon.get("thickness_mm") is None:
        return False
    thickness, span = number(coupon["thickness_mm"]), entry["thickness_mm"]
    low, high = number(span["from"]), number(span["to"])
    above = thickness >= low if span["from_included"] else thickness > low
    below = thickness <= high if span["to_included"] else thickness < high
    return above and below


def in_unit(value: Fraction, written_in: str | None, wanted: str | None) -> Fraction | None:
    """``value`` in the criterion's scale or unit; None where it cannot be told there."""
    if written_in == wanted:
        return value
    electrical, strengths = {"%IACS", "MS/m"}, {"ksi", "MPa"}
    if {written_in, wanted} in (electrical, strengths):
        return value * IN_BASE[written_in] / IN_BASE[wanted]
    return None


def _counting(coupon: dict, entry: dict) -> tuple[list[dict], bool]:
    near = [r for r in coupon["readings"] if _near_its_block(r)]
    conductivity = [
        in_unit(number(r["value"]), r["unit"], "MS/m")
        for r in near
        if r["quantity"] == "conductivity"
    ]
    if not conductivity:
        return near, False
    everything = [
        in_unit(number(r["value"]), r["unit"], "MS/m")
        for r in coupon["readings"]
        if r["quantity"] == "conductivity"
    ]
    kept, unsure = [], False
    for reading in near:
        ratio = _depth_ratio(reading, coupon, conductivity)
        if ratio is None:
            kept.append(reading)
            continue
        # whether a reading that its temperature rules out belongs to the mean is left open
        other = _depth_ratio(reading, coupon, everything)
        unsure |= (other >= DEPTHS) != (ratio >= DEPTHS) or abs(ratio - DEPTHS) < 1e-9
        if ratio >= DEPTHS:
            kept.append(reading)
    return kept, unsure


def _near_its_block(reading: dict) -> bool:
    """Coupon and block within 3 degC, ends included, when both are given (3.2)."""
    if reading["quantity"] != "conductivity":
        return True
    if reading.get("coupon_c") is None or reading.get("block_c") is None:
        return True
    return abs(number(reading["coupon_c"]) - number(reading["block_c"])) <= 3


def _depth_ratio(reading: dict, coupon: dict, conductivity: list[Fraction]) -> float | None:
    frequency, thickness = reading.get("frequency_khz"), coupon.get("thickness_mm")
    if reading["quantity"] != "conductivity" or frequency is None or thickness is None:
        return None
    sigma = float(sum(conductivity) / len(conductivity)) * 1e6
    depth = math.sqrt(1 / (sigma * math.pi * float(frequency) * 1000 * MU_0))
    return float(thickness) / 1000 / depth


def _values(criterion: dict, counting: list[dict]) -> list[Fraction]:
    wanted = criterion.get("scale") or criterion.get("unit")
    values = []
    for reading in counting:
        if reading["quantity"] == criterion["quantity"]:
            written_in = reading.get("scale") or reading.get("unit")
            value = in_unit(number(reading["value"]), written_in, wanted)
            if value is not None:
                values.append(value)
    return values


def _criterion(criterion: dict, counting: list[dict], entry: dict, coupon: dict) -> str:
    values = _values(criterion, counting)
    if not values or len(values) < int(criterion.get("readings_min") or 1):
        return UNPROVEN
    widest = criterion.get("range_max")
    if widest is not None and max(values) - min(values) > number(widest):
        return UNPROVEN
    if criterion.get("statistic", "each") == "mean":
        values = [sum(values, Fraction(0)) / len(values)]
    if criterion.get("zones"):
        return worst([_zone(criterion, value, counting, entry, coupon) for value in values])
    if entry.get("decision", "simple") == "guarded":
        return worst([_guarded(criterion, value, coupon) for value in values])
    return worst([_simple(criterion, value) for value in values])


def rounded(value: Fraction, place: Fraction) -> Fraction:
    """To a multiple of ``place``, ties to even (fractions round so)."""
    return round(value / place) * place


def place_of(criterion: dict, limit: object) -> Fraction:
    if criterion.get("resolution") is not None:
        return number(criterion["resolution"])
    return Fraction(10) ** Decimal(str(limit)).as_tuple().exponent


def _simple(criterion: dict, value: Fraction) -> str:
    met = True
    for key in ("min", "max"):
        limit = criterion.get(key)
        if limit is None:
            continue
        told = value
        if criterion.get("rounding", "rounding") == "rounding":
            told = rounded(value, place_of(criterion, limit))
        met &= told >= number(limit) if key == "min" else told <= number(limit)
    return CONFORMS if met else FAILS


def _zone(criterion: dict, value: Fraction, counting: list[dict], entry: dict, coupon: dict) -> str:
    bounds = [z[k] for z in criterion["zones"] for k in ("from", "to") if z.get(k) is not None]
    told = rounded(value, place_of(criterion, bounds[0]))
    for zone in criterion["zones"]:
        if zone.get("from") is not None and told < number(zone["from"]):
            continue
        if zone.get("to") is not None and told > number(zone["to"]):
            continue
        if zone["outcome"] == "accept":
            return CONFORMS
        if zone["outcome"] == "reject":
            return FAILS
        return worst([_criterion(also, counting, entry, coupon) for also in zone["also"]])
    raise AssertionError(f"{told} lies in no zone: the generator made a bad table")


def _guarded(criterion: dict, value: Fraction, coupon: dict) -> str:
    """3.3 point 5: no rounding; between the limit and limit moved by U nothing is proven."""
    wanted = criterion.get("scale") or criterion.get("unit")
    known = (coupon.get("expanded_uncertainty") or {}).get(criterion["quantity"]) or {}
    converted = [in_unit(number(known[unit]), unit, wanted) for unit in known if unit != wanted]
    stated = [number(known[wanted])] if wanted in known else [u for u in converted if u is not None]
    if not stated:
        return UNPROVEN
    uncertainty, found = stated[0], []
    for key, sign in (("min", 1), ("max", -1)):
        if criterion.get(key) is not None:
            margin = (value - number(criterion[key])) * sign
            found.append(CONFORMS if margin >= uncertainty else FAILS if margin < 0 else UNPROVEN)
    return worst(found)
