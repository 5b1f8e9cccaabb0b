"""Whether an acceptance table can be judged by at all. Pure.

Every refusal is one sentence that names the entry and the field.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import combinations, pairwise

from app.errors import Refusal
from app.judging.rounding import RoundingMethod, last_place, shown
from app.judging.units import Quantity, check_unit, conversion_factor
from app.judging.witness.acceptance import (
    INSTRUMENT_BUILDS,
    Criterion,
    DecisionRule,
    Entry,
    EntryKey,
    Span,
    Table,
    Zone,
    ZoneOutcome,
)


def check_table(table: Table) -> None:
    """Refuse a table that has a faulty entry, or two entries that could match the same coupon.

    Raises:
        Refusal: one sentence naming the entry and the field.
    """
    for field, text in (("name", table.name), ("revision", table.revision)):
        if not text.strip():
            raise Refusal(f"{field}: a table needs a {field}; give one.")
    if not table.entries:
        raise Refusal("entries: the table has none; give at least one.")
    for number, entry in enumerate(table.entries, start=1):
        _check_entry(entry, f"Entry {number} ({entry.key})")
    for (one, first), (other, second) in combinations(enumerate(table.entries, start=1), 2):
        if could_match_same_coupon(first.key, second.key):
            raise Refusal(
                f"Entries {one} ({first.key}) and {other} ({second.key}) could match the same "
                "coupon; make their thickness ranges or surfaces exclude each other."
            )


def could_match_same_coupon(one: EntryKey, other: EntryKey) -> bool:
    """True where some coupon would match both keys."""
    same_material = material(one) == material(other)
    surfaces = {one.surface, other.surface}
    return (
        same_material
        and (None in surfaces or len(surfaces) == 1)
        and one.thickness.overlaps(other.thickness)
    )


def material(key: EntryKey) -> tuple[str, str, str]:
    """Alloy, temper and form as compared: capitals and outer spaces make no difference."""
    return same_name(key.alloy), same_name(key.temper), same_name(key.form)


def same_name(name: str) -> str:
    """A name as compared with another."""
    return name.strip().casefold()


def _check_entry(entry: Entry, where: str) -> None:
    named = {
        "alloy": entry.key.alloy,
        "temper": entry.key.temper,
        "form": entry.key.form,
        "source": entry.source,
    }
    for field, text in named.items():
        if not text.strip():
            raise Refusal(f"{where}, {field}: nothing is given; fill it in.")
    _check_thickness(entry, where)
    if entry.retest is not None and entry.retest.further < 1:
        raise Refusal(f"{where}, retest, further: {entry.retest.further} must be at least 1.")
    if not entry.criteria:
        raise Refusal(f"{where}, criteria: there are none; give at least one.")
    for number, criterion in enumerate(entry.criteria, start=1):
        _check_criterion(criterion, entry, f"{where}, criterion {number}")
    _check_one_correction(entry, where)


def _check_one_correction(entry: Entry, where: str) -> None:
    """A reading is corrected once, so all criteria that may take it name the same table or none."""
    for one, other in combinations(all_criteria(entry.criteria), 2):
        same_readings = (
            one.quantity is other.quantity
            and conversion_factor(one.unit, to=other.unit) is not None
        )
        named = {same_name(criterion.correction or "") for criterion in (one, other)}
        if same_readings and len(named) > 1:
            raise Refusal(
                f"{where}, correction: two criteria of {one.quantity.words} in {one.unit} name "
                "different correction tables, or one of them none; give both the same."
            )


def all_criteria(criteria: Sequence[Criterion]) -> Iterator[Criterion]:
    """Every criterion, those inside zones included."""
    for criterion in criteria:
        yield criterion
        for zone in criterion.zones:
            yield from all_criteria(zone.also)


def _check_thickness(entry: Entry, where: str) -> None:
    thickness = entry.key.thickness
    if thickness.lower < 0 or thickness.is_empty():
        raise Refusal(
            f"{where}, thickness_mm: no thickness lies {thickness}; give a range from a smaller "
            "to a larger thickness."
        )
    if entry.depths_needed <= 0:
        raise Refusal(f"{where}, depths_needed: {shown(entry.depths_needed)} must be above zero.")


def _check_criterion(criterion: Criterion, entry: Entry, where: str) -> None:
    where = f"{where} ({criterion.quantity.words})"
    check_unit(criterion.quantity, criterion.unit, where=where)
    _check_limits(criterion, where)
    if criterion.source is not None and not criterion.source.strip():
        raise Refusal(f"{where}, source: nothing is given; fill it in or leave it out.")
    if criterion.readings_min < 1:
        raise Refusal(f"{where}, readings_min: {criterion.readings_min} must be at least 1.")
    if criterion.range_max is not None and criterion.range_max < 0:
        raise Refusal(f"{where}, range_max: {shown(criterion.range_max)} must not be below zero.")
    if criterion.resolution is not None and criterion.resolution <= 0:
        raise Refusal(f"{where}, resolution: {shown(criterion.resolution)} must be above zero.")
    _check_measuring(criterion, where)
    _check_spans(criterion, where)
    if criterion.zones:
        _check_zones(criterion, entry, where)


def _check_measuring(criterion: Criterion, where: str) -> None:
    """What is asked of instruments, standards and corrections can be asked of the quantity."""
    apart, correction = criterion.standards_apart, criterion.correction
    at_the_bench = {
        "instruments": bool(criterion.instruments),
        "standards_apart": apart is not None,
        "correction": correction is not None,
        "rise": criterion.rise is not None,
    }
    if criterion.quantity not in {Quantity.HARDNESS, Quantity.CONDUCTIVITY}:
        for field in (name for name, is_asked in at_the_bench.items() if is_asked):
            raise Refusal(
                f"{where}, {field}: only hardness and conductivity may have it; remove it."
            )
    for number, build in enumerate(criterion.instruments):
        if build not in INSTRUMENT_BUILDS or build in criterion.instruments[:number]:
            raise Refusal(
                f"{where}, instruments: {build!r} is unknown or stands there twice; give "
                f"{' or '.join(INSTRUMENT_BUILDS)}, each once."
            )
    if apart is not None and apart <= 0:
        raise Refusal(f"{where}, standards_apart: {shown(apart)} must be above zero.")
    if correction is not None and not correction.strip():
        raise Refusal(
            f"{where}, correction: nothing is given; give the code of a correction table or "
            "leave it out."
        )


def _check_spans(criterion: Criterion, where: str) -> None:
    possible, usual = criterion.possible, criterion.usual
    for field, span in (("possible", possible), ("usual", usual), ("rise", criterion.rise)):
        if span is not None and span[0] >= span[1]:
            raise Refusal(
                f"{where}, {field}: from {shown(span[0])} must be below to {shown(span[1])}; "
                "correct one of them."
            )
    if possible is None:
        return
    if possible[0] < 0:
        raise Refusal(f"{where}, possible: {shown(possible[0])} must not be below zero.")
    if usual is not None and not (_holds(possible, usual[0]) and _holds(possible, usual[1])):
        raise Refusal(
            f"{where}, usual: {_span(usual)} reaches outside what is possible, {_span(possible)}; "
            "correct one of them."
        )
    for limit in stated_limits(criterion):
        if not _holds(possible, limit):
            raise Refusal(
                f"{where}, possible: the limit {shown(limit)} lies outside {_span(possible)}; "
                "correct one of them."
            )


def stated_limits(criterion: Criterion) -> tuple[Decimal, ...]:
    """Minimum, maximum and the ends of zones, those that are given, in the criterion's unit."""
    ends = [end for zone in criterion.zones for end in (zone.lower, zone.upper)]
    given = (criterion.minimum, criterion.maximum, *ends)
    return tuple(limit for limit in given if limit is not None)


