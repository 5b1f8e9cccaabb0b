"""The cells of a pyrometry procedure's paper. Pure."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from app.judging.furnace.intervals import MonthEnd, Span
from app.judging.furnace.procedure import CheckKind, InstrumentKind
from app.requirements.rules.cells import Cell, Group, figure, pick, word, yes_or_no

_Paper = Mapping[str, Any]
_Cells = Callable[[_Paper], Iterable[Cell]]
_CHECKS = tuple(one.value for one in CheckKind)
_INSTRUMENTS = tuple(one.value for one in InstrumentKind)
_SPANS = tuple(one.value for one in Span)
ANY = "any"


def procedure_cells(paper: _Paper) -> tuple[Group, ...]:
    """Every value of a PROCEDURE.json as kept, table by table and row by row."""
    calendar, survey = paper["calendar"], paper["survey"]
    types = ", ".join(paper["instrumentation_types"])
    life = paper.get("sensor_life")
    return (
        Group(
            "The calendar",
            (
                word("name", paper["name"], keyed=False),
                pick(
                    "where the month has no such day",
                    calendar["month_end"],
                    [one.value for one in MonthEnd],
                ),
                yes_or_no("on the due day itself still in date", calendar["due_day_counts"]),
                figure("warning, days before", calendar["early_warning_days"]),
                word("instrumentation types, with commas between", types),
            ),
            key=("calendar",),
        ),
        *_rows("Class", paper["classes"], _class),
        *_rows("Interval", paper["intervals"], _interval),
        *_rows("Instrument", paper["instruments"], _instrument),
        Group(
            "The survey",
            tuple(_survey(survey["sensors_least"])) + _origin(survey),
            guide=survey["source"],
            key=("survey",),
        ),
        *_rows("Accuracy test", paper["accuracy_test"], _limit("largest_difference_c")),
        *_rows("Recorder", paper["recorder"], _limit("largest_error_c")),
        *_rows("Work on a furnace", paper["maintenance"], _maintenance),
        *(_rows("Load sensor", [life], _life) if life is not None else ()),
    )


_NAMED_BY = ("check", "instrument", "event", "furnace_class", "instrumentation_type")


def _rows(title: str, rows: Iterable[_Paper], cells: _Cells) -> Iterable[Group]:
    """A group for each row of a table, named by its number."""
    for number, row in enumerate(rows, start=1):
        named = tuple(str(row[name] or ANY) for name in _NAMED_BY if name in row)
        yield Group(
            f"{title} {number}",
            (*cells(row), *_origin(row)),
            guide=row["source"],
            key=(title, *named),
            about=", ".join(named),
        )


def _origin(row: _Paper) -> tuple[Cell, ...]:
    return (
        word("source", row["source"], keyed=False),
        word("how the values came here", row["obtained"], keyed=False),
    )


def _class(row: _Paper) -> Iterable[Cell]:
    yield word("furnace class", row["furnace_class"])
    yield figure("uniformity within, °C either way", row["uniformity_c"], tighter="down")


def _interval(row: _Paper) -> Iterable[Cell]:
    yield pick("check", row["check"], _CHECKS)
    yield _named("furnace class", row.get("furnace_class"))
    yield _named("instrumentation type", row.get("instrumentation_type"))
    yield from _every("every", row["every"])


def _instrument(row: _Paper) -> Iterable[Cell]:
    yield pick("instrument", row["instrument"], _INSTRUMENTS)
    yield from _every("every", row["every"])


def _survey(rows: Iterable[_Paper]) -> Iterable[Cell]:
    for number, row in enumerate(rows, start=1):
        yield figure(f"line {number}, zone up to, m²", row.get("up_to_m2"))
        yield figure(f"line {number}, sensors at least", row["least"], tighter="up")


def _limit(name: str) -> _Cells:
    def cells(row: _Paper) -> Iterable[Cell]:
        yield _named("furnace class", row.get("furnace_class"))
        yield figure("at most, °C", row[name], tighter="down")

    return cells


def _maintenance(row: _Paper) -> Iterable[Cell]:
    yield word("work", row["event"])
    for check in _CHECKS:
        yield yes_or_no(f"asks for a {check}", check in row["asks_for"], tighter="up")


def _life(row: _Paper) -> Iterable[Cell]:
    yield figure("most uses", row.get("largest_uses"), tighter="down")
    yield from _every("longest age", row.get("largest_age") or {})


def _every(what: str, every: Mapping[str, Any]) -> Iterable[Cell]:
    """How many, and of what: neither alone says whether it is more often than another."""
    span, count = next(iter(every.items()), ("", None))
    yield figure(f"{what}, how many", count)
    yield pick(f"{what}, of", span, _SPANS)


def _named(what: str, name: str | None) -> Cell:
    return Cell(what, name or "", unsaid=ANY)
