"""What is added to a reading: the tester's own correction, and a verified correction table. Pure.

Source: the judging rules, 3.2. Everything is exact; outside the points of either nothing is
guessed, and the reading does not count.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

from app.errors import Refusal
from app.judging.rounding import shown
from app.judging.units import Quantity, check_unit, conversion_factor
from app.judging.witness.acceptance import Obtained
from app.judging.witness.coupon import Addend

FEWEST_POINTS = 2


class CorrectionReason(StrEnum):
    """Why a reading on the coupon differs from one on a thick, flat, bare piece."""

    CURVATURE = "curvature"
    THICKNESS = "thickness"
    CLAD = "clad"


class Parameter(StrEnum):
    """The coupon's measure that the correction depends on beside the reading."""

    DIAMETER = "diameter_mm"
    THICKNESS = "thickness_mm"

    @property
    def words(self) -> str:
        """The measure as spoken: "diameter"."""
        return self.value.removesuffix("_mm")


@dataclass(frozen=True, slots=True)
class CorrectionTable:
    """Figures to be added, by reading and by a measure of the coupon, at one revision.

    ``additions`` has one row for each of ``readings`` and in it one figure for each of
    ``parameters`` (mm); without a ``parameter``, one figure a row. All but mm in ``unit``.
    """

    code: str
    name: str
    revision: str
    quantity: Quantity
    unit: str
    reason: CorrectionReason
    parameter: Parameter | None
    readings: tuple[Decimal, ...]
    parameters: tuple[Decimal, ...]
    additions: tuple[tuple[Decimal, ...], ...]
    source: str
    obtained: Obtained

    def __str__(self) -> str:
        return f"correction table {self.code} revision {self.revision}"


@dataclass(frozen=True, slots=True)
class InstrumentCorrection:
    """An accepted certificate's pairs (value read, to add), both in ``unit``, and its name."""

    points: tuple[tuple[Decimal, Decimal], ...]
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Corrections:
    """What is added to one reading, or why the reading does not count, as a phrase."""

    addends: tuple[Addend, ...] = ()
    why_not: str | None = None


def check_correction_table(table: CorrectionTable) -> None:
    """Refuse a table whose grid is not complete, or whose points do not rise.

    Raises:
        Refusal: one sentence naming the field.
    """
    named = {"code": table.code, "name": table.name, "revision": table.revision}
    for field, text in {**named, "source": table.source}.items():
        if not text.strip():
            raise Refusal(f"{field}: nothing is given; fill it in.")
    if table.quantity not in {Quantity.HARDNESS, Quantity.CONDUCTIVITY}:
        raise Refusal("quantity: only hardness and conductivity are corrected by a table.")
    check_unit(table.quantity, table.unit, where="unit")
    _check_parameter(table)
    if len(table.readings) < FEWEST_POINTS:
        raise Refusal("readings: give at least two, between which a correction can lie.")
    _check_rising("readings", table.readings)
    _check_rising("parameters", table.parameters)
    if len(table.additions) != len(table.readings):
        raise Refusal(
            f"additions: {len(table.additions)} rows for {len(table.readings)} readings; give one "
            "row for each reading."
        )
    wanted = len(table.parameters) or 1
    for reading, row in zip(table.readings, table.additions, strict=True):
        if len(row) != wanted:
            raise Refusal(
                f"additions, row of reading {shown(reading)}: {len(row)} figures where "
                f"{wanted} are needed; leave no place empty."
            )


def _check_parameter(table: CorrectionTable) -> None:
    permitted: dict[CorrectionReason, tuple[Parameter | None, ...]] = {
        CorrectionReason.CURVATURE: (Parameter.DIAMETER,),
        CorrectionReason.THICKNESS: (Parameter.THICKNESS,),
        CorrectionReason.CLAD: (Parameter.THICKNESS, None),
    }
    if table.parameter not in permitted[table.reason]:
        may = " or ".join(one.value if one else "none" for one in permitted[table.reason])
        raise Refusal(f"parameter: a correction for {table.reason.value} goes by {may}.")
    if (table.parameter is None) != (not table.parameters):
        says = "needs at least one figure" if table.parameter else "is given without a parameter"
        raise Refusal(f"parameters: the list {says}; correct one of the two.")