def _holds(span: Span, figure: Decimal) -> bool:
    return span[0] <= figure <= span[1]


def _span(span: Span) -> str:
    return f"{shown(span[0])} to {shown(span[1])}"


def _check_limits(criterion: Criterion, where: str) -> None:
    minimum, maximum = criterion.minimum, criterion.maximum
    if minimum is None and maximum is None and not criterion.zones:
        raise Refusal(f"{where}: it has no min, no max and no zones; give at least one of them.")
    if minimum is not None and maximum is not None and minimum > maximum:
        raise Refusal(
            f"{where}, min: {shown(minimum)} is above max, {shown(maximum)}; correct one of them."
        )


def _check_zones(criterion: Criterion, entry: Entry, where: str) -> None:
    if entry.decision is DecisionRule.GUARDED:
        raise Refusal(
            f"{where}, zones: a guarded entry cannot have zones; make it simple, or give min and "
            "max instead."
        )
    if criterion.rounding is RoundingMethod.ABSOLUTE:
        raise Refusal(
            f"{where}, rounding: zones are stated at a resolution and need the rounding method; "
            "set it to rounding."
        )
    for number, zone in enumerate(criterion.zones, start=1):
        _check_zone(zone, entry, f"{where}, zone {number} ({zone})")
    _check_zones_cover(criterion, where)


