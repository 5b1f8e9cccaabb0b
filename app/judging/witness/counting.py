"""Which readings of a coupon count, and why the others do not. Pure.

Source: the judging rules, 3.2. A reading that does not count is listed with its reason, never lost.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import mean, shown, shown_working
from app.judging.units import MS_PER_M, Quantity, convert
from app.judging.verdict import Finding, Outcome
from app.judging.witness.coupon import Coupon, Reading
from app.judging.witness.eddy_current import temperatures_too_far_apart, too_thin
from app.judging.witness.indentation import hardness_number


@dataclass(frozen=True, slots=True)
class Measured:
    """A reading with its exact, corrected value in its own scale or unit, and how it came about."""

    reading: Reading
    label: str
    value: Fraction
    working: tuple[str, ...]
    as_read: Fraction = Fraction(0)

    @property
    def text(self) -> str:
        """The value as entered, digit for digit, where nothing was computed or corrected."""
        reading = self.reading
        untouched = reading.indentation is None and not reading.addends
        if untouched and reading.value is not None:
            return shown(reading.value)
        return shown(self.value)


def measured(reading: Reading, number: int) -> Measured:
    """The reading's value: as read, or computed from the indentation; then what is added to it.

    Each addend is a line of working of its own.

    ``number`` counts from 1 and names a reading that has no name of its own.

    Raises:
        Refusal: the raw indentation cannot give a number.
    """
    label = reading.name or f"reading {number}"
    lines = []
    value = Fraction(reading.value or 0)
    text = shown(reading.value or value)
    if reading.value is not None:
        lines.append(f"{label}: {shown(reading.value)} {reading.unit} as entered")
    if reading.indentation is not None:
        computed = hardness_number(reading.indentation)
        value, text = computed.value, shown_working(computed.value)
        lines.append(f"{label}: from the indentation, {computed.working} {reading.unit}")
    as_read = value
    for addend in reading.addends:
        corrected = value + Fraction(addend.value)
        source = f" ({addend.source})" if addend.source else ""
        lines.append(
            f"{label}: {addend.name} {text} + ({shown_working(addend.value)}) = "
            f"{shown_working(corrected)} {reading.unit}{source}"
        )
        value, text = corrected, shown_working(corrected)
    return Measured(reading, label, value, tuple(lines), as_read)


def count_readings(
    coupon: Coupon, *, depths_needed: Decimal
) -> tuple[tuple[Measured, ...], tuple[Finding, ...]]:
    """The readings that count, in the order taken, and a note for each that does not.

    The depth of penetration is computed from the mean of all conductivity readings that nobody has
    discounted. ``depths_needed`` is the least thickness in standard depths.
    """
    taken = [measured(reading, number) for number, reading in enumerate(coupon.readings, start=1)]
    conductivity = _mean_conductivity(taken)
    counted, notes = [], []
    for one in taken:
        reason, line = _why_not(one, coupon, conductivity, depths_needed)
        working = one.working if line is None else (*one.working, f"{one.label}: {line}")
        judged = replace(one, working=working)
        if reason is None:
            counted.append(judged)
        else:
            notes.append(_not_counted(judged, reason))
    return tuple(counted), tuple(notes)


def _mean_conductivity(taken: list[Measured]) -> Fraction | None:
    """The mean in MS/m of the readings nobody has discounted; None where there are none above 0."""
    values = tuple(
        convert(one.value, one.reading.unit, to=MS_PER_M)
        for one in taken
        if one.reading.quantity is Quantity.CONDUCTIVITY and one.reading.discounted is None
    )
    if not values or mean(values) <= 0:
        return None
    return mean(values)


def _why_not(
    one: Measured, coupon: Coupon, conductivity: Fraction | None, depths_needed: Decimal
) -> tuple[str | None, str | None]:
    """The reason a reading does not count (None where it does), and a line of working."""
    reading = one.reading
    if reading.discounted is not None:
        return reading.discounted, None
    if reading.quantity is Quantity.HARDNESS and coupon.spacing_confirmed is False:
        return "the spacing and edge rules of the method were not confirmed", None
    if reading.quantity is not Quantity.CONDUCTIVITY:
        return None, None
    if reading.coupon_c is not None and reading.block_c is not None:
        reason = temperatures_too_far_apart(reading.coupon_c, reading.block_c)
        if reason is not None:
            return reason, None
    if coupon.thickness_mm is None or reading.frequency_khz is None or conductivity is None:
        return None, None
    return too_thin(coupon.thickness_mm, conductivity, reading.frequency_khz, depths_needed)


def _not_counted(one: Measured, reason: str) -> Finding:
    reading = one.reading
    return Finding(
        code="reading.not_counted",
        outcome=Outcome.NOTE,
        text=(
            f"{one.label[0].upper()}{one.label[1:]}, {reading.quantity.words} {one.text} "
            f"{reading.unit}, does not count: {reason}."
        ),
        value=one.text,
        unit=reading.unit,
        working=one.working,
    )
