"""Which readings count, and what each is worth after its corrections (3.2), slowly and apart."""

import math
from dataclasses import dataclass
from fractions import Fraction

from .bench_case import MINUTES_OF_A_DAY, ZONE_MINUTES, BenchCase, Desk, Taken
from .bench_figures import bracketed, hardness, instrument_adds, paper_of, table_adds
from .coupon_oracle import DEPTHS, MU_0, in_unit, number

FEW_DEPTHS = 1e-9  # nearer to the depths needed, a binary figure decides nothing here


@dataclass(slots=True)
class Counted:
    """A reading that counts: its value as read and corrected, in its own unit."""

    reading: Taken
    day: int
    as_read: Fraction
    value: Fraction
    exact: bool
    provisional: bool


def unit_of(criterion: dict) -> str:
    return criterion.get("scale") or criterion["unit"]


def every_criterion(entry: dict | None) -> list[dict]:
    """The entry's criteria and those of its zones."""
    found = []
    for criterion in entry["criteria"] if entry else []:
        found.append(criterion)
        for zone in criterion.get("zones") or []:
            found += zone.get("also", [])
    return found


def counted(
    case: BenchCase, entry: dict | None, readings: list[Taken], branches: set[str]
) -> tuple[list[Counted], bool]:
    """Those that count, in order, and whether binary arithmetic could turn one."""
    return _deep_enough(case, entry, settled(case, entry, readings, branches), branches)


def settled(
    case: BenchCase, entry: dict | None, readings: list[Taken], branches: set[str]
) -> list[Counted]:
    """Those that count as far as the bench can tell: before temperatures and depth."""
    kept = []
    for reading in readings:
        one, why = _worth(case, entry, reading)
        branches.add(why)
        if one is None:
            continue
        kept.append(one)
        if reading.sizes is not None:
            branches.add(f"sizes of {reading.sizes[0]}")
        if reading.late:
            branches.add("late")
    return kept


def _worth(case: BenchCase, entry: dict | None, reading: Taken) -> tuple[Counted | None, str]:
    """The reading with its value, or None and the rule that stands in the way."""
    day = (reading.minute + ZONE_MINUTES) // MINUTES_OF_A_DAY
    desk = case.desks[reading.desk] if reading.desk is not None else None
    why = _why_discounted(case, reading)
    if desk is not None and not why:
        why = _why_not_at(desk, reading, day)
    if why:
        return None, why
    as_read, exact = number(reading.value), True
    if reading.sizes is not None:
        as_read, exact = hardness(reading.sizes)
    if desk is None:
        return Counted(reading, day, as_read, as_read, exact, provisional=False), "counts"
    value, why = _corrected(case, entry, reading, day, as_read)
    if value is None:
        return None, why
    _, provisional = bracketed(desk, reading.minute)
    why = why or ("counts provisionally" if provisional else "counts")
    return Counted(reading, day, as_read, value, exact, provisional), why


def _why_not_at(desk: Desk, reading: Taken, day: int) -> str:
    """What at the session stands in the way of a reading."""
    if paper_of(desk.papers, day) is None:
        return "not in calibration"
    if not bracketed(desk, reading.minute)[0]:
        return "not between good checks"
    # Also where no temperature is given: the rules are read so, on the safe side.
    named = reading.quantity == "conductivity" and desk.thermometer is not None
    return "thermometer" if named and paper_of(desk.thermometer, day) is None else ""


def _corrected(
    case: BenchCase, entry: dict | None, reading: Taken, day: int, value: Fraction
) -> tuple[Fraction | None, str]:
    """The value with what is added to it (3.2.2), or None; and the rule that it went by."""
    why = ""
    paper = paper_of(case.desks[reading.desk].papers, day)
    if paper.corrections:
        added = instrument_adds(paper, value)
        if added is None:
            return None, "outside the instrument's correction"
        value, why = value + added, "instrument's correction"
    code = _correction_named(entry, reading)
    if code is not None:
        added = _from_table(case, code, reading, value)
        if added is None:
            return None, "outside the correction table"
        value, why = value + added, f"correction table by {_goes_by(case, code)}"
    return value, why


