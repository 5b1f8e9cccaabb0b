"""What is read about one furnace record: its files, its summary, its doubts, who confirmed it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.judging.verdict import Finding, Outcome
from app.loads import queries
from app.loads.judged import judge_for_load
from app.loads.records import (
    FurnaceRecord,
    LayoutConfirmation,
    Load,
    RecordDoubts,
    RecordFile,
    RecordSummary,
    RecordVerdict,
)
from app.loads.trace_store import unpack_trace
from app.requirements.records import Requirement, RequirementRevision


def files_of(session: Session, record: FurnaceRecord) -> list[tuple[str, str]]:
    """Name and SHA-256 of every file of a record, in their order."""
    further = session.execute(
        select(RecordFile.file_name, RecordFile.file_sha256)
        .where(RecordFile.record_id == record.id)
        .order_by(RecordFile.position)
    )
    return [(record.file_name, record.file_sha256), *((row[0], row[1]) for row in further)]


def file_of_load(session: Session, load_id: int, sha256: str | None) -> tuple[str, str] | None:
    """Name and SHA-256 of a file that any record of the load was read from, or None.

    Without ``sha256`` the first file of the record that stands.
    """
    records = queries.records(session, load_id)
    if sha256 is None:
        return (records[0].file_name, records[0].file_sha256) if records else None
    for record in records:
        for name, digest in files_of(session, record):
            if digest == sha256:
                return name, digest
    return None


def confirmation_of(session: Session, record_id: int) -> LayoutConfirmation | None:
    """The second person's confirmation of how a record was read, or None."""
    return session.scalars(
        select(LayoutConfirmation).where(LayoutConfirmation.record_id == record_id)
    ).one_or_none()


@dataclass(frozen=True, slots=True)
class CameIn:
    """What stands beside a load's record: how it came in.

    ``files`` are names and SHA-256; ``mapping`` the approved mapping it was read by; ``notes`` what
    the reader noticed; ``doubts`` what looks odd, None where nobody looked (an older record).
    """

    files: tuple[tuple[str, str], ...]
    mapping: tuple[str, str] | None
    notes: tuple[str, ...]
    doubts: tuple[Finding, ...] | None


def came_in(session: Session, load_ids: Iterable[int]) -> dict[int, CameIn]:
    """How each load's standing record came in, by load; two queries however many loads."""
    rows = session.execute(
        select(FurnaceRecord, Requirement.code, RequirementRevision.revision, RecordDoubts)
        .outerjoin(RequirementRevision, RequirementRevision.id == FurnaceRecord.mapping_revision_id)
        .outerjoin(Requirement, Requirement.id == RequirementRevision.requirement_id)
        .outerjoin(RecordDoubts, RecordDoubts.record_id == FurnaceRecord.id)
        .where(FurnaceRecord.load_id.in_(sorted(set(load_ids))), queries.in_use())
    ).all()
    further: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for file in session.scalars(
        select(RecordFile)
        .where(RecordFile.record_id.in_([row[0].id for row in rows]))
        .order_by(RecordFile.position)
    ):
        further[file.record_id].append((file.file_name, file.file_sha256))
    return {
        record.load_id: CameIn(
            ((record.file_name, record.file_sha256), *further[record.id]),
            None if code is None else (code, revision),
            tuple(record.notes or ()),
            None if doubts is None else tuple(_finding(one) for one in doubts.findings),
        )
        for record, code, revision, doubts in rows
    }


def _finding(paper: dict[str, Any]) -> Finding:
    working = tuple(paper["working"])
    return Finding(**{**paper, "outcome": Outcome(paper["outcome"]), "working": working})


def summary_of(session: Session, verdict: RecordVerdict) -> list[dict[str, Any]]:
    """What each deciding sensor saw, as kept beside a verdict.

    For a verdict from before summaries were kept it is computed from the record's samples.
    """
    kept = session.get(RecordSummary, verdict.id)
    if kept is not None:
        return kept.paper
    trace = unpack_trace(queries.trace_content(session, verdict.record_id))
    return judge_for_load(trace, verdict.cycle_as_judged).summary


def last_mapping(session: Session, furnace_id: int, *, before: datetime) -> str | None:
    """The identity of the mapping that this furnace's last record was read by; None by hand."""
    last = session.scalar(
        select(func.max(FurnaceRecord.id))
        .join(Load, Load.id == FurnaceRecord.load_id)
        .where(Load.furnace_id == furnace_id, FurnaceRecord.imported_at <= before)
    )
    return session.scalar(
        select(Requirement.code)
        .join(RequirementRevision, RequirementRevision.requirement_id == Requirement.id)
        .join(FurnaceRecord, FurnaceRecord.mapping_revision_id == RequirementRevision.id)
        .where(FurnaceRecord.id == last)
    )
