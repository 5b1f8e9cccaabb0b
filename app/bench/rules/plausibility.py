"""Figures that cannot be, or are unlikely, before they are recorded. Pure.

Bounds are the table's own where it states them; else they follow from its limits, so they move with
the alloy; without limits, from what the scale can show. They catch slips of the key and decide
nothing, and no sentence here names a limit: who measures blind reads it too.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import shown
from app.judging.units import PERCENT_IACS, UNITS, Quantity, conversion_factor
from app.judging.witness.acceptance import Criterion, Entry, Span
from app.judging.witness.coupons import all_criteria

_HARD = (Fraction(1, 2), Fraction(2))
"""A reading below half the lowest limit or above double the highest cannot be (our choice)."""
_SOFT = (Fraction(4, 5), Fraction(5, 4))
"""Outside four fifths to five quarters of the limits it is to be confirmed (our choice)."""
_ROOM_C = (Decimal(0), Decimal(50))
"""Temperatures in degC at which somebody measures (our choice)."""
_FARTHEST_CHECK = 10
"""A check reading this many permitted errors off is rather a slip of the key (our choice)."""

# What a scale can show, from memory of its definition: Rockwell HR = N - h / S with N 130 or 100;
# pure copper is near 100 %IACS and silver, the best conductor, near 106.
_ROCKWELL_130 = ("HRB", "HRE", "HRF", "HRH", "HRK")
_MOST = {PERCENT_IACS: Decimal(110), "MS/m": Decimal(64), "%": Decimal(100)}
_MOST_STRENGTH = {"MPa": Decimal(1500), "ksi": Decimal(220)}
_MOST_HARDNESS = Decimal(1000)


@dataclass(frozen=True, slots=True)
class Plausible:
    """Bounds of a figure, all included: outside ``least`` to ``most`` it cannot be."""

    unit: str
    least: Fraction
    most: Fraction
    usual_least: Fraction
    usual_most: Fraction
    zero_can_be: bool = False


def plausible_reading(quantity: Quantity, unit: str, entry: Entry | None) -> Plausible:
    """The bounds of a reading of ``quantity`` in ``unit`` on a coupon that ``entry`` is for."""
    derived = _derived(quantity, unit, entry)
    asked = asked_criteria(entry, quantity, unit) if entry is not None else []
    least, most = _widest(unit, [(each.possible, each.unit) for each in asked]) or (
        derived.least,
        derived.most,
    )
    usual_least, usual_most = _widest(unit, [(each.usual, each.unit) for each in asked]) or (
        derived.usual_least,
        derived.usual_most,
    )
    return Plausible(unit, least, most, usual_least, usual_most, derived.zero_can_be)


def _widest(
    unit: str, spans: Iterable[tuple[Span | None, str]]
) -> tuple[Fraction, Fraction] | None:
    """From the lowest to the highest end of the spans that are given, in ``unit``; or None."""
    ends = [
        Fraction(end) * factor
        for span, stated_in in spans
        if span is not None and (factor := conversion_factor(stated_in, to=unit)) is not None
        for end in span
    ]
    return (min(ends), max(ends)) if ends else None


def _derived(quantity: Quantity, unit: str, entry: Entry | None) -> Plausible:
    """The bounds that follow from the entry's limits, or from the scale."""
    shows = Fraction(_most_shown(quantity, unit))
    limits = list(_limits(quantity, unit, entry)) if entry is not None else []
    if quantity is Quantity.ELONGATION:
        # A brittle break has none: nothing from zero up is impossible.
        return Plausible(unit, Fraction(0), shows, Fraction(0), shows, zero_can_be=True)
    if not limits:
        return Plausible(unit, Fraction(0), shows, Fraction(0), shows)
    low, high = min(limits), max(limits)
    return Plausible(
        unit,
        low * _HARD[0],
        min(high * _HARD[1], shows),
        low * _SOFT[0],
        min(high * _SOFT[1], shows),
    )


def plausible_check(certified: Decimal, permitted_error: Decimal, unit: str) -> Plausible:
    """The bounds of a check reading on a block of that certified value."""
    value, reach = Fraction(certified), Fraction(permitted_error) * _FARTHEST_CHECK
    return Plausible(unit, value * _HARD[0], value * _HARD[1], value - reach, value + reach)


