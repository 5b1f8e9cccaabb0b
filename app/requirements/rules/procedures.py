"""A pyrometry procedure in words, table by table, with the source of every figure. Pure."""

from collections.abc import Iterable

from app.judging.furnace.intervals import MonthEnd
from app.judging.furnace.procedure import CheckKind, LargestError, Procedure, SensorLife, Sourced
from app.judging.rounding import shown
from app.judging.witness.acceptance import Obtained
from app.requirements.rules.parts import Part

_ORIGIN = ("Source", "How it came here")
_ANY = "any"


def procedure_parts(procedure: Procedure) -> tuple[Part, ...]:
    """The tables of a procedure, every figure of it among them, in the order of its paper."""
    return (
        Part("calendar", "The calendar", tuple(_calendar_lines(procedure))),
        Part(
            "types",
            "Instrumentation types",
            (("Types of this shop", ", ".join(procedure.instrumentation_types)),),
        ),
        _classes(procedure),
        _intervals(procedure),
        _instruments(procedure),
        _survey(procedure),
        _limits(
            "accuracy-test", "System accuracy test", "Largest difference", procedure.accuracy_test
        ),
        _limits("recorder", "Recorder calibration", "Largest error", procedure.recorder),
        _maintenance(procedure),
        Part(
            "sensor-life",
            "How long a load sensor serves",
            tuple(_life_lines(procedure.sensor_life)),
            ("What", "At most", *_ORIGIN),
        ),
    )


def obtained_words(obtained: Obtained) -> str:
    """How a value came here; an invented one says what it is fit for."""
    if obtained is Obtained.INVENTED:
        return "invented: fit for no real use"
    return obtained.value


def _origin(origin: Sourced) -> tuple[str, str]:
    return origin.source, obtained_words(origin.obtained)


def _calendar_lines(procedure: Procedure) -> Iterable[tuple[str, str]]:
    ends = {
        MonthEnd.LAST_DAY: "the month's last day (31 January and one month: end of February)",
        MonthEnd.NEXT_FIRST: "the next month's first day (31 January and one month: 1 March)",
    }
    yield "Where the month has no such day", ends[procedure.month_end]
    yield "On the due day itself", "still in date" if procedure.due_day_counts else "overdue"
    warned = procedure.early_warning_days
    yield "Early warning", "none" if warned == 0 else f"{warned} days before"


def _classes(procedure: Procedure) -> Part:
    rows = tuple(
        (row.furnace_class, f"±{shown(row.uniformity_c)} °C", *_origin(row.origin))
        for row in procedure.classes
    )
    return Part("classes", "Furnace classes", rows, ("Class", "Uniformity", *_ORIGIN))


def _intervals(procedure: Procedure) -> Part:
    rows = tuple(
        (
            row.kind.value,
            row.furnace_class or _ANY,
            row.instrumentation_type or _ANY,
            row.every.words,
            *_origin(row.origin),
        )
        for row in procedure.intervals
    )
    headers = ("Check", "Class", "Type", "Every", *_ORIGIN)
    return Part("intervals", "How often a furnace is checked", rows, headers, named_by=3)


def _instruments(procedure: Procedure) -> Part:
    rows = tuple(
        (row.kind.value, row.every.words, *_origin(row.origin)) for row in procedure.instruments
    )
    headers = ("Instrument", "Every", *_ORIGIN)
    return Part("instruments", "How often instruments are calibrated", rows, headers)


def _survey(procedure: Procedure) -> Part:
    origin = _origin(procedure.survey.origin)
    rows = tuple(
        (
            "however large" if row.up_to_m2 is None else f"up to {shown(row.up_to_m2)} m²",
            f"{row.least}",
            *origin,
        )
        for row in procedure.survey.sensors_least
    )
    headers = ("Zone", "Sensors, at least", *_ORIGIN)
    return Part("survey", "Sensors of a uniformity survey", rows, headers)


def _limits(anchor: str, title: str, figure: str, limits: tuple[LargestError, ...]) -> Part:
    rows = tuple(
        (row.furnace_class or _ANY, f"±{shown(row.largest_c)} °C", *_origin(row.origin))
        for row in limits
    )
    return Part(anchor, title, rows, ("Class", figure, *_ORIGIN))


def _maintenance(procedure: Procedure) -> Part:
    rows = tuple(
        (
            row.event,
            ", ".join(kind for kind in CheckKind if kind in row.asks_for) or "nothing",
            *_origin(row.origin),
        )
        for row in procedure.maintenance
    )
    headers = ("Work", "Asks for", *_ORIGIN)
    return Part("maintenance", "After work on a furnace", rows, headers)


def _life_lines(life: SensorLife | None) -> Iterable[tuple[str, str, str, str]]:
    origin = ("", "") if life is None else _origin(life.origin)
    uses = None if life is None else life.largest_uses
    age = None if life is None else life.largest_age
    yield "Uses", "no limit" if uses is None else f"{uses}", *origin
    yield "Time since its first use", "no limit" if age is None else age.words, *origin
