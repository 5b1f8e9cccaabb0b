"""What is read about tables, cycles, procedures, mappings and correction tables."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.orm import Session, aliased

from app.audit.actor import Actor
from app.documents.correction_table import correction_table_from_json
from app.documents.logger.logger_mapping import LoggerMapping, mapping_from_json
from app.documents.pyrometry import procedure_from_json
from app.documents.table import table_from_json
from app.errors import NotAllowed, NotFound
from app.judging.furnace.procedure import Procedure
from app.judging.witness.acceptance import Table
from app.judging.witness.corrections import CorrectionTable
from app.requirements.records import (
    Requirement,
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
    RequirementWithdrawal,
    SecondKeying,
)
from app.requirements.rules import (
    Group,
    Part,
    correction_cells,
    correction_parts,
    cycle_cells,
    cycle_parts,
    gap_parts,
    mapping_parts,
    procedure_cells,
    procedure_parts,
    table_cells,
    table_parts,
)


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision with what has become of it."""

    id: int
    code: str
    kind: RequirementKind
    name: str
    revision: str
    paper: dict[str, Any]
    paper_sha256: str
    shop_rules: dict[str, str]
    source_document: str
    written_by_id: int
    written_at: datetime
    verified_by_id: int | None
    verified_at: datetime | None
    in_force_from: datetime | None
    sample: list[list[str]] | None
    withdrawn_at: datetime | None
    attempt: int
    again_because: str | None
    differences: list[list[str]] | None
    """Of its last second keying: place, first and second entry; None where nobody keyed it."""

    @property
    def is_keyed(self) -> bool:
        """Whether a second person's entry agrees in every value."""
        return self.differences is not None and not self.differences

    @property
    def wants_keying(self) -> bool:
        """Whether its values are still to be keyed by a second person; those of a mapping never."""
        return self.kind is not RequirementKind.LOGGER_MAPPING and not self.is_keyed

    @property
    def may_be_keyed(self) -> bool:
        """Whether a second person may still key its values."""
        return self.wants_keying and self.verified_by_id is None and self.withdrawn_at is None

    def is_hidden_from(self, by: Actor) -> bool:
        """Whether its values are not shown to this person.

        As long as a draft may be keyed, its writer alone sees them: whoever has seen them cannot
        key them blind. Ask the last attempt; what it answers holds for the earlier ones too.
        """
        return self.may_be_keyed and not by.is_person(self.written_by_id)

    def in_force(self, at: datetime) -> bool:
        """Whether a second person had verified it and it was in force at that time."""
        if self.in_force_from is None or at < self.in_force_from:
            return False
        return self.withdrawn_at is None or at < self.withdrawn_at


def is_last_attempt() -> ColumnElement[bool]:
    """Whether a revision as written is the last attempt of its name; of another none is used."""
    later = aliased(RequirementRevision)
    return ~exists().where(
        later.requirement_id == RequirementRevision.requirement_id,
        later.revision == RequirementRevision.revision,
        later.attempt > RequirementRevision.attempt,
    )


def _select_revisions() -> Any:
    """Every attempt of every revision, with the differences of its last second keying."""
    keying = aliased(SecondKeying)
    last = select(func.max(keying.id)).where(keying.revision_id == RequirementRevision.id)
    return (
        select(
            RequirementRevision.id,
            Requirement.code,
            Requirement.kind,
            Requirement.name,
            RequirementRevision.revision,
            RequirementRevision.paper,
            RequirementRevision.paper_sha256,
            RequirementRevision.shop_rules,
            RequirementRevision.source_document,
            RequirementRevision.written_by_id,
            RequirementRevision.written_at,
            RequirementVerification.verified_by_id,
            RequirementVerification.verified_at,
            RequirementVerification.in_force_from,
            RequirementVerification.sample,
            RequirementWithdrawal.withdrawn_at,
            RequirementRevision.attempt,
            RequirementRevision.again_because,
            SecondKeying.differences,
        )
        .join(Requirement, Requirement.id == RequirementRevision.requirement_id)
        .outerjoin(
            RequirementVerification, RequirementVerification.revision_id == RequirementRevision.id
        )
        .outerjoin(
            RequirementWithdrawal, RequirementWithdrawal.revision_id == RequirementRevision.id
        )
        .outerjoin(SecondKeying, SecondKeying.id == last.scalar_subquery())
    )


