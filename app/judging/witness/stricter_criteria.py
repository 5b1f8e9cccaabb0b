"""The criteria of two entries as one list that asks what both ask. Pure.

Where one criterion can say both, it does; where it cannot, both stand, and both must be met.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.errors import Refusal
from app.judging.rounding import RoundingMethod, last_place, shown
from app.judging.witness.acceptance import Criterion, Obtained, Span, Zone, ZoneOutcome
from app.judging.witness.acceptance_checks import (
    same_name,
    zone_resolution,
    zones_in_order,
)

LEAST_TRUSTED = tuple(Obtained)
"""From a published source, over common practice and memory, to invented."""


def both(
    one: Sequence[Criterion], other: Sequence[Criterion], *, where: str
) -> tuple[Criterion, ...]:
    """The criteria of one list, made as strict as the other's; what cannot be joined is added.

    Raises:
        Refusal: two of them cannot hold at once.
    """
    found = list(one)
    for wanted in other:
        at = next((at for at, had in enumerate(found) if _can_be_one(had, wanted)), None)
        if at is None:
            found.append(wanted)
        else:
            found[at] = _joined(found[at], wanted, f"{where}, {wanted.quantity.words}")
    return tuple(found)


def as_one(criterion: Criterion) -> Criterion:
    """The criterion without its sources: what it asks, and nothing else."""
    zones = _fused(
        [
            replace(zone, also=tuple(as_one(also) for also in zone.also))
            for zone in zones_in_order(criterion)
        ]
    )
    step = zone_resolution(criterion) if zones else criterion.resolution
    return replace(criterion, source=None, obtained=None, zones=zones, resolution=step)


def _can_be_one(one: Criterion, other: Criterion) -> bool:
    """Whether one criterion can ask what both ask: the same figure, rounded in the same way."""
    if (one.quantity, one.unit, one.statistic) != (other.quantity, other.unit, other.statistic):
        return False
    if same_name(one.correction or "") != same_name(other.correction or ""):
        return False
    if one.zones or other.zones:
        return bool(one.zones and other.zones) and zone_resolution(one) == zone_resolution(other)
    if one.rounding is not other.rounding:
        return False
    if one.rounding is RoundingMethod.ABSOLUTE:
        return True
    return one.resolution == other.resolution and (
        one.resolution is not None
        or (
            _rounded_alike(one.minimum, other.minimum)
            and _rounded_alike(one.maximum, other.maximum)
        )
    )


def _rounded_alike(one: Decimal | None, other: Decimal | None) -> bool:
    return one is None or other is None or last_place(one) == last_place(other)


@dataclass(frozen=True, slots=True)
class _Said:
    """A limit, and where it comes from."""

    limit: Decimal | None
    source: str | None


def _joined(one: Criterion, other: Criterion, where: str) -> Criterion:
    low = _tighter(one, other, "minimum")
    high = _tighter(one, other, "maximum")
    widest = [span for span in (one.range_max, other.range_max) if span is not None]
    apart = [least for least in (one.standards_apart, other.standards_apart) if least is not None]
    possible = _overlap(one.possible, other.possible, f"{where}, possible")
    usual = _overlap(one.usual, other.usual, f"{where}, usual")
    if possible is not None and usual is not None:
        usual = _overlap(usual, possible, f"{where}, usual")
    joined = replace(
        one,
        minimum=low.limit,
        maximum=high.limit,
        readings_min=max(one.readings_min, other.readings_min),
        range_max=min(widest, default=None),
        zones=_zones(one, other, where),
        resolution=one.resolution or other.resolution,
        instruments=_builds(one, other, where),
        standards_apart=max(apart, default=None),
        possible=possible,
        usual=usual,
        rise=_overlap(one.rise, other.rise, f"{where}, rise"),
        obtained=_obtained(one, other),
    )
    return replace(joined, source=_sources(one, other, low, high))


def _tighter(one: Criterion, other: Criterion, side: str) -> _Said:
    """The higher minimum or the lower maximum; of two equal ones the first."""
    first, second = getattr(one, side), getattr(other, side)
    if second is None or (
        first is not None and (first >= second if side == "minimum" else first <= second)
    ):
        return _Said(first, one.source)
    return _Said(second, other.source)


def _sources(one: Criterion, other: Criterion, low: _Said, high: _Said) -> str | None:
    """Every source, each with what of the criterion it gave."""
    if one.source is None or other.source is None or one.source == other.source:
        return one.source or other.source
    given: dict[str, list[str]] = {one.source: [], other.source: []}
    for said, words in ((low, "minimum"), (high, "maximum")):
        if said.limit is not None and said.source is not None:
            given[said.source].append(f"{words} {shown(said.limit)}")
    for words, first, second, larger in (
        ("readings", Decimal(one.readings_min), Decimal(other.readings_min), True),
        ("range", one.range_max, other.range_max, False),
    ):
        gave = _giver(first, second, larger=larger)
        if gave is not None:
            source = one.source if gave == 0 else other.source
            given[source].append(f"{words} {shown((first, second)[gave] or Decimal(0))}")
    if one.zones:
        for gave_words in given.values():
            gave_words.append("zones")
    told = [f"{', '.join(words)} by {source}" for source, words in given.items() if words]
    return "; ".join(told)


def _giver(first: Decimal | None, second: Decimal | None, *, larger: bool) -> int | None:
    """0 or 1: which of two figures holds; None where neither is given."""
    if first is None or second is None:
        return None if first is second else int(first is None)
    return int(second > first if larger else second < first)


def _obtained(one: Criterion, other: Criterion) -> Obtained | None:
    given = [obtained for obtained in (one.obtained, other.obtained) if obtained is not None]
    return max(given, key=LEAST_TRUSTED.index, default=None)


def _builds(one: Criterion, other: Criterion, where: str) -> tuple[str, ...]:
    if not one.instruments or not other.instruments:
        return one.instruments or other.instruments
    shared = tuple(build for build in one.instruments if build in other.instruments)
    if not shared:
        raise Refusal(f"{where}: no build of instrument is permitted by both tables.")
    return shared


def _overlap(one: Span | None, other: Span | None, where: str) -> Span | None:
    if one is None or other is None:
        return one or other
    lower, upper = max(one[0], other[0]), min(one[1], other[1])
    if lower >= upper:
        raise Refusal(
            f"{where}: {shown(one[0])} to {shown(one[1])} and {shown(other[0])} to "
            f"{shown(other[1])} have no span in common."
        )
    return lower, upper


def _zones(one: Criterion, other: Criterion, where: str) -> tuple[Zone, ...]:
    """The bands of both, cut at each other's ends; of two outcomes the worse."""
    found: list[Zone] = []
    for first in zones_in_order(one):
        for second in zones_in_order(other):
            lowers = [end for end in (first.lower, second.lower) if end is not None]
            uppers = [end for end in (first.upper, second.upper) if end is not None]
            lower, upper = max(lowers, default=None), min(uppers, default=None)
            if lower is None or upper is None or lower <= upper:
                found.append(_band(first, second, lower, upper, where))
    return _fused(found)


def _band(
    first: Zone, second: Zone, lower: Decimal | None, upper: Decimal | None, where: str
) -> Zone:
    outcomes = {first.outcome, second.outcome}
    if ZoneOutcome.REJECT in outcomes:
        return Zone(lower, upper, ZoneOutcome.REJECT)
    if ZoneOutcome.ACCEPT_IF in outcomes:
        also = both(first.also, second.also, where=where)
        return Zone(lower, upper, ZoneOutcome.ACCEPT_IF, also)
    return Zone(lower, upper, ZoneOutcome.ACCEPT)


def _fused(zones: Sequence[Zone]) -> tuple[Zone, ...]:
    """Neighbours of one outcome as one band, so that composing twice changes nothing."""
    fused: list[Zone] = []
    for zone in zones:
        if fused and (fused[-1].outcome, fused[-1].also) == (zone.outcome, zone.also):
            fused[-1] = replace(fused[-1], upper=zone.upper)
        else:
            fused.append(zone)
    return tuple(fused)