def _check_rising(field: str, figures: Sequence[Decimal]) -> None:
    if figures and figures[0] <= 0:
        raise Refusal(f"{field}: {shown(figures[0])} must be above zero.")
    for lower, upper in pairwise(figures):
        if upper <= lower:
            raise Refusal(
                f"{field}: {shown(upper)} stands after {shown(lower)}; each must be above the "
                "one before."
            )


def instrument_correction(
    points: Sequence[tuple[Decimal, Decimal]], reading: Fraction
) -> Fraction | None:
    """What is added at ``reading``, straight between the points; None outside them."""
    place = _place([point for point, _ in points], reading)
    if place is None:
        return None
    below, above, share = place
    return _between(points[below][1], points[above][1], share)


def correction_at(
    table: CorrectionTable, reading: Fraction, parameter: Decimal | None
) -> Fraction | None:
    """What the table adds at a reading in its unit, and at a measure of the coupon in mm.

    Straight between its points both ways (bilinear), points included; None outside them, and where
    the table goes by a measure that is not known.
    """
    rows = _place(table.readings, reading)
    if rows is None:
        return None
    if table.parameter is None:
        below, above, share = rows
        return _between(table.additions[below][0], table.additions[above][0], share)
    columns = None if parameter is None else _place(table.parameters, Fraction(parameter))
    if columns is None:
        return None
    left, right, across = columns
    below, above, share = rows
    first, last = table.additions[below], table.additions[above]
    return _between(
        _between(first[left], first[right], across),
        _between(last[left], last[right], across),
        share,
    )


def _place(points: Sequence[Decimal], wanted: Fraction) -> tuple[int, int, Fraction] | None:
    """Between which two points a figure lies, and how far on the way; None outside all of them."""
    if not points or not points[0] <= wanted <= points[-1]:
        return None
    above = next(number for number, point in enumerate(points) if wanted <= point)
    if points[above] == wanted:
        return above, above, Fraction(0)
    lower, upper = Fraction(points[above - 1]), Fraction(points[above])
    return above - 1, above, (wanted - lower) / (upper - lower)


def _between(lower: Decimal | Fraction, upper: Decimal | Fraction, share: Fraction) -> Fraction:
    return Fraction(lower) + (Fraction(upper) - Fraction(lower)) * share


def corrections_of(
    value: Fraction,
    unit: str,
    *,
    instrument: InstrumentCorrection | None,
    table: CorrectionTable | None,
    diameter_mm: Decimal | None,
    thickness_mm: Decimal | None,
) -> Corrections:
    """What is added to a reading: first for the tester, then by the table at the value so far.

    ``value`` is as read, or from the indentation, in ``unit``. None stands for a tester without
    corrections, and for a criterion that names no table.
    """
    addends: list[Addend] = []
    if instrument is not None:
        factor = conversion_factor(unit, to=instrument.unit)
        added = instrument_correction(instrument.points, value * factor) if factor else None
        if factor is None or added is None:
            reason = f"{shown(value)} {unit} lies outside the tester's corrections"
            return Corrections(why_not=f"{reason} ({instrument.source})")
        addends.append(Addend("instrument correction", added / factor, instrument.source))
        value += added / factor
    if table is None:
        return Corrections(tuple(addends))
    measure = diameter_mm if table.parameter is Parameter.DIAMETER else thickness_mm
    factor = conversion_factor(unit, to=table.unit)
    added = correction_at(table, value * factor, measure) if factor else None
    if factor is None or added is None:
        return Corrections(why_not=_why_outside(table, value, unit, measure))
    name = f"correction for {table.reason.value}"
    addends.append(Addend(name, added / factor, str(table), table.code))
    return Corrections(tuple(addends))


def _why_outside(
    table: CorrectionTable, value: Fraction, unit: str, measure: Decimal | None
) -> str:
    if conversion_factor(unit, to=table.unit) is None:
        return f"{table} is for {table.unit}, and the reading is in {unit}"
    if table.parameter is not None and measure is None:
        return f"{table} goes by {table.parameter.words}, and the coupon has none on record"
    at = "" if table.parameter is None or measure is None else f" on {shown(measure)} mm"
    return f"{shown(value)} {unit}{at} lies outside {table}"
