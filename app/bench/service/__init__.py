"""The decisions of the bench, each in one transaction with its trail entries and new verdicts."""

from app.bench.service.baseline import record_baseline
from app.bench.service.checks import CheckTaken, record_check
from app.bench.service.corrections import Corrected, answer_correction, correct_reading
from app.bench.service.drafts import keep_draft
from app.bench.service.figures import (
    ReadingsTaken,
    judge_figures,
    judge_temperature,
    number_of,
    room_for,
)
from app.bench.service.laboratory import LaboratoryResult, record_laboratory_result
from app.bench.service.readings import Saved, record_readings
from app.bench.service.retests import open_retest
from app.bench.service.right_figure import Correction
from app.bench.service.sessions import MOST_READINGS, open_session
from app.bench.service.voids import answer_void, ask_void

__all__ = [
    "MOST_READINGS",
    "CheckTaken",
    "Corrected",
    "Correction",
    "LaboratoryResult",
    "ReadingsTaken",
    "Saved",
    "answer_correction",
    "answer_void",
    "ask_void",
    "correct_reading",
    "judge_figures",
    "judge_temperature",
    "keep_draft",
    "number_of",
    "open_retest",
    "open_session",
    "record_baseline",
    "record_check",
    "record_laboratory_result",
    "record_readings",
    "room_for",
]
