"""The form for a pyrometry procedure: its tables as rows, and the paper they make."""

import json
from collections.abc import Callable, Mapping
from typing import Any, Literal

from pydantic import Field

from app.errors import Refusal
from app.judging.furnace.intervals import MonthEnd, Span
from app.judging.furnace.procedure import CheckKind
from app.judging.witness.acceptance import Obtained
from app.requirements.forms.papers import WrittenAgain
from app.requirements.forms.paths import FormRows, on_the_form
from app.web.entries import TypedCode
from app.web.forms import FormModel, Typed, TypedFigure, parse
from app.web.rows import Rows, tried

THIS_PAPER = "this procedure"


class ProcedureForm(WrittenAgain):
    """The head of a procedure, and the parts of it that have no rows."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    revision: str = Field(max_length=20)
    source_document: str = Field(title="source document", max_length=200)
    obtained: Obtained = Field(title="how the values came here")
    month_end: MonthEnd = Field(title="where the month has no such day")
    due_day_counts: Literal["yes", "no"] = Field(title="on the due day itself")
    early_warning_days: int = Field(title="early warning", ge=0, le=366)
    types: str = Field(title="instrumentation types", max_length=200)
    survey_source: str | None = Field(None, max_length=200)
    survey_obtained: Obtained | None = None
    life_uses: int | None = Field(None, title="largest number of uses", ge=1)
    life_count: int | None = Field(None, title="longest time in use", ge=1)
    life_span: Span = Span.MONTHS
    life_source: str | None = Field(None, max_length=200)
    life_obtained: Obtained | None = None


class ClassRow(FormModel):
    """A furnace class and its uniformity."""

    class_name: str = Field(title="class", max_length=8)
    class_uniformity: TypedFigure = Field(title="uniformity")
    class_source: str | None = Field(None, title="source", max_length=200)
    class_obtained: Obtained | None = None


class IntervalRow(FormModel):
    """How often a check of a furnace is made."""

    interval_check: CheckKind = Field(title="check")
    interval_class: str | None = Field(None, title="class", max_length=8)
    interval_type: str | None = Field(None, title="type", max_length=8)
    interval_count: int = Field(title="every", ge=1)
    interval_span: Span = Field(Span.MONTHS, title="days, weeks or months")
    interval_source: str | None = Field(None, title="source", max_length=200)
    interval_obtained: Obtained | None = None


class InstrumentRow(FormModel):
    """How often sensors or vacuum gauges are calibrated."""

    instrument_kind: Literal["sensor", "vacuum gauge"] = Field(title="instrument")
    instrument_count: int = Field(title="every", ge=1)
    instrument_span: Span = Field(Span.MONTHS, title="days, weeks or months")
    instrument_source: str | None = Field(None, title="source", max_length=200)
    instrument_obtained: Obtained | None = None


class ZoneRow(FormModel):
    """The least number of survey sensors up to an area."""

    zone_least: int = Field(title="sensors", ge=1)
    zone_up_to: TypedFigure | None = Field(None, title="area")


class AccuracyRow(FormModel):
    """The largest difference of a system accuracy test."""

    accuracy_largest: TypedFigure = Field(title="largest difference")
    accuracy_class: str | None = Field(None, title="class", max_length=8)
    accuracy_source: str | None = Field(None, title="source", max_length=200)
    accuracy_obtained: Obtained | None = None


class RecorderRow(FormModel):
    """The largest error of a recorder."""

    recorder_largest: TypedFigure = Field(title="largest error")
    recorder_class: str | None = Field(None, title="class", max_length=8)
    recorder_source: str | None = Field(None, title="source", max_length=200)
    recorder_obtained: Obtained | None = None


class WorkRow(FormModel):
    """Which checks a kind of work on a furnace asks for."""

    work_name: str = Field(title="work", max_length=120)
    work_survey: str | None = None
    work_accuracy: str | None = None
    work_recorder: str | None = None
    work_source: str | None = Field(None, title="source", max_length=200)
    work_obtained: Obtained | None = None

    def asks_for(self) -> list[str]:
        """The checks ticked."""
        ticked = (self.work_survey, self.work_accuracy, self.work_recorder)
        return [kind.value for kind, tick in zip(CheckKind, ticked, strict=True) if tick]


ROWS: dict[str, Rows[Any]] = {
    "class": Rows(ClassRow, "class_name", "furnace classes", 3, 2, 40),
    "interval": Rows(
        IntervalRow, "interval_check", "intervals", 6, 6, 200, frozenset({"interval_span"})
    ),
    "instrument": Rows(
        InstrumentRow, "instrument_kind", "instruments", 2, 1, 2, frozenset({"instrument_span"})
    ),
    "zone": Rows(ZoneRow, "zone_least", "sensors of a survey", 2, 1, 20),
    "accuracy": Rows(AccuracyRow, "accuracy_largest", "system accuracy test", 1, 1, 40),
    "recorder": Rows(RecorderRow, "recorder_largest", "recorder calibration", 1, 1, 40),
    "work": Rows(WorkRow, "work_name", "work on a furnace", 3, 2, 40),
}
"""The rows of a procedure's form, by their kind."""

