"""Verified papers in words and cells, as second persons key and compare them. Pure."""

from app.requirements.rules.cells import Cell, Group, Unlike, agree, only, places, unlike, values
from app.requirements.rules.corrections import correction_parts
from app.requirements.rules.cycle_cells import correction_cells, cycle_cells
from app.requirements.rules.cycles import ShopRules, cycle_parts
from app.requirements.rules.differences import differences
from app.requirements.rules.gaps import Gap, gap_parts, gaps
from app.requirements.rules.mappings import mapping_parts
from app.requirements.rules.parts import Change, Part, changes, uncompared
from app.requirements.rules.procedure_cells import procedure_cells
from app.requirements.rules.procedures import obtained_words, procedure_parts
from app.requirements.rules.table_cells import table_cells
from app.requirements.rules.tables import EntryRow, criterion_lines, table_parts, table_rows

__all__ = [
    "Cell",
    "Change",
    "EntryRow",
    "Gap",
    "Group",
    "Part",
    "ShopRules",
    "Unlike",
    "agree",
    "changes",
    "correction_cells",
    "correction_parts",
    "criterion_lines",
    "cycle_cells",
    "cycle_parts",
    "differences",
    "gap_parts",
    "gaps",
    "mapping_parts",
    "obtained_words",
    "only",
    "places",
    "procedure_cells",
    "procedure_parts",
    "table_cells",
    "table_parts",
    "table_rows",
    "uncompared",
    "unlike",
    "values",
]