def _check_zone(zone: Zone, entry: Entry, where: str) -> None:
    if zone.lower is not None and zone.upper is not None and zone.lower > zone.upper:
        raise Refusal(f"{where}: from is above to; correct one of them.")
    if zone.outcome is ZoneOutcome.ACCEPT_IF and not zone.also:
        raise Refusal(f"{where}, also: accept_if needs at least one further criterion.")
    if zone.outcome is not ZoneOutcome.ACCEPT_IF and zone.also:
        raise Refusal(f"{where}, also: only accept_if may have further criteria; remove them.")
    for number, criterion in enumerate(zone.also, start=1):
        _check_criterion(criterion, entry, f"{where}, also {number}")


def _check_zones_cover(criterion: Criterion, where: str) -> None:
    """Every multiple of the resolution lies in exactly one zone."""
    step = zone_resolution(criterion)
    if step is None:
        raise Refusal(f"{where}, resolution: the zones are stated to different places; give one.")
    bounds = [bound for zone in criterion.zones for bound in (zone.lower, zone.upper)]
    for bound in bounds:
        if bound is not None and (Fraction(bound) / Fraction(step)).denominator != 1:
            raise Refusal(
                f"{where}, zones: {shown(bound)} is no multiple of the resolution {shown(step)}; "
                "state it to that step."
            )
    ordered = zones_in_order(criterion)
    if ordered[0].lower is not None:
        raise Refusal(f"{where}, zones: nothing covers values below {shown(ordered[0].lower)}.")
    if ordered[-1].upper is not None:
        raise Refusal(f"{where}, zones: nothing covers values above {shown(ordered[-1].upper)}.")
    for below, above in pairwise(ordered):
        _check_neighbours(below, above, step, where)


def _check_neighbours(below: Zone, above: Zone, step: Decimal, where: str) -> None:
    if below.upper is None or above.lower is None or above.lower <= below.upper:
        raise Refusal(f"{where}, zones: {below} and {above} overlap; correct their ends.")
    if Fraction(above.lower) - Fraction(below.upper) != Fraction(step):
        raise Refusal(
            f"{where}, zones: there is a gap between {below} and {above}; at a resolution of "
            f"{shown(step)} the upper zone starts one step above the lower one's end."
        )


def zone_resolution(criterion: Criterion) -> Decimal | None:
    """The step at which zones are read: as stated, or else the one last place all ends share.

    None where the ends are stated to different places. Zones without any end are read to 1.
    """
    if criterion.resolution is not None:
        return criterion.resolution
    ends = [end for zone in criterion.zones for end in (zone.lower, zone.upper) if end is not None]
    places = {last_place(end) for end in ends} or {Decimal(1)}
    return places.pop() if len(places) == 1 else None


def zones_in_order(criterion: Criterion) -> list[Zone]:
    """The zones from the lowest up."""
    return sorted(
        criterion.zones,
        key=lambda zone: (zone.lower is not None, zone.lower or Decimal(0)),
    )
