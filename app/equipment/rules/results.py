"""A report's figures, from the paper they are kept as to what they are judged by. Pure.

A survey's paper has ``zone`` and ``temperatures`` (each ``set_c`` and ``sensors``), an accuracy
test's ``readings``, a recorder calibration's ``points``; every figure is a text as it was typed.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from app.judging.furnace.furnace_reports import (
    AccuracyReading,
    Millivolts,
    RecorderPoint,
    SensorResult,
    Survey,
    SurveyAt,
    judge_accuracy_test,
    judge_recorder_calibration,
    judge_survey,
)
from app.judging.furnace.procedure import CheckKind, Procedure
from app.judging.furnace.zone import Zone
from app.judging.verdict import Finding

MILLIVOLTS = "mV"
DEGREES = "degC"


def survey_of(paper: Mapping[str, Any]) -> Survey:
    """The survey that a paper holds."""
    return Survey(
        zone_of(paper["zone"]),
        tuple(
            SurveyAt(
                Decimal(at["set_c"]), tuple(_sensor_result(sensor) for sensor in at["sensors"])
            )
            for at in paper["temperatures"]
        ),
    )


def zone_of(paper: Mapping[str, str]) -> Zone:
    """The surveyed zone that a paper holds."""
    return Zone(
        Decimal(paper["length_mm"]),
        Decimal(paper["width_mm"]),
        Decimal(paper["x_mm"]),
        Decimal(paper["y_mm"]),
    )


def accuracy_readings_of(paper: Mapping[str, Any]) -> tuple[AccuracyReading, ...]:
    """The readings of an accuracy test that a paper holds."""
    return tuple(
        AccuracyReading(one["channel"], Decimal(one["test_c"]), Decimal(one["indicated_c"]))
        for one in paper["readings"]
    )


def recorder_points_of(paper: Mapping[str, Any]) -> tuple[RecorderPoint, ...]:
    """The points of a recorder's calibration that a paper holds."""
    return tuple(
        RecorderPoint(one["channel"], _applied(one), Decimal(one["indicated_c"]))
        for one in paper["points"]
    )


def judge_figures(
    kind: CheckKind, paper: Mapping[str, Any], procedure: Procedure, *, furnace_class: str
) -> tuple[Finding, ...]:
    """A report's findings from its figures, as the procedure judges such a furnace.

    Raises:
        Refusal: figures that contradict each other, or a voltage outside its type's range.
    """
    if kind is CheckKind.UNIFORMITY_SURVEY:
        return judge_survey(survey_of(paper), procedure, furnace_class=furnace_class)
    if kind is CheckKind.ACCURACY_TEST:
        readings = accuracy_readings_of(paper)
        return judge_accuracy_test(readings, procedure, furnace_class=furnace_class, channels=())
    points = recorder_points_of(paper)
    return judge_recorder_calibration(points, procedure, furnace_class=furnace_class, channels=())


def _sensor_result(paper: Mapping[str, Any]) -> SensorResult:
    return SensorResult(
        station=paper["station"],
        x_mm=Decimal(paper["x_mm"]),
        y_mm=Decimal(paper["y_mm"]),
        lowest_c=_figure(paper["lowest_c"]),
        highest_c=_figure(paper["highest_c"]),
        correction_c=_figure(paper["correction_c"]),
    )


def _applied(paper: Mapping[str, Any]) -> Decimal | Millivolts:
    applied = Decimal(paper["applied"])
    if paper["unit"] != MILLIVOLTS:
        return applied
    reference = paper["reference_c"]
    return Millivolts(
        applied, paper["type"], Decimal(0) if reference is None else Decimal(reference)
    )


def _figure(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