def why_impossible(value: Decimal, bounds: Plausible) -> str | None:
    """The sentence for a figure that cannot be, with the likely slip; None where it can."""
    above_zero = value > 0 or (value == 0 and bounds.zero_can_be)
    if above_zero and bounds.least <= value <= bounds.most:
        return None
    meant = _meant(value, bounds)
    remedy = f"did you mean {shown(meant)}?" if meant is not None else "read the tester again."
    return f"{shown(value)} {bounds.unit} cannot be: {remedy}"


def why_unlikely(value: Decimal, bounds: Plausible) -> str | None:
    """The sentence for a figure that is to be confirmed; None for a usual one."""
    if bounds.usual_least <= value <= bounds.usual_most:
        return None
    return f"{shown(value)} {bounds.unit} is unusual here: read the tester again."


def why_beyond_tester(
    value: Decimal, unit: str, tester: str, reach: tuple[Decimal | None, Decimal | None]
) -> str | None:
    """The sentence for a figure outside what the tester measures; None within, ends included.

    ``reach`` is the tester's range in ``unit``; an end it does not state is open.
    """
    least, most = reach
    below, above = least is not None and value < least, most is not None and value > most
    if not (below or above):
        return None
    spans = " ".join(
        word
        for word in (
            "" if least is None else f"from {shown(least)}",
            "" if most is None else f"to {shown(most)}",
        )
        if word
    )
    return (
        f"{shown(value)} {unit} lies outside what {tester} measures, {spans} {unit}: read it "
        "again, or measure with another tester."
    )


def why_no_room_temperature(value: Decimal) -> str | None:
    """The sentence for a temperature at which nobody measures; None for any other."""
    if _ROOM_C[0] <= value <= _ROOM_C[1]:
        return None
    return f"{shown(value)} degC cannot be: give degrees Celsius between 0 and 50."


def asked_criteria(entry: Entry, quantity: Quantity, unit: str) -> list[Criterion]:
    """The entry's criteria that a reading in ``unit`` can answer, those inside zones included."""
    return [
        criterion
        for criterion in all_criteria(entry.criteria)
        if criterion.quantity is quantity and conversion_factor(unit, to=criterion.unit) is not None
    ]


def readings_needed(entry: Entry | None, quantity: Quantity, unit: str) -> int:
    """How many counting readings the entry asks for; 1 where it asks for none."""
    asked = asked_criteria(entry, quantity, unit) if entry is not None else []
    return max((criterion.readings_min for criterion in asked), default=1)


def _most_shown(quantity: Quantity, unit: str) -> Decimal:
    if quantity is not Quantity.HARDNESS:
        return _MOST.get(unit) or _MOST_STRENGTH[unit]
    if unit.startswith(_ROCKWELL_130):
        return Decimal(130)
    return Decimal(100) if unit.startswith("HR") else _MOST_HARDNESS


def _limits(quantity: Quantity, unit: str, entry: Entry) -> Iterable[Fraction]:
    for criterion in asked_criteria(entry, quantity, unit):
        factor = conversion_factor(criterion.unit, to=unit)
        for limit in _stated(criterion):
            if factor is not None:
                yield Fraction(limit) * factor


def _stated(criterion: Criterion) -> Sequence[Decimal]:
    bounds = [criterion.minimum, criterion.maximum]
    bounds += [end for zone in criterion.zones for end in (zone.lower, zone.upper)]
    return [bound for bound in bounds if bound is not None]


def _meant(value: Decimal, bounds: Plausible) -> Decimal | None:
    """The same digits with the point elsewhere, where that would be a usual figure."""
    for places in (1, -1, 2, -2):
        moved = value.scaleb(places)
        if moved > 0 and bounds.usual_least < moved < bounds.usual_most:
            return moved
    return None


def known_unit(quantity: str, unit: str) -> bool:
    """Whether a quantity is measured in that scale or unit here."""
    return quantity in set(Quantity) and unit in UNITS[Quantity(quantity)]
