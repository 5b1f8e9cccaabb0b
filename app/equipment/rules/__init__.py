"""What equipment papers say. Pure: days, texts and figures in, values and findings out."""

from app.equipment.rules.as_found import (
    AsFound,
    FoundPaper,
    as_found,
    as_found_findings,
    largest_error,
)
from app.equipment.rules.blocks import FEW_INDENTS, block_due, indents_due, indents_left_of
from app.equipment.rules.corrections import (
    LARGEST_CORRECTION_C,
    THERMOCOUPLE_TYPES,
    bench_corrections_from_lines,
    corrections_from_lines,
    points_from_lines,
)
from app.equipment.rules.dates import (
    SOON_DAYS,
    DatedPaper,
    Due,
    DueState,
    due,
    due_by,
    governing,
    out_of_use,
    urgency,
    worst_due,
)
from app.equipment.rules.figures import COLUMNS, figures_from_lines
from app.equipment.rules.reports import SentFile, media_type_of, outcome_by_figures
from app.equipment.rules.results import judge_figures, survey_of
from app.equipment.rules.scales import figures_of_scale, why_not_of_scale
from app.equipment.rules.standings import (
    certificate_due,
    furnace_dues,
    standing_by_certificates,
    warning_days,
)
from app.equipment.rules.tolerances import tolerance_notes

__all__ = [
    "COLUMNS",
    "FEW_INDENTS",
    "LARGEST_CORRECTION_C",
    "SOON_DAYS",
    "THERMOCOUPLE_TYPES",
    "AsFound",
    "DatedPaper",
    "Due",
    "DueState",
    "FoundPaper",
    "SentFile",
    "as_found",
    "as_found_findings",
    "bench_corrections_from_lines",
    "block_due",
    "certificate_due",
    "corrections_from_lines",
    "due",
    "due_by",
    "figures_from_lines",
    "figures_of_scale",
    "furnace_dues",
    "governing",
    "indents_due",
    "indents_left_of",
    "judge_figures",
    "largest_error",
    "media_type_of",
    "out_of_use",
    "outcome_by_figures",
    "points_from_lines",
    "standing_by_certificates",
    "survey_of",
    "tolerance_notes",
    "urgency",
    "warning_days",
    "why_not_of_scale",
    "worst_due",
]