def revision(session: Session, revision_id: int) -> Revision:
    """One revision by its key; NotFound if there is none."""
    row = session.execute(
        _select_revisions().where(RequirementRevision.id == revision_id)
    ).one_or_none()
    if row is None:
        raise NotFound("That revision is not on record.")
    return Revision(*row)


def revisions(
    session: Session, *, kind: RequirementKind | None = None, code: str | None = None
) -> list[Revision]:
    """Revisions of a kind, or of one requirement, oldest first under each code.

    Of each the last attempt only, at the place of its first.
    """
    query = _select_revisions().where(is_last_attempt())
    if kind is not None:
        query = query.where(Requirement.kind == kind)
    if code is not None:
        query = query.where(Requirement.code == code)
    same = aliased(RequirementRevision)
    first = select(func.min(same.id)).where(
        same.requirement_id == RequirementRevision.requirement_id,
        same.revision == RequirementRevision.revision,
    )
    ordered = query.order_by(Requirement.code, first.scalar_subquery())
    return [Revision(*row) for row in session.execute(ordered)]


def attempts(session: Session, code: str, revision: str) -> list[Revision]:
    """Every attempt at one revision, the first one first: its history, which judges nothing."""
    query = _select_revisions().where(
        Requirement.code == code, RequirementRevision.revision == revision
    )
    ordered = query.order_by(RequirementRevision.attempt)
    return [Revision(*row) for row in session.execute(ordered)]


class RevisionState(StrEnum):
    """What has become of a revision."""

    IN_FORCE = "in force"
    SUPERSEDED = "superseded"
    COMING = "verified, not yet in force"
    UNVERIFIED = "draft"
    WITHDRAWN = "withdrawn"


def state_of(revision: Revision, at: datetime, found: Sequence[Revision] = ()) -> RevisionState:
    """Where a revision stands at a time; ``found`` are all of its requirement, oldest first.

    One that is in force is superseded where a later one is in force too. It may still be used where
    an order asks for it.
    """
    if revision.withdrawn_at is not None and at >= revision.withdrawn_at:
        return RevisionState.WITHDRAWN
    if revision.in_force_from is None:
        return RevisionState.UNVERIFIED
    if at < revision.in_force_from:
        return RevisionState.COMING
    if superseded_by(revision, at, found) is not None:
        return RevisionState.SUPERSEDED
    return RevisionState.IN_FORCE


def superseded_by(revision: Revision, at: datetime, found: Sequence[Revision]) -> Revision | None:
    """The newest revision in force, where that is not this one and this one is in force too."""
    in_force = [one for one in found if one.in_force(at)]
    if not revision.in_force(at) or not in_force or in_force[-1].id == revision.id:
        return None
    return in_force[-1]


def named(
    session: Session, code: str, *, kind: RequirementKind, revision: str | None = None
) -> list[Revision]:
    """Every revision of one requirement, oldest first.

    Raises:
        NotFound: there is none of that identity, or none of that revision.
    """
    found = revisions(session, kind=kind, code=code)
    if not found:
        raise NotFound(f"No {kind} {code} is on record. Check its identity.")
    if revision is not None and all(one.revision != revision for one in found):
        raise NotFound(f"{code} has no revision {revision!r}; it has {_listed(found)}.")
    return found


def may_see_values(revision: Revision, by: Actor) -> None:
    """Pass where the values of a revision (its last attempt) are shown to this person.

    Raises:
        NotAllowed: it is a draft that somebody else wrote and that is still to be keyed.
    """
    if revision.is_hidden_from(by):
        raise NotAllowed(
            f"The values of {revision.code} revision {revision.revision} are shown to its writer "
            "alone until a second person has keyed them from the source document and both entries "
            "agree; whoever has seen them cannot key them blind."
        )


def shown_first(found: list[Revision], at: datetime, *, asked: str | None = None) -> Revision:
    """The revision a page opens with: the one asked for, else the newest in force, else newest."""
    if asked is not None:
        return next(one for one in found if one.revision == asked)
    in_force = [one for one in found if one.in_force(at)]
    return in_force[-1] if in_force else found[-1]


def table_of(revision: Revision) -> Table:
    """The acceptance table a revision's paper holds."""
    return table_from_json(revision.paper, filename=f"{revision.code} {revision.revision}")


