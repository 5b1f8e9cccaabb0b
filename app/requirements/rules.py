"""Acceptance tables and cycles in words, part by part, as a second person compares them. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, NoReturn

from app.errors import Refusal
from app.judging.acceptance import (
    Criterion,
    DecisionRule,
    Entry,
    Obtained,
    Statistic,
    Table,
    Zone,
    ZoneOutcome,
)
from app.judging.rounding import RoundingMethod, shown
from app.judging.wording import seconds

_MOST_PER_PANEL = 200
_MOST_MINUTES = Decimal(1440)
_MOST_KPA = Decimal(101)


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a requirement: an entry of a table, or a clause of a cycle.

    ``lines`` are (what, value in words) pairs, every value of the part among them. ``anchor`` is
    what a link to it ends in.
    """

    anchor: str
    title: str
    lines: tuple[tuple[str, str], ...]


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


@dataclass(frozen=True, slots=True)
class ShopRules:
    """What the shop asks of every panel run to a cycle; the leak limit itself is included."""

    sensors_per_panel: int
    coupons_per_panel: int
    leak_limit_kpa: Decimal
    leak_minutes: Decimal

    def check(self) -> None:
        """Pass where every figure can be.

        Raises:
            Refusal: one cannot; the sentence says which and what is asked.
        """
        for field, what, count in (
            ("sensors_per_panel", "sensors", self.sensors_per_panel),
            ("coupons_per_panel", "coupons", self.coupons_per_panel),
        ):
            if not 1 <= count <= _MOST_PER_PANEL:
                _refuse(field, f"{count} {what} a panel cannot be; give 1 to {_MOST_PER_PANEL}.")
        if not 0 <= self.leak_limit_kpa <= _MOST_KPA:
            _refuse(
                "leak_limit_kpa",
                f"A loss of {self.leak_limit_kpa} kPa cannot be a limit; give 0 to {_MOST_KPA}.",
            )
        if not 0 < self.leak_minutes <= _MOST_MINUTES:
            _refuse(
                "leak_minutes",
                f"A leak check of {self.leak_minutes} min cannot be; give above 0 to "
                f"{_MOST_MINUTES}.",
            )

    def as_texts(self) -> dict[str, str]:
        """As they are kept with the revision."""
        return {
            "sensors_per_panel": str(self.sensors_per_panel),
            "coupons_per_panel": str(self.coupons_per_panel),
            "leak_limit_kpa": shown(self.leak_limit_kpa),
            "leak_minutes": shown(self.leak_minutes),
        }


def table_rows(table: Table) -> tuple[EntryRow, ...]:
    """The table's entries in their order, in words."""
    return tuple(_row(entry, number) for number, entry in enumerate(table.entries, start=1))


def table_parts(table: Table) -> tuple[Part, ...]:
    """One part an entry, every value of it named."""
    return tuple(
        Part(row.anchor, f"Entry {row.number}", tuple(_row_lines(row))) for row in table_rows(table)
    )


def cycle_parts(paper: Mapping[str, Any], shop_rules: Mapping[str, str]) -> tuple[Part, ...]:
    """The clauses of a cycle's paper as kept (figures as texts), and what the shop asks besides."""
    unit = f"°{paper['temperature_unit']}"
    stages = [
        Part(f"stage-{number}", f"Stage {number}", _stage_lines(stage, unit))
        for number, stage in enumerate(paper["stages"], start=1)
    ]
    return (
        *stages,
        Part("record", "The record", (("Longest gap bridged", _time(paper["max_gap_s"])),)),
        Part("excursions", "Excursions", _excursion_lines(paper.get("excursions"), unit)),
        Part(
            "rates",
            "Heating and cooling",
            (
                ("Fastest heating", _rate(paper.get("heating_rate"), unit)),
                ("Fastest cooling", _rate(paper.get("cooling_rate"), unit)),
            ),
        ),
        Part("vacuum", "Bag vacuum", _vacuum_lines(paper.get("vacuum"))),
        Part("ageing", "Equivalent time", _ageing_lines(paper.get("ageing"), unit)),
        Part("shop-rules", "What the shop asks of every panel", _shop_lines(shop_rules)),
    )


