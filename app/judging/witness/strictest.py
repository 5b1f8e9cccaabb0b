"""Two acceptance tables as one paper in which the stricter of both holds. Pure.

Source: the judging rules, 3.1. A coupon that conforms under the composed table conforms under both.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import RoundingMethod, shown
from app.judging.witness.acceptance import (
    Criterion,
    DecisionRule,
    Entry,
    EntryKey,
    RetestRule,
    Surface,
    Table,
    ThicknessRange,
)
from app.judging.witness.acceptance_checks import all_criteria, check_table, material
from app.judging.witness.stricter_criteria import LEAST_TRUSTED, as_one, both

_Cut = tuple[Decimal, int]
"""Where a range is cut: just before a thickness (0) or just after it (1)."""


@dataclass(frozen=True, slots=True)
class Layer:
    """A table and what it is called in the sources of the values that come from it.

    One without a name has its layers named in its sources already.
    """

    name: str
    table: Table


@dataclass(frozen=True, slots=True)
class Composed:
    """The composed table, and the entries of the extra layer that the base has nothing for."""

    table: Table
    left_out: tuple[EntryKey, ...]


def compose(base: Layer, extra: Layer, *, name: str, revision: str) -> Composed:
    """The base's entries with the extra's demands where both speak of the same coupons.

    Every value's source names its layer. An entry that only the extra has is left out: a coupon
    for which the base has none cannot conform under it.

    Raises:
        Refusal: the two cannot hold at once in one paper; one sentence says where and why.
    """
    entries = []
    for one in base.table.entries:
        for key, other in _pieces(one.key, extra.table.entries):
            where = str(key)
            kept = named_entry(one, base.name)
            if other is not None:
                kept = stricter(kept, named_entry(other, extra.name), where=where)
            entries.append(replace(kept, key=key))
    blind = base.table.blind or extra.table.blind
    composed = Table(name, revision, tuple(entries), blind)
    try:
        check_table(composed)
    except Refusal as refusal:
        raise Refusal(f"The two cannot be composed: {refusal.sentence}") from refusal
    met = [one.key for one in base.table.entries]
    left_out = [
        other.key
        for other in extra.table.entries
        if not any(_same_coupons(key, other.key) for key in met)
    ]
    return Composed(composed, tuple(left_out))


def named_entry(entry: Entry, layer: str) -> Entry:
    """The entry with the layer's name, where it has one, in front of every source."""
    opening = f"{layer}: " if layer else ""

    def told(criterion: Criterion) -> Criterion:
        return replace(
            criterion,
            source=f"{opening}{criterion.source or entry.source}",
            obtained=criterion.obtained or entry.obtained,
            zones=tuple(
                replace(zone, also=tuple(told(also) for also in zone.also))
                for zone in criterion.zones
            ),
        )

    criteria = tuple(told(criterion) for criterion in entry.criteria)
    return replace(entry, criteria=criteria, source=f"{opening}{entry.source}")


def stricter(one: Entry, other: Entry, *, where: str) -> Entry:
    """One entry that asks what both ask; its key is the first one's.

    Raises:
        Refusal: the two cannot hold at once.
    """
    _check_rounding(one, other, where)
    guarded = DecisionRule.GUARDED in {one.decision, other.decision}
    return replace(
        one,
        criteria=both(one.criteria, other.criteria, where=where),
        source=one.source if other.source == one.source else f"{one.source}; {other.source}",
        obtained=max(one.obtained, other.obtained, key=LEAST_TRUSTED.index),
        decision=DecisionRule.GUARDED if guarded else DecisionRule.SIMPLE,
        retest=_retest(one.retest, other.retest, where),
        depths_needed=max(one.depths_needed, other.depths_needed),
    )


def is_as_strict(entry: Entry, extra: Entry) -> bool:
    """Whether an entry asks already all that an extra one asks of the same coupon.

    Raises:
        Refusal: the two cannot hold at once.
    """
    together = stricter(entry, extra, where=str(entry.key))
    return (
        [as_one(one) for one in together.criteria] == [as_one(one) for one in entry.criteria]
        and together.decision is entry.decision
        and together.retest == entry.retest
        and together.depths_needed == entry.depths_needed
    )


def _same_coupons(one: EntryKey, other: EntryKey) -> bool:
    surfaces = {one.surface, other.surface}
    return (
        material(one) == material(other)
        and (None in surfaces or len(surfaces) == 1)
        and one.thickness.overlaps(other.thickness)
    )


def _pieces(key: EntryKey, others: Sequence[Entry]) -> Iterator[tuple[EntryKey, Entry | None]]:
    """The key cut where other entries begin and end, each piece with the one that covers it."""
    met = [other for other in others if _same_coupons(key, other.key)]
    surfaces: Sequence[Surface | None] = (key.surface,)
    if key.surface is None and any(other.key.surface is not None for other in met):
        surfaces = tuple(Surface)
    for surface in surfaces:
        on_it = [other for other in met if other.key.surface in {None, surface}]
        for thickness, covering in _ranges(key.thickness, on_it):
            yield replace(key, thickness=thickness, surface=surface), covering


def _ranges(
    whole: ThicknessRange, others: Sequence[Entry]
) -> Iterator[tuple[ThicknessRange, Entry | None]]:
    """A range from its lower end up, in as few pieces as the others' ends allow."""
    begin, end = _cuts(whole)
    spans = sorted(((_cuts(other.key.thickness), other) for other in others), key=lambda on: on[0])
    for (lower, upper), other in spans:
        if begin < lower:
            yield _range(begin, lower), None
        begin = max(begin, lower)
        yield _range(begin, min(upper, end)), other
        begin = min(upper, end)
    if begin < end:
        yield _range(begin, end), None


def _cuts(thickness: ThicknessRange) -> tuple[_Cut, _Cut]:
    lower = (thickness.lower, 0 if thickness.lower_included else 1)
    return lower, (thickness.upper, 1 if thickness.upper_included else 0)


def _range(begin: _Cut, end: _Cut) -> ThicknessRange:
    return ThicknessRange(begin[0], end[0], begin[1] == 0, end[1] == 1)


def _retest(one: RetestRule | None, other: RetestRule | None, where: str) -> RetestRule | None:
    """No retest over a retest, more further ones over fewer.

    Raises:
        Refusal: one repeats coupons, the other sets of readings.
    """
    if one is None or other is None:
        return None
    if one.of is not other.of:
        raise Refusal(
            f"{where}: one table's retest is of {one.of.value}, the other's of {other.of.value}, "
            "and neither is stricter; write the table of this order by hand."
        )
    further = max(one.further, other.further)
    return RetestRule(further, one.of, by_another=one.by_another or other.by_another)


def _check_rounding(one: Entry, other: Entry, where: str) -> None:
    """A guarded decision does not round; a limit between two steps would then be looser."""
    if one.decision is other.decision:
        return
    simple = one if one.decision is DecisionRule.SIMPLE else other
    for criterion in all_criteria(simple.criteria):
        step = criterion.resolution
        if step is None or criterion.rounding is RoundingMethod.ABSOLUTE:
            continue
        for limit in (criterion.minimum, criterion.maximum):
            if limit is not None and (Fraction(limit) / Fraction(step)).denominator != 1:
                raise Refusal(
                    f"{where}: one table is guarded, and the limit {shown(limit)} of the other is "
                    f"no multiple of its step {shown(step)}, so that neither is stricter; write "
                    "the table of this order by hand."
                )
