"""A procedure's paper as the form that it could be typed in, for a further revision."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from app.judging.furnace.procedure import CheckKind

_TICKS = {
    CheckKind.UNIFORMITY_SURVEY.value: "work_survey",
    CheckKind.ACCURACY_TEST.value: "work_accuracy",
    CheckKind.RECORDER_CALIBRATION.value: "work_recorder",
}


def typed_procedure(code: str, source_document: str, paper: Mapping[str, Any]) -> dict[str, str]:
    """Every field of the form, filled in from a paper as kept; the revision's name is left open.

    A source that is the source document itself is left out, for it would be filled in again.
    """
    calendar, survey, life = paper["calendar"], paper["survey"], paper["sensor_life"]
    obtained = paper["classes"][0]["obtained"]
    typed = {
        "code": code,
        "name": paper["name"],
        "revision": "",
        "source_document": source_document,
        "obtained": obtained,
        "month_end": calendar["month_end"],
        "due_day_counts": "yes" if calendar["due_day_counts"] else "no",
        "early_warning_days": str(calendar["early_warning_days"]),
        "types": ", ".join(paper["instrumentation_types"]),
        "survey_source": _other(survey["source"], source_document),
        "survey_obtained": _other(survey["obtained"], obtained),
    }
    if life is not None:
        count, span = _every(life["largest_age"])
        typed |= {
            "life_uses": _text(life["largest_uses"]),
            "life_count": count,
            "life_span": span,
            "life_source": _other(life["source"], source_document),
            "life_obtained": _other(life["obtained"], obtained),
        }
    for kind, rows in _sections(paper):
        typed[f"{kind}_rows"] = str(len(rows) + 1)
        for number, (row, origin) in enumerate(rows, start=1):
            fields = dict(row)
            if origin is not None:
                fields["source"] = _other(origin["source"], source_document)
                fields["obtained"] = _other(origin["obtained"], obtained)
            typed |= {f"{kind}_{name}_{number}": text for name, text in fields.items()}
    return typed


_Rows = Sequence[tuple[Mapping[str, str], Mapping[str, Any] | None]]


def _sections(paper: Mapping[str, Any]) -> Iterable[tuple[str, _Rows]]:
    yield (
        "class",
        [
            ({"name": row["furnace_class"], "uniformity": row["uniformity_c"]}, row)
            for row in paper["classes"]
        ],
    )
    yield "interval", [(_interval(row), row) for row in paper["intervals"]]
    yield (
        "instrument",
        [(_instrument(row), row) for row in paper["instruments"]],
    )
    yield (
        "zone",
        [
            ({"least": str(row["least"]), "up_to": _text(row["up_to_m2"])}, None)
            for row in paper["survey"]["sensors_least"]
        ],
    )
    for kind, section, figure in (
        ("accuracy", "accuracy_test", "largest_difference_c"),
        ("recorder", "recorder", "largest_error_c"),
    ):
        yield (
            kind,
            [
                ({"largest": row[figure], "class": _text(row["furnace_class"])}, row)
                for row in paper[section]
            ],
        )
    yield "work", [(_work(row), row) for row in paper["maintenance"]]


def _interval(row: Mapping[str, Any]) -> dict[str, str]:
    count, span = _every(row["every"])
    return {
        "check": row["check"],
        "class": _text(row["furnace_class"]),
        "type": _text(row["instrumentation_type"]),
        "count": count,
        "span": span,
    }


def _instrument(row: Mapping[str, Any]) -> dict[str, str]:
    count, span = _every(row["every"])
    return {"kind": row["instrument"], "count": count, "span": span}


def _work(row: Mapping[str, Any]) -> dict[str, str]:
    ticks = {_TICKS[kind].removeprefix("work_"): "yes" for kind in row["asks_for"]}
    return {"name": row["event"], **ticks}


def _every(every: Mapping[str, int] | None) -> tuple[str, str]:
    """Count and span of an interval."""
    if every is None:
        return "", "months"
    ((span, count),) = every.items()
    return str(count), span


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _other(text: str, usual: str) -> str:
    """A text that is not the usual one; nothing where it is."""
    return "" if text == usual else text