def uncompared(parts: Iterable[Part], compared: Iterable[str]) -> list[str]:
    """The titles of the parts whose anchors are not among those ticked as compared."""
    ticked = set(compared)
    return [part.title for part in parts if part.anchor not in ticked]


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
        ),
        source=entry.source,
        obtained=entry.obtained.value,
        invented=entry.obtained is Obtained.INVENTED,
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


def _rounding_words(criterion: Criterion) -> str:
    if criterion.rounding is not RoundingMethod.ROUNDING:
        return "compared as found, without rounding"
    if criterion.resolution is not None:
        return f"rounded once to the nearest {shown(criterion.resolution)}, ties to even"
    return "rounded once to the limit's last place, ties to even"


def _stage_lines(stage: Mapping[str, Any], unit: str) -> tuple[tuple[str, str], ...]:
    low = Decimal(stage["set"]) - Decimal(stage["below"])
    high = Decimal(stage["set"]) + Decimal(stage["above"])
    longest = stage.get("soak_max_s")
    return (
        ("Set temperature", f"{stage['set']} {unit}"),
        ("Tolerance", f"{stage['below']} {unit} below, {stage['above']} {unit} above"),
        ("Band", f"{shown(low)} to {shown(high)} {unit}, both included"),
        ("Shortest soak", _time(stage["soak_min_s"])),
        ("Longest soak", "no limit" if longest is None else _time(longest)),
    )


def _excursion_lines(rule: Mapping[str, Any] | None, unit: str) -> tuple[tuple[str, str], ...]:
    if rule is None:
        return (("Permitted", "none: one excursion out of the band rejects the run"),)
    return (
        ("Longest each", _time(rule["longest_s"])),
        ("Furthest beyond the band", f"{rule['beyond']} {unit}"),
        ("Longest in all", _time(rule["total_s"])),
    )


def _rate(rate: Mapping[str, Any] | None, unit: str) -> str:
    if rate is None:
        return "no limit"
    return f"{rate['max_per_min']} {unit} a minute, over {_time(rate['window_s'])}"


def _vacuum_lines(vacuum: Mapping[str, Any] | None) -> tuple[tuple[str, str], ...]:
    if vacuum is None:
        return (("Asked for", "no vacuum"),)
    begins = {"start": "the start of the record", "soak_start": "the start of the soak"}
    ends = {"soak_end": "the end of the soak", "end": "the end of the record"}
    return (
        ("Lowest", f"{vacuum['min_kpa']} kPa below ambient"),
        ("Holds", f"from {begins[vacuum['from']]} to {ends[vacuum['to']]}"),
        ("Column of the record", vacuum["column"]),
    )


def _ageing_lines(ageing: Mapping[str, Any] | None, unit: str) -> tuple[tuple[str, str], ...]:
    if ageing is None:
        return (("Asked for", "not computed"),)
    least, most = ageing.get("min_s"), ageing.get("max_s")
    return (
        ("Activation energy", f"{ageing['activation_energy_j_per_mol']} J/mol"),
        ("Reference temperature", f"{ageing['reference']} {unit}"),
        ("Shortest equivalent time", "no limit" if least is None else _time(least)),
        ("Longest equivalent time", "no limit" if most is None else _time(most)),
    )


def _shop_lines(rules: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return (
        ("Load sensors", f"at least {rules['sensors_per_panel']}"),
        ("Witness coupons", f"at least {rules['coupons_per_panel']}"),
        (
            "Bag leak check",
            f"at most {rules['leak_limit_kpa']} kPa lost in {rules['leak_minutes']} min",
        ),
    )


def _time(typed: str) -> str:
    """A time in seconds as kept, with hours and minutes beside it."""
    try:
        words = seconds(float(Decimal(typed)))
    except InvalidOperation:
        words = ""
    plain = f"{typed} s"
    return plain if words in {"", plain} else f"{plain} ({words})"


def _refuse(field: str, sentence: str) -> NoReturn:
    raise Refusal(sentence, fields={field: sentence})
