"""The decisions of the bench, each in one transaction with its trail entries and new verdicts."""

from app.bench.service.corrections import Correction, answer_void, ask_void, correct_reading
from app.bench.service.readings import (
    LaboratoryResult,
    ReadingsTaken,
    Saved,
    record_laboratory_result,
    record_readings,
)
from app.bench.service.retests import open_retest
from app.bench.service.sessions import (
    CHECK_READINGS,
    MOST_READINGS,
    CheckTaken,
    open_session,
    record_check,
)

__all__ = [
    "CHECK_READINGS",
    "MOST_READINGS",
    "CheckTaken",
    "Correction",
    "LaboratoryResult",
    "ReadingsTaken",
    "Saved",
    "answer_void",
    "ask_void",
    "correct_reading",
    "open_retest",
    "open_session",
    "record_check",
    "record_laboratory_result",
    "record_readings",
]