_LISTS: dict[str, tuple[str, dict[str, str]]] = {
    "classes": ("class", {"furnace_class": "class_name", "uniformity_c": "class_uniformity"}),
    "intervals": (
        "interval",
        {
            "furnace_class": "interval_class",
            "instrumentation_type": "interval_type",
            "every": "interval_count",
        },
    ),
    "instruments": ("instrument", {"every": "instrument_count"}),
    "sensors_least": ("zone", {"up_to_m2": "zone_up_to"}),
    "accuracy_test": ("accuracy", {"furnace_class": "accuracy_class"}),
    "recorder": ("recorder", {"furnace_class": "recorder_class"}),
    "maintenance": ("work", {}),
}
"""Each list of the paper: the kind of its rows, and the field of a key that is not the first."""


def row_counts(typed: Mapping[str, str]) -> dict[str, int]:
    """How many rows of each kind the form shows."""
    return {kind: rows.count(typed, kind) for kind, rows in ROWS.items()}


def procedure_paper(typed: Typed) -> tuple[ProcedureForm, str]:
    """The form's head, and what was filled in as a PROCEDURE.json. Empty rows are left out.

    A row that states no source of its own is from the source document.

    Raises:
        Refusal: with one sentence per field that cannot be read, rows numbered from 1.
    """
    problems: dict[str, str] = {}
    head = tried(lambda: parse(ProcedureForm, typed), problems)
    filled = {
        kind: ROWS[kind].read(typed, count, problems) for kind, count in row_counts(typed).items()
    }
    if problems or head is None:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return head, json.dumps(_paper(head, filled))


def told_on_the_form(refusal: Refusal, typed: Typed) -> Refusal:
    """A refusal of the paper, its sentence beside the field of the form where it belongs."""
    counts = row_counts(typed)
    rows = {
        section: FormRows(
            words=ROWS[kind].words,
            fields=fields,
            first=ROWS[kind].key,
            numbers=tuple(ROWS[kind].read(typed, counts[kind], {})),
        )
        for section, (kind, fields) in _LISTS.items()
    }
    alone = {"instrumentation_types": "types", "survey.sensors_least": "zone_least_1"}
    return on_the_form(refusal, THIS_PAPER, rows, alone.get)


def _paper(head: ProcedureForm, filled: Mapping[str, Mapping[int, Any]]) -> dict[str, Any]:
    def origin(source: str | None, obtained: Obtained | None) -> dict[str, str]:
        return {
            "source": source or head.source_document,
            "obtained": (obtained or head.obtained).value,
        }

    def rows(kind: str, content: Callable[[Any], dict[str, Any]]) -> list[dict[str, Any]]:
        return [
            {
                **content(row),
                **origin(getattr(row, f"{kind}_source"), getattr(row, f"{kind}_obtained")),
            }
            for row in filled[kind].values()
        ]

    return {
        "name": head.name,
        "revision": head.revision,
        "calendar": {
            "month_end": head.month_end.value,
            "due_day_counts": head.due_day_counts == "yes",
            "early_warning_days": head.early_warning_days,
        },
        "instrumentation_types": [one.strip() for one in head.types.split(",") if one.strip()],
        "classes": rows(
            "class",
            lambda row: {
                "furnace_class": row.class_name,
                "uniformity_c": str(row.class_uniformity),
            },
        ),
        "intervals": rows("interval", _interval),
        "instruments": rows(
            "instrument",
            lambda row: {
                "instrument": row.instrument_kind,
                "every": {row.instrument_span.value: row.instrument_count},
            },
        ),
        "survey": {
            "sensors_least": [
                {"up_to_m2": _text(row.zone_up_to), "least": row.zone_least}
                for row in filled["zone"].values()
            ],
            **origin(head.survey_source, head.survey_obtained),
        },
        "accuracy_test": rows(
            "accuracy",
            lambda row: {
                "furnace_class": row.accuracy_class,
                "largest_difference_c": str(row.accuracy_largest),
            },
        ),
        "recorder": rows(
            "recorder",
            lambda row: {
                "furnace_class": row.recorder_class,
                "largest_error_c": str(row.recorder_largest),
            },
        ),
        "maintenance": rows(
            "work", lambda row: {"event": row.work_name, "asks_for": row.asks_for()}
        ),
        "sensor_life": _life(head, origin(head.life_source, head.life_obtained)),
    }


def _interval(row: IntervalRow) -> dict[str, Any]:
    return {
        "check": row.interval_check.value,
        "furnace_class": row.interval_class,
        "instrumentation_type": row.interval_type,
        "every": {row.interval_span.value: row.interval_count},
    }


def _life(head: ProcedureForm, origin: Mapping[str, str]) -> dict[str, Any] | None:
    if head.life_uses is None and head.life_count is None:
        return None
    age = None if head.life_count is None else {head.life_span.value: head.life_count}
    return {"largest_uses": head.life_uses, "largest_age": age, **origin}


def _text(figure: object) -> str | None:
    return None if figure is None else str(figure)
