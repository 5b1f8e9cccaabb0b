"""PROCEDURE.json: a shop's pyrometry procedure as a paper, to and from judging's own types."""

from decimal import Decimal
from typing import Annotated, Any, NoReturn, Self

from pydantic import AfterValidator, BeforeValidator, StrictBool, StringConstraints, model_validator

from app.documents.paper import FigureIn, Paper, WholeIn, load_paper, paper_from
from app.errors import BadFile, Refusal
from app.judging.furnace.intervals import Every, MonthEnd, Span
from app.judging.furnace.procedure import (
    CheckInterval,
    CheckKind,
    ClassRule,
    EventRule,
    InstrumentInterval,
    InstrumentKind,
    LargestError,
    Procedure,
    SensorLife,
    SensorsLeast,
    Sourced,
    SurveyRule,
    check_procedure,
)
from app.judging.witness.acceptance import Obtained

FILENAME = "PROCEDURE.json"
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]


def _above_zero(figure: Decimal) -> Decimal:
    if figure <= 0:
        raise ValueError(f"expected more than 0, found {figure}")
    return figure


def _at_least_one(count: int) -> int:
    if count < 1:
        raise ValueError(f"expected 1 or more, found {count}")
    return count


def _class_text(raw: object) -> object:
    """A class may be written as a whole number: 2 is the class "2"."""
    return str(raw) if isinstance(raw, int) and not isinstance(raw, bool) else raw


AboveZero = Annotated[FigureIn, AfterValidator(_above_zero)]
Counted = Annotated[WholeIn, AfterValidator(_at_least_one)]
ClassName = Annotated[
    str,
    StringConstraints(min_length=1, max_length=8, strip_whitespace=True),
    BeforeValidator(_class_text),
]
TypeName = Annotated[str, StringConstraints(min_length=1, max_length=8, strip_whitespace=True)]


class EveryPaper(Paper):
    """An interval: exactly one of days, weeks and months."""

    days: Counted | None = None
    weeks: Counted | None = None
    months: Counted | None = None

    @model_validator(mode="after")
    def _is_one_interval(self) -> Self:
        given = [span for span in Span if getattr(self, span) is not None]
        if len(given) != 1:
            raise ValueError("expected exactly one of days, weeks and months")
        try:
            self.every()
        except Refusal as refusal:
            raise ValueError(refusal.sentence.removesuffix(".")) from refusal
        return self

    def every(self) -> Every:
        """The interval."""
        span = next(span for span in Span if getattr(self, span) is not None)
        return Every(getattr(self, span), span)


class SourcedPaper(Paper):
    """What every row says of itself: document, revision and clause; and how it came here."""

    source: Text
    obtained: Obtained

    def origin(self) -> Sourced:
        """Where the row's figures come from."""
        return Sourced(self.source, self.obtained)


class CalendarPaper(Paper):
    """How due days are counted."""

    month_end: MonthEnd
    due_day_counts: StrictBool
    early_warning_days: WholeIn


class ClassPaper(SourcedPaper):
    """A furnace class and its uniformity, plus or minus degC."""

    furnace_class: ClassName
    uniformity_c: AboveZero


class IntervalPaper(SourcedPaper):
    """How often a check of a furnace is made; class or type null: whatever it is."""

    check: CheckKind
    furnace_class: ClassName | None
    instrumentation_type: TypeName | None
    every: EveryPaper


class InstrumentPaper(SourcedPaper):
    """How often sensors or vacuum gauges are calibrated."""

    instrument: InstrumentKind
    every: EveryPaper


class SensorsLeastPaper(Paper):
    """The least number of survey sensors up to an area; null: however large."""

    up_to_m2: AboveZero | None
    least: Counted


class SurveyPaper(SourcedPaper):
    """What a uniformity survey needs."""

    sensors_least: tuple[SensorsLeastPaper, ...]


class LargestDifferencePaper(SourcedPaper):
    """The largest difference of a system accuracy test, plus or minus degC."""

    furnace_class: ClassName | None
    largest_difference_c: AboveZero


class LargestErrorPaper(SourcedPaper):
    """The largest error of a recorder, plus or minus degC."""

    furnace_class: ClassName | None
    largest_error_c: AboveZero


class EventPaper(SourcedPaper):
    """Which checks a kind of work on the furnace asks for; an empty list: none."""

    event: Text
    asks_for: tuple[CheckKind, ...]


class SensorLifePaper(SourcedPaper):
    """How long a load sensor may serve: at least one of the two."""

    largest_uses: Counted | None = None
    largest_age: EveryPaper | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.largest_uses is None and self.largest_age is None:
            raise ValueError("expected largest_uses, largest_age or both")
        return self


class ProcedurePaper(Paper):
    """A pyrometry procedure at one revision."""

    name: Text
    revision: Text
    calendar: CalendarPaper
    instrumentation_types: tuple[TypeName, ...]
    classes: tuple[ClassPaper, ...]
    intervals: tuple[IntervalPaper, ...]
    instruments: tuple[InstrumentPaper, ...]
    survey: SurveyPaper
    accuracy_test: tuple[LargestDifferencePaper, ...]
    recorder: tuple[LargestErrorPaper, ...]
    maintenance: tuple[EventPaper, ...]
    sensor_life: SensorLifePaper | None = None

    @model_validator(mode="after")
    def _has_its_lists(self) -> Self:
        for field in ("instrumentation_types", "classes", "intervals", "accuracy_test", "recorder"):
            if not getattr(self, field):
                raise ValueError(f"{field} is empty; give at least one row")
        return self


