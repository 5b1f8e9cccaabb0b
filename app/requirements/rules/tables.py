"""An acceptance table's entries in words, digit for digit. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.judging.rounding import RoundingMethod, shown
from app.judging.witness.acceptance import (
    Criterion,
    DecisionRule,
    Entry,
    Obtained,
    Statistic,
    Table,
    Zone,
    ZoneOutcome,
)
from app.judging.witness.acceptance_checks import all_criteria
from app.requirements.rules.parts import Part

BLIND_WORDS = "hidden from whoever measures until the readings are in"


@dataclass(frozen=True, slots=True)
class EntryRow:
    """An entry of a table as a row: its key, its criteria in words, and where it came from."""

    anchor: str
    number: int
    alloy: str
    temper: str
    form: str
    thickness: str
    surface: str
    criteria: tuple[tuple[str, tuple[str, ...]], ...]
    decision: str
    retest: str
    source: str
    obtained: str
    invented: bool


def table_rows(table: Table) -> tuple[EntryRow, ...]:
    """The table's entries in their order, in words."""
    return tuple(_row(entry, number) for number, entry in enumerate(table.entries, start=1))


def table_parts(table: Table) -> tuple[Part, ...]:
    """One part an entry, every value of it named; before them what holds for the whole table."""
    entries = tuple(
        Part(row.anchor, f"Entry {row.number}", tuple(_row_lines(row))) for row in table_rows(table)
    )
    if not table.blind:
        return entries
    return (Part("whole", "The whole table", (("Limits at the bench", BLIND_WORDS),)), *entries)


def criterion_lines(criterion: Criterion) -> tuple[str, ...]:
    """What one criterion asks, line by line."""
    unit = criterion.unit
    lines = []
    if criterion.zones:
        lines += [_zone_words(zone, unit) for zone in criterion.zones]
    else:
        lines += [_limits_words(criterion)]
    lines.append(_readings_words(criterion))
    if criterion.range_max is not None:
        lines.append(f"largest minus smallest at most {shown(criterion.range_max)} {unit}")
    lines.append(_rounding_words(criterion))
    lines += _measuring_words(criterion)
    lines += _source_words(criterion)
    return tuple(lines)


def _row(entry: Entry, number: int) -> EntryRow:
    key = entry.key
    criteria = [
        (f"{criterion.quantity.words}, {criterion.unit}", criterion_lines(criterion))
        for criterion in entry.criteria
    ]
    guarded = entry.decision is DecisionRule.GUARDED
    retest = entry.retest
    return EntryRow(
        anchor=f"entry-{number}",
        number=number,
        alloy=key.alloy,
        temper=key.temper,
        form=key.form,
        thickness=str(key.thickness),
        surface="any" if key.surface is None else key.surface.value,
        criteria=tuple(criteria),
        decision="guarded by the expanded uncertainty" if guarded else "simple comparison",
        retest=(
            "none permitted"
            if retest is None
            else f"{retest.further} further {retest.of.value}, all of which must conform"
            + (", measured by another person" if retest.by_another else "")
        ),
        source=entry.source,
        obtained=entry.obtained.value,
        invented=Obtained.INVENTED
        in {entry.obtained, *(one.obtained for one in all_criteria(entry.criteria))},
    )


def _row_lines(row: EntryRow) -> Iterable[tuple[str, str]]:
    yield "Alloy", row.alloy
    yield "Temper", row.temper
    yield "Product form", row.form
    yield "Thickness", row.thickness
    yield "Surface", row.surface
    for name, lines in row.criteria:
        for line in lines:
            yield name[0].upper() + name[1:], line
    yield "Decision", row.decision
    yield "Retest", row.retest
    yield "Source", row.source
    yield "How the values came here", row.obtained


def _limits_words(criterion: Criterion) -> str:
    low, high, unit = criterion.minimum, criterion.maximum, criterion.unit
    if high is None:
        return f"at least {_figure(low)} {unit}"
    if low is None:
        return f"at most {_figure(high)} {unit}"
    return f"{_figure(low)} to {_figure(high)} {unit}, both included"


def _figure(figure: Decimal | None) -> str:
    return "" if figure is None else shown(figure)


def _zone_words(zone: Zone, unit: str) -> str:
    span = str(zone) if zone.lower is None and zone.upper is None else f"{zone} {unit}"
    if zone.outcome is ZoneOutcome.ACCEPT_IF:
        also = " and ".join(
            f"{one.quantity.words} is {'; '.join(criterion_lines(one))}" for one in zone.also
        )
        return f"{span}: accepted if {also}"
    return f"{span}: {'accepted' if zone.outcome is ZoneOutcome.ACCEPT else 'rejected'}"


def _readings_words(criterion: Criterion) -> str:
    count = criterion.readings_min
    if criterion.statistic is Statistic.MEAN:
        return f"the mean of at least {count} reading{'' if count == 1 else 's'} decides"
    return f"at least {count} reading{'' if count == 1 else 's'}, each of which must pass"


def _measuring_words(criterion: Criterion) -> Iterable[str]:
    """How it wants to be measured; nothing where it does not say."""
    unit = criterion.unit
    if criterion.instruments:
        yield f"measured with {' or '.join(criterion.instruments)} instruments only"
    if criterion.standards_apart is not None:
        yield (
            "checked on two standards about the limits, at least "
            f"{shown(criterion.standards_apart)} {unit} apart"
        )
    if criterion.correction is not None:
        yield f"corrected by correction table {criterion.correction}"
    for span, words in (
        (criterion.possible, "a reading can only be"),
        (criterion.usual, "a reading is usually"),
        (criterion.rise, "ageing is expected to change it by"),
    ):
        if span is not None:
            yield f"{words} {shown(span[0])} to {shown(span[1])} {unit}, both included"


def _source_words(criterion: Criterion) -> Iterable[str]:
    """Where its own values come from; nothing where the entry says it for them."""
    if criterion.source is not None:
        yield f"from {criterion.source}"
    if criterion.obtained is not None:
        yield f"how its values came here: {criterion.obtained.value}"


def _rounding_words(criterion: Criterion) -> str:
    if criterion.rounding is not RoundingMethod.ROUNDING:
        return "compared as found, without rounding"
    if criterion.resolution is not None:
        return f"rounded once to the nearest {shown(criterion.resolution)}, ties to even"
    return "rounded once to the limit's last place, ties to even"
