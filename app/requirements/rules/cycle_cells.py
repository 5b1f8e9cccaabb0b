"""The cells of a cycle's paper and of a correction table's. Pure."""

from collections.abc import Iterable, Mapping
from typing import Any

from app.judging.units import Quantity
from app.judging.witness.corrections import CorrectionReason, Parameter
from app.requirements.rules.cells import Cell, Group, figure, pick, word

_Paper = Mapping[str, Any]
_BEGINS = {"start": "the start of the record", "soak_start": "the start of the soak"}
_ENDS = {"soak_end": "the end of the soak", "end": "the end of the record"}
_READING_ALONE = "the reading alone"


def cycle_cells(paper: _Paper, shop_rules: Mapping[str, str]) -> tuple[Group, ...]:
    """Every value of a CYCLE.json as kept, and of what the shop asks besides."""
    unit = paper["temperature_unit"]
    stages = [
        Group(f"Stage {number}", tuple(_stage(stage)), key=(f"stage {number}",))
        for number, stage in enumerate(paper["stages"], start=1)
    ]
    return (
        _group(
            "The whole cycle",
            word("name", paper["name"], keyed=False),
            pick("temperatures in", f"°{unit}", ("°C", "°F")),
            figure("longest gap bridged, s", paper["max_gap_s"], tighter="down"),
        ),
        *stages,
        _group("Excursions permitted", *_excursions(paper.get("excursions") or {})),
        _group("Fastest heating", *_rate(paper.get("heating_rate") or {})),
        _group("Fastest cooling", *_rate(paper.get("cooling_rate") or {})),
        _group("Bag vacuum", *_vacuum(paper.get("vacuum") or {})),
        _group("Equivalent time", *_ageing(paper.get("ageing") or {})),
        _group("What the shop asks of every panel", *_shop(shop_rules)),
    )


def correction_cells(paper: _Paper) -> tuple[Group, ...]:
    """Every value of a CORRECTION.json as kept: what it is for, and its grid row by row."""
    unit = paper.get("scale") or paper.get("unit")
    measured = f"{Quantity(paper['quantity']).words} in {unit}"
    measures = {one.value: f"the reading and the coupon's {one.words}" for one in Parameter}
    goes_by = measures.get(paper.get("parameter") or "", _READING_ALONE)
    head = _group(
        "What it is for",
        word("name", paper["name"], keyed=False),
        word("corrects", measured, keyed=False),
        pick("reason", paper["reason"], [one.value for one in CorrectionReason]),
        pick("goes by", goes_by, (_READING_ALONE, *measures.values()), unsaid=_READING_ALONE),
        *(
            figure(f"measure {number}, mm", measure)
            for number, measure in enumerate(paper.get("parameters") or (), start=1)
        ),
        word("source", paper["source"], keyed=False),
        word("how the values came here", paper["obtained"], keyed=False),
        guide=paper["source"],
    )
    rows = zip(paper["readings"], paper["additions"], strict=True)
    return (
        head,
        *(
            Group(f"Row {number}", tuple(_row(reading, added)), key=("row", str(reading)))
            for number, (reading, added) in enumerate(rows, start=1)
        ),
    )


def _group(title: str, *cells: Cell, guide: str = "") -> Group:
    return Group(title, cells, guide=guide, key=(title,))


def _stage(stage: _Paper) -> Iterable[Cell]:
    yield figure("set temperature", stage["set"])
    yield figure("tolerance below", stage["below"], tighter="down")
    yield figure("tolerance above", stage["above"], tighter="down")
    yield figure("shortest soak, s", stage["soak_min_s"], tighter="up")
    yield figure("longest soak, s", stage.get("soak_max_s"), tighter="down")


def _excursions(rule: _Paper) -> Iterable[Cell]:
    """No rule permits none: to state nothing asks for more."""
    for name, words in (
        ("longest_s", "longest each, s"),
        ("beyond", "furthest beyond the band"),
        ("total_s", "longest in all, s"),
    ):
        yield figure(words, rule.get(name), tighter="down", without="tighter")


def _rate(rate: _Paper) -> Iterable[Cell]:
    yield figure("degrees a minute", rate.get("max_per_min"), tighter="down")
    yield figure("over a window of, s", rate.get("window_s"))


def _vacuum(vacuum: _Paper) -> Iterable[Cell]:
    yield figure("lowest, kPa below ambient", vacuum.get("min_kpa"), tighter="up")
    yield pick("holds from", _BEGINS.get(vacuum.get("from", ""), ""), _BEGINS.values())
    yield pick("holds to", _ENDS.get(vacuum.get("to", ""), ""), _ENDS.values())
    # The logger's name for a column stands in no process document.
    yield word("column of the record", vacuum.get("column"), keyed=False)


def _ageing(ageing: _Paper) -> Iterable[Cell]:
    yield figure("activation energy, J/mol", ageing.get("activation_energy_j_per_mol"))
    yield figure("reference temperature", ageing.get("reference"))
    yield figure("shortest, s", ageing.get("min_s"), tighter="up")
    yield figure("longest, s", ageing.get("max_s"), tighter="down")


def _shop(rules: Mapping[str, str]) -> Iterable[Cell]:
    yield figure("load sensors, at least", rules["sensors_per_panel"], tighter="up")
    yield figure("witness coupons, at least", rules["coupons_per_panel"], tighter="up")
    yield figure("leak check, at most lost, kPa", rules["leak_limit_kpa"], tighter="down")
    yield figure("leak check, in min", rules["leak_minutes"], tighter="up")


def _row(reading: object, added: Iterable[object]) -> Iterable[Cell]:
    yield figure("reading", reading)
    for number, addition in enumerate(added, start=1):
        yield figure(f"added, {number}", addition)