def procedure_of(revision: Revision) -> Procedure:
    """The pyrometry procedure a revision's paper holds."""
    return procedure_from_json(revision.paper, filename=f"{revision.code} {revision.revision}")


def mapping_of(revision: Revision) -> LoggerMapping:
    """The logger mapping a revision's paper holds."""
    return mapping_from_json(revision.paper, filename=f"{revision.code} {revision.revision}")


def correction_table_of(revision: Revision) -> CorrectionTable:
    """The correction table a revision's paper holds."""
    return correction_table_from_json(
        revision.paper, code=revision.code, filename=f"{revision.code} {revision.revision}"
    )


def procedures_in_force(session: Session, *, at: datetime) -> list[tuple[int, Revision]]:
    """Key and newest revision in force of every procedure that has one, by code.

    Newest is the one written last. The key is the requirement's, as a furnace's qualification
    names it.
    """
    keys = {
        code: key
        for key, code in session.execute(
            select(Requirement.id, Requirement.code).where(
                Requirement.kind == RequirementKind.PYROMETRY_PROCEDURE
            )
        )
    }
    newest = _newest_in_force(session, RequirementKind.PYROMETRY_PROCEDURE, at)
    return [(keys[one.code], one) for one in newest]


def mappings_in_force(session: Session, *, at: datetime) -> list[Revision]:
    """The newest revision in force of every logger mapping that has one, by code."""
    return _newest_in_force(session, RequirementKind.LOGGER_MAPPING, at)


def _newest_in_force(session: Session, kind: RequirementKind, at: datetime) -> list[Revision]:
    newest = {one.code: one for one in revisions(session, kind=kind) if one.in_force(at)}
    return list(newest.values())


def parts_of(revision: Revision) -> tuple[Part, ...]:
    """The parts a second person compares, every value among them.

    Of a table besides, as its last part, what no entry is for, where there is any.
    """
    if revision.kind is RequirementKind.ACCEPTANCE_TABLE:
        table = table_of(revision)
        return (*table_parts(table), *gap_parts(table))
    if revision.kind is RequirementKind.CYCLE:
        return cycle_parts(revision.paper, revision.shop_rules)
    if revision.kind is RequirementKind.PYROMETRY_PROCEDURE:
        return procedure_parts(procedure_of(revision))
    if revision.kind is RequirementKind.CORRECTION_TABLE:
        return correction_parts(correction_table_of(revision))
    return mapping_parts(revision.paper)


def cells_of(revision: Revision) -> tuple[Group, ...]:
    """The values that a second person keys; none of a mapping, which is tried on an export."""
    if revision.kind is RequirementKind.ACCEPTANCE_TABLE:
        return table_cells(revision.paper)
    if revision.kind is RequirementKind.CYCLE:
        return cycle_cells(revision.paper, revision.shop_rules)
    if revision.kind is RequirementKind.PYROMETRY_PROCEDURE:
        return procedure_cells(revision.paper)
    if revision.kind is RequirementKind.CORRECTION_TABLE:
        return correction_cells(revision.paper)
    return ()


def drafts(session: Session) -> list[Revision]:
    """What nobody has verified or withdrawn, the last attempt of each, oldest first; one query."""
    query = _select_revisions().where(
        is_last_attempt(),
        RequirementVerification.id.is_(None),
        RequirementWithdrawal.id.is_(None),
    )
    ordered = query.order_by(RequirementRevision.written_at, RequirementRevision.id)
    return [Revision(*row) for row in session.execute(ordered)]


def keyings(session: Session, revision_id: int) -> list[SecondKeying]:
    """Every second keying of one attempt, the first one first."""
    return list(
        session.scalars(
            select(SecondKeying)
            .where(SecondKeying.revision_id == revision_id)
            .order_by(SecondKeying.id)
        )
    )


def previous(found: Sequence[Revision], shown: Revision) -> Revision | None:
    """The revision written before the one shown, or None; ``found`` are all, oldest first."""
    names = [one.revision for one in found]
    at = names.index(shown.revision)
    return found[at - 1] if at else None


def find_requirement(session: Session, code: str) -> Requirement | None:
    """The requirement of that identity, or None."""
    return session.scalars(select(Requirement).where(Requirement.code == code)).one_or_none()


def _listed(found: list[Revision]) -> str:
    return ", ".join(one.revision for one in found)