def _why_discounted(case: BenchCase, reading: Taken) -> str:
    if reading.voided:
        return "voided"
    if reading.replaced:
        return "replaced"
    if reading.again is not None and case.retest is not None:
        if reading.quantity not in case.retest.quantities:
            return "outside the plan"
        if case.retest.by_another and reading.by in case.retest.not_by:
            return "the same person again"
    if reading.spacing is False and reading.quantity == "hardness":
        return "spacing not confirmed"
    return ""


def _correction_named(entry: dict | None, reading: Taken) -> str | None:
    for criterion in every_criterion(entry):
        named = criterion["quantity"] == reading.quantity and criterion.get("correction")
        if named and in_unit(Fraction(1), reading.unit, unit_of(criterion)) is not None:
            return criterion["correction"]
    return None


def _from_table(case: BenchCase, code: str, reading: Taken, value: Fraction) -> Fraction | None:
    """3.2.2, point 2: in the table's unit, and back."""
    for table in case.tables:
        ended = table.until is not None and reading.minute >= table.until
        if table.code != code or reading.minute < table.since or ended:
            continue
        there = in_unit(value, reading.unit, table.unit)
        if there is None:
            return None
        measure = {"diameter": case.diameter, "thickness": case.thickness}.get(table.by or "")
        added = table_adds(table, there, measure)
        return None if added is None else in_unit(added, table.unit, reading.unit)
    return None


def _goes_by(case: BenchCase, code: str) -> str:
    return next(table.by for table in case.tables if table.code == code) or "reading alone"


def _deep_enough(
    case: BenchCase, entry: dict | None, kept: list[Counted], branches: set[str]
) -> tuple[list[Counted], bool]:
    """Temperatures and depth of penetration (3.2), of conductivity alone."""
    near = []
    for one in kept:
        if _near_its_block(one.reading):
            near.append(one)
        else:
            branches.add("temperatures apart")
    electrical = [one for one in kept if one.reading.quantity == "conductivity"]
    needed = float((entry or {}).get("depths_needed") or DEPTHS)
    thickness = float(number(case.thickness))
    found, unsure = [], False
    for one in near:
        if one.reading.quantity == "conductivity" and one.reading.khz is not None:
            # Whether the mean is of corrected readings, and of those whose temperatures rule them
            # out, the rules leave open: where it would tell, the case is left out.
            lots = (electrical, [e for e in near if e in electrical])
            ratios = [
                _depths(lot, one.reading.khz, thickness, corrected=corrected)
                for lot in lots
                for corrected in (True, False)
            ]
            enough = {ratio >= needed for ratio in ratios}
            unsure |= len(enough) > 1 or any(abs(r - needed) < FEW_DEPTHS for r in ratios)
            branches.add(f"depth {'enough' if ratios[0] >= needed else 'too little'}")
            if ratios[0] < needed:
                continue
        found.append(one)
    return found, unsure


def _near_its_block(reading: Taken) -> bool:
    if reading.quantity != "conductivity" or None in (reading.coupon_c, reading.block_c):
        return True
    return abs(number(reading.coupon_c) - number(reading.block_c)) <= 3


def _depths(lot: list[Counted], khz: str, thickness: float, *, corrected: bool) -> float:
    """Thickness in standard depths at the lot's mean conductivity."""
    values = [
        in_unit(one.value if corrected else one.as_read, one.reading.unit, "MS/m") for one in lot
    ]
    sigma = float(sum(values, Fraction(0)) / len(values)) * 1e6
    depth = math.sqrt(1 / (sigma * math.pi * float(khz) * 1000 * MU_0))
    return thickness / 1000 / depth
