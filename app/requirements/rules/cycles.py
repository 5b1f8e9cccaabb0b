"""A cycle's clauses in words, and what the shop asks besides. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from app.errors import refuse
from app.judging.rounding import shown
from app.judging.wording import seconds
from app.requirements.rules.parts import Part

_MOST_PER_PANEL = 200
_MOST_MINUTES = Decimal(1440)
_MOST_KPA = Decimal(101)


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
                refuse(field, f"{count} {what} a panel cannot be; give 1 to {_MOST_PER_PANEL}.")
        if not 0 <= self.leak_limit_kpa <= _MOST_KPA:
            refuse(
                "leak_limit_kpa",
                f"A loss of {self.leak_limit_kpa} kPa cannot be a limit; give 0 to {_MOST_KPA}.",
            )
        if not 0 < self.leak_minutes <= _MOST_MINUTES:
            refuse(
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
