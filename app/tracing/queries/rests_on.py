"""What rests on a verified paper: loads, furnaces and records that used one of its revisions."""

import json
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, TypeAlias

from sqlalchemy import Text, func, select, type_coerce
from sqlalchemy.orm import Session

from app.equipment.records import Furnace, FurnaceQualification, ReportReview
from app.errors import NotFound
from app.loads.records import FurnaceRecord, Load, LoadPanel
from app.panels.records import Panel
from app.requirements.queries import find_requirement, is_last_attempt
from app.requirements.records import Requirement, RequirementKind, RequirementRevision

MOST = 100


@dataclass(frozen=True, slots=True)
class Resting:
    """One thing that rests on a paper: its kind and identity, in which way, and since when."""

    kind: str
    code: str
    words: str
    since: datetime


@dataclass(frozen=True, slots=True)
class RestingOn:
    """A paper, how many things rest on it, and the newest of them, at most ``MOST``."""

    kind: RequirementKind
    code: str
    name: str
    count: int
    newest: Sequence[Resting]


def resting_on(session: Session, code: str, *, hidden: Collection[int] = ()) -> RestingOn:
    """What used any revision of the paper of that identity.

    What ``hidden`` revisions of tables (their keys) ask for is left out.

    Raises:
        NotFound: no verified paper has that identity.
    """
    requirement = find_requirement(session, code)
    if requirement is None:
        raise NotFound(f"No paper {code} is on record. Check its identity.")
    readers: dict[RequirementKind, Callable[[Requirement], _Read]] = {
        RequirementKind.ACCEPTANCE_TABLE: _judged,
        RequirementKind.CYCLE: _run,
        RequirementKind.PYROMETRY_PROCEDURE: _governed,
        RequirementKind.LOGGER_MAPPING: _imported,
        RequirementKind.CORRECTION_TABLE: partial(_named, hidden=hidden),
    }
    query, words = readers[requirement.kind](requirement)
    count = session.scalar(select(func.count()).select_from(query.subquery())) or 0
    rows = session.execute(query.limit(MOST)).all()
    newest = [words(row) for row in rows]
    return RestingOn(requirement.kind, requirement.code, requirement.name, count, newest)


_Read: TypeAlias = tuple[Any, Callable[[Any], Resting]]
"""What is selected (its columns are more than a typed select knows), and a row of it in words."""


def _judged(table: Requirement) -> _Read:
    """Panels whose coupons a table judges."""
    query = (
        select(Panel.code, Load.code.label("load"), RequirementRevision.revision, Load.planned_at)
        .join(LoadPanel, LoadPanel.panel_id == Panel.id)
        .join(Load, Load.id == LoadPanel.load_id)
        .join(RequirementRevision, RequirementRevision.id == LoadPanel.table_revision_id)
        .where(RequirementRevision.requirement_id == table.id)
        .order_by(LoadPanel.id.desc())
    )
    return query, lambda row: Resting(
        "panel", row.code, f"in load {row.load}, by revision {row.revision}", row.planned_at
    )


def _run(cycle: Requirement) -> _Read:
    """Loads run to a cycle."""
    query = (
        select(Load.code, Furnace.code.label("furnace"), RequirementRevision.revision)
        .add_columns(Load.planned_at)
        .join(Furnace, Furnace.id == Load.furnace_id)
        .join(RequirementRevision, RequirementRevision.id == Load.cycle_revision_id)
        .where(RequirementRevision.requirement_id == cycle.id)
        .order_by(Load.id.desc())
    )
    return query, lambda row: Resting(
        "load", row.code, f"in furnace {row.furnace}, to revision {row.revision}", row.planned_at
    )


def _governed(procedure: Requirement) -> _Read:
    """Furnaces that a procedure governs, or did."""
    query = (
        select(Furnace.code, FurnaceQualification, ReportReview.accepted)
        .join(FurnaceQualification, FurnaceQualification.furnace_id == Furnace.id)
        .outerjoin(ReportReview, ReportReview.qualification_id == FurnaceQualification.id)
        .where(FurnaceQualification.procedure_id == procedure.id)
        .order_by(FurnaceQualification.id.desc())
    )

    def words(row: Any) -> Resting:
        kept = row.FurnaceQualification
        review = {None: "not yet reviewed", True: "accepted", False: "rejected"}[row.accepted]
        said = (
            f"class {kept.furnace_class}, type {kept.instrumentation_type}, "
            f"from {kept.in_force_from}: {review}"
        )
        return Resting("furnace", row.code, said, kept.entered_at)

    return query, words


def _imported(mapping: Requirement) -> _Read:
    """Loads whose record was read by a mapping."""
    query = (
        select(Load.code, FurnaceRecord.file_name, RequirementRevision.revision)
        .add_columns(FurnaceRecord.imported_at)
        .join(FurnaceRecord, FurnaceRecord.load_id == Load.id)
        .join(RequirementRevision, RequirementRevision.id == FurnaceRecord.mapping_revision_id)
        .where(RequirementRevision.requirement_id == mapping.id)
        .order_by(FurnaceRecord.id.desc())
    )
    return query, lambda row: Resting(
        "load", row.code, f"{row.file_name}, by revision {row.revision}", row.imported_at
    )


def _named(corrections: Requirement, hidden: Collection[int]) -> _Read:
    """Acceptance tables that ask for a correction table."""
    # A paper's one text form has no spaces, so that the name stands in it in this way only.
    asks = f'"correction":{json.dumps(corrections.code)}'
    query = (
        select(Requirement.code, RequirementRevision.revision, RequirementRevision.written_at)
        .join(RequirementRevision, RequirementRevision.requirement_id == Requirement.id)
        .where(Requirement.kind == RequirementKind.ACCEPTANCE_TABLE)
        .where(type_coerce(RequirementRevision.paper, Text).contains(asks, autoescape=True))
        .where(is_last_attempt(), RequirementRevision.id.not_in(hidden))
        .order_by(RequirementRevision.id.desc())
    )
    return query, lambda row: Resting(
        "acceptance_table", row.code, f"revision {row.revision} asks for it", row.written_at
    )
