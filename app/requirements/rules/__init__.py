"""Verified papers in words, as a second person compares them. Pure."""

from app.requirements.rules.corrections import correction_parts
from app.requirements.rules.cycles import ShopRules, cycle_parts
from app.requirements.rules.mappings import mapping_parts
from app.requirements.rules.parts import Change, Part, changes, uncompared
from app.requirements.rules.procedures import obtained_words, procedure_parts
from app.requirements.rules.tables import EntryRow, criterion_lines, table_parts, table_rows

__all__ = [
    "Change",
    "EntryRow",
    "Part",
    "ShopRules",
    "changes",
    "correction_parts",
    "criterion_lines",
    "cycle_parts",
    "mapping_parts",
    "obtained_words",
    "procedure_parts",
    "table_parts",
    "table_rows",
    "uncompared",
]
