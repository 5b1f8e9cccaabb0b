"""A coupon and its readings as they are handed to judging. Pure.

Whoever hands a reading over has settled what judging cannot see: bench checks, calibration, voids
and corrections; what they found is in ``discounted`` and ``provisional``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import shown
from app.judging.units import Quantity, check_unit
from app.judging.witness.acceptance import Surface
from app.judging.witness.budget import Budget, check_budget
from app.judging.witness.indentation import Indentation
from app.judging.witness.indentation_scale import check_scale


@dataclass(frozen=True, slots=True)
class Addend:
    """One thing added to a reading, in its scale or unit, and where the figure comes from.

    ``table`` is the code of the correction table it was taken from; None: from no such table.
    """

    name: str
    value: Fraction | Decimal
    source: str = ""
    table: str | None = None


@dataclass(frozen=True, slots=True)
class Baseline:
    """What was read on the coupon before the furnace, without corrections. It decides nothing."""

    quantity: Quantity
    unit: str
    readings: tuple[Decimal, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading in a scale or unit, with the figures that say whether it counts.

    ``value`` is the figure as read; where ``indentation`` is given, the number computed from it is
    used instead, and ``value`` may be None. ``addends`` are the approved corrections, added in
    their order; nothing else is. ``step`` is the smallest step of the display; None: the last place
    of ``value``. ``discounted`` is why the reading does not count, as a phrase; ``provisional`` is
    true until the closing check. ``name`` is what a person knows it by.
    """

    quantity: Quantity
    unit: str
    value: Decimal | None = None
    indentation: Indentation | None = None
    addends: tuple[Addend, ...] = ()
    step: Decimal | None = None
    frequency_khz: Decimal | None = None
    coupon_c: Decimal | None = None
    block_c: Decimal | None = None
    discounted: str | None = None
    provisional: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Coupon:
    """The coupon's material and everything read on it.

    ``expanded_uncertainty`` is by quantity and scale or unit: U (k = 2) as a whole, or the budget
    it is combined from. ``spacing_confirmed`` is the inspector's tick that the method's spacing and
    edge rules were kept; None: nobody was asked.
    """

    alloy: str
    temper: str
    form: str
    thickness_mm: Decimal | None
    surface: Surface | None
    readings: tuple[Reading, ...]
    expanded_uncertainty: Mapping[tuple[Quantity, str], Decimal | Budget] = field(
        default_factory=dict
    )
    spacing_confirmed: bool | None = None
    baselines: tuple[Baseline, ...] = ()

    def __str__(self) -> str:
        thickness = (
            "no thickness" if self.thickness_mm is None else f"{shown(self.thickness_mm)} mm"
        )
        surface = "" if self.surface is None else f", {self.surface.value}"
        return f"{self.alloy} {self.temper} {self.form}, {thickness}{surface}"


def check_coupon(coupon: Coupon) -> None:
    """Refuse figures that no measurement can have given.

    Raises:
        Refusal: one sentence naming the reading and the field.
    """
    if coupon.thickness_mm is not None and coupon.thickness_mm <= 0:
        raise Refusal(f"thickness_mm: {shown(coupon.thickness_mm)} must be above zero.")
    for number, reading in enumerate(coupon.readings, start=1):
        _check_reading(reading, f"Reading {reading.name or number}")
    for (quantity, unit), expanded in coupon.expanded_uncertainty.items():
        where = f"expanded_uncertainty, {quantity}"
        check_unit(quantity, unit, where=where)
        if isinstance(expanded, Budget):
            check_budget(expanded, f"{where}, {unit}")
        elif expanded < 0:
            raise Refusal(f"{where}, {unit}: {shown(expanded)} must not be below zero.")
    for number, baseline in enumerate(coupon.baselines, start=1):
        _check_baseline(baseline, f"Baseline {number}")


def _check_baseline(baseline: Baseline, where: str) -> None:
    check_unit(baseline.quantity, baseline.unit, where=where)
    if not baseline.readings:
        raise Refusal(f"{where}, readings: there are none; give at least one.")
    for value in baseline.readings:
        if value <= 0:
            raise Refusal(f"{where}, readings: {shown(value)} must be above zero; read it again.")


def _check_reading(reading: Reading, where: str) -> None:
    check_unit(reading.quantity, reading.unit, where=where)
    if reading.value is None and reading.indentation is None:
        raise Refusal(f"{where}, value: nothing is given; give the figure as read.")
    if reading.indentation is not None and reading.quantity is not Quantity.HARDNESS:
        raise Refusal(f"{where}, indentation: only a hardness reading has one.")
    if reading.indentation is not None:
        check_scale(reading.unit, reading.indentation, where=f"{where}, indentation")
    lowest_included = reading.quantity is Quantity.ELONGATION
    if reading.value is not None and (
        reading.value < 0 or (reading.value == 0 and not lowest_included)
    ):
        limit = "not be below zero" if lowest_included else "be above zero"
        raise Refusal(
            f"{where}, value: {shown(reading.value)} {reading.unit} must {limit}; read it again."
        )
    if reading.frequency_khz is not None and reading.frequency_khz <= 0:
        raise Refusal(f"{where}, frequency_khz: {shown(reading.frequency_khz)} must be above zero.")
    if reading.step is not None and reading.step <= 0:
        raise Refusal(f"{where}, step: {shown(reading.step)} must be above zero.")
    for addend in reading.addends:
        if not addend.name.strip():
            raise Refusal(f"{where}, addends: one has no name; say what is added.")