def load_procedure(text: str | bytes, *, filename: str = FILENAME) -> Procedure:
    """The procedure in JSON text, checked by `check_procedure`.

    Raises:
        BadFile: one sentence naming the file, the row and the field.
    """
    return _checked(load_paper(ProcedurePaper, text, filename=filename), filename)


def procedure_from_json(content: object, *, filename: str = FILENAME) -> Procedure:
    """The procedure from what JSON text held (numbers as `Decimal`, `int` or text).

    Raises:
        BadFile: one sentence naming the file, the row and the field.
    """
    return _checked(paper_from(ProcedurePaper, content, filename=filename), filename)


def procedure_schema() -> dict[str, Any]:
    """The JSON schema of PROCEDURE.json."""
    return ProcedurePaper.model_json_schema(by_alias=True)


def procedure_to_json(procedure: Procedure) -> dict[str, Any]:
    """The procedure as JSON that `procedure_from_json` reads back the same; figures are text."""
    life = procedure.sensor_life
    return {
        "name": procedure.name,
        "revision": procedure.revision,
        "calendar": {
            "month_end": procedure.month_end.value,
            "due_day_counts": procedure.due_day_counts,
            "early_warning_days": procedure.early_warning_days,
        },
        "instrumentation_types": list(procedure.instrumentation_types),
        "classes": [
            {
                "furnace_class": row.furnace_class,
                "uniformity_c": str(row.uniformity_c),
                **_origin_to_json(row.origin),
            }
            for row in procedure.classes
        ],
        "intervals": [
            {
                "check": row.kind.value,
                "furnace_class": row.furnace_class,
                "instrumentation_type": row.instrumentation_type,
                "every": _every_to_json(row.every),
                **_origin_to_json(row.origin),
            }
            for row in procedure.intervals
        ],
        "instruments": [
            {
                "instrument": row.kind.value,
                "every": _every_to_json(row.every),
                **_origin_to_json(row.origin),
            }
            for row in procedure.instruments
        ],
        "survey": {
            "sensors_least": [
                {
                    "up_to_m2": None if row.up_to_m2 is None else str(row.up_to_m2),
                    "least": row.least,
                }
                for row in procedure.survey.sensors_least
            ],
            **_origin_to_json(procedure.survey.origin),
        },
        "accuracy_test": _limits_to_json(procedure.accuracy_test, "largest_difference_c"),
        "recorder": _limits_to_json(procedure.recorder, "largest_error_c"),
        "maintenance": [
            {
                "event": row.event,
                "asks_for": [kind.value for kind in row.asks_for],
                **_origin_to_json(row.origin),
            }
            for row in procedure.maintenance
        ],
        "sensor_life": None if life is None else _life_to_json(life),
    }


def _checked(paper: ProcedurePaper, filename: str) -> Procedure:
    procedure = _procedure(paper)
    try:
        check_procedure(procedure)
    except Refusal as refusal:
        _refuse(filename, refusal)
    return procedure


def _refuse(filename: str, refusal: Refusal) -> NoReturn:
    raise BadFile(f"{filename}: {refusal.sentence}") from refusal


def _procedure(paper: ProcedurePaper) -> Procedure:
    return Procedure(
        name=paper.name,
        revision=paper.revision,
        month_end=paper.calendar.month_end,
        due_day_counts=paper.calendar.due_day_counts,
        early_warning_days=paper.calendar.early_warning_days,
        instrumentation_types=paper.instrumentation_types,
        classes=tuple(
            ClassRule(row.furnace_class, row.uniformity_c, row.origin()) for row in paper.classes
        ),
        intervals=tuple(_interval(row) for row in paper.intervals),
        instruments=tuple(
            InstrumentInterval(row.instrument, row.every.every(), row.origin())
            for row in paper.instruments
        ),
        survey=SurveyRule(
            tuple(SensorsLeast(row.up_to_m2, row.least) for row in paper.survey.sensors_least),
            paper.survey.origin(),
        ),
        accuracy_test=tuple(
            LargestError(row.furnace_class, row.largest_difference_c, row.origin())
            for row in paper.accuracy_test
        ),
        recorder=tuple(
            LargestError(row.furnace_class, row.largest_error_c, row.origin())
            for row in paper.recorder
        ),
        maintenance=tuple(
            EventRule(row.event, row.asks_for, row.origin()) for row in paper.maintenance
        ),
        sensor_life=None if paper.sensor_life is None else _life(paper.sensor_life),
    )


def _interval(row: IntervalPaper) -> CheckInterval:
    return CheckInterval(
        row.check, row.furnace_class, row.instrumentation_type, row.every.every(), row.origin()
    )


def _life(paper: SensorLifePaper) -> SensorLife:
    age = None if paper.largest_age is None else paper.largest_age.every()
    return SensorLife(paper.largest_uses, age, paper.origin())


def _every_to_json(every: Every) -> dict[str, int]:
    return {every.span.value: every.count}


def _origin_to_json(origin: Sourced) -> dict[str, str]:
    return {"source": origin.source, "obtained": origin.obtained.value}


def _limits_to_json(rows: tuple[LargestError, ...], figure: str) -> list[dict[str, Any]]:
    return [
        {
            "furnace_class": row.furnace_class,
            figure: str(row.largest_c),
            **_origin_to_json(row.origin),
        }
        for row in rows
    ]


def _life_to_json(life: SensorLife) -> dict[str, Any]:
    return {
        "largest_uses": life.largest_uses,
        "largest_age": None if life.largest_age is None else _every_to_json(life.largest_age),
        **_origin_to_json(life.origin),
    }
