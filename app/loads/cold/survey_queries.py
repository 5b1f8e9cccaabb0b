"""A furnace's last survey with its figures, and a load beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.records import FurnaceCheck, FurnaceCheckKind, ReportReview
from app.equipment.rules.results import survey_of
from app.judging.furnace.furnace_reports import Survey
from app.judging.verdict import Finding
from app.loads.cold.survey_pattern import (
    Beside,
    Placed,
    beside,
    stations_of,
    survey_nearest,
    turned,
)


@dataclass(frozen=True, slots=True)
class SurveyOnRecord:
    """The survey that counts: its key, its report's number and the day it was made."""

    id: int
    report: str
    done_on: date
    survey: Survey


@dataclass(frozen=True, slots=True)
class SurveySheet:
    """Places beside the stations of a survey; ``note`` where the pattern has turned."""

    id: int
    report: str
    done_on: date
    set_c: str
    rows: list[Beside]
    note: Finding | None


def last_survey(session: Session, furnace_id: int, *, on: date) -> SurveyOnRecord | None:
    """The newest survey made on or before a day, with figures, that a second person accepted."""
    found = session.scalars(
        select(FurnaceCheck)
        .join(ReportReview, ReportReview.furnace_check_id == FurnaceCheck.id)
        .where(
            FurnaceCheck.furnace_id == furnace_id,
            FurnaceCheck.kind == FurnaceCheckKind.UNIFORMITY_SURVEY,
            FurnaceCheck.done_on <= on,
            ReportReview.accepted,
            ReportReview.reviewed_by_id != FurnaceCheck.entered_by_id,
        )
        .order_by(FurnaceCheck.done_on.desc(), FurnaceCheck.id.desc())
    ).all()
    for row in found:
        if row.results is not None:
            return SurveyOnRecord(row.id, row.report, row.done_on, survey_of(row.results))
    return None


def beside_survey(
    found: SurveyOnRecord, places: Sequence[Placed], *, set_c: float, against: str
) -> SurveySheet | None:
    """The places beside the survey at its temperature nearest to ``set_c``; None where it is empty.

    ``against`` says what the places' deviations are from, for the note's working.
    """
    at = survey_nearest(found.survey, set_c)
    if at is None:
        return None
    rows = beside(places, stations_of(at))
    return SurveySheet(
        found.id, found.report, found.done_on, str(at.set_c), rows, turned(rows, against=against)
    )


def set_over_soaks(sets_c: Sequence[float], stages: Sequence[Mapping[str, Any]]) -> float | None:
    """The set temperature over all soaks, each stage's weighted by its soak's length, in degC.

    So that it stands beside a sensor's mean over the same time. None where there was no soak.
    """
    lasted = [float(stage["elapsed_s"]) for stage in stages]
    if sum(lasted) <= 0:
        return None
    weighted = (set_c * time for set_c, time in zip(sets_c, lasted, strict=True))
    return sum(weighted) / sum(lasted)
