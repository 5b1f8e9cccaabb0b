"""What equipment papers say. Pure: days, texts and figures in, values and findings out."""

from app.equipment.rules.corrections import (
    LARGEST_CORRECTION_C,
    THERMOCOUPLE_TYPES,
    corrections_from_lines,
)
from app.equipment.rules.dates import (
    SOON_DAYS,
    DatedPaper,
    Due,
    DueState,
    due,
    due_by,
    governing,
    in_date,
    urgency,
    worst_due,
)
from app.equipment.rules.figures import COLUMNS, figures_from_lines
from app.equipment.rules.reports import SentFile, media_type_of, outcome_by_figures
from app.equipment.rules.results import judge_figures, survey_of
from app.equipment.rules.standings import certificate_due, furnace_dues, warning_days
from app.equipment.rules.tolerances import tolerance_notes

__all__ = [
    "COLUMNS",
    "LARGEST_CORRECTION_C",
    "SOON_DAYS",
    "THERMOCOUPLE_TYPES",
    "DatedPaper",
    "Due",
    "DueState",
    "SentFile",
    "certificate_due",
    "corrections_from_lines",
    "due",
    "due_by",
    "figures_from_lines",
    "furnace_dues",
    "governing",
    "in_date",
    "judge_figures",
    "media_type_of",
    "outcome_by_figures",
    "survey_of",
    "tolerance_notes",
    "urgency",
    "warning_days",
    "worst_due",
]
