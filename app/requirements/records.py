"""Papers that a second person verifies. A revision is never edited; a verification is a row."""

from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of


class RequirementKind(StrEnum):
    """What a requirement is."""

    ACCEPTANCE_TABLE = "acceptance table"
    CYCLE = "cycle"
    PYROMETRY_PROCEDURE = "pyrometry procedure"
    LOGGER_MAPPING = "logger mapping"
    CORRECTION_TABLE = "correction table"


class Requirement(Base):
    """A table, cycle, procedure, mapping or correction table, whatever its revision."""

    __tablename__ = "requirement"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    kind: Mapped[RequirementKind] = mapped_column(words_of(RequirementKind))
    name: Mapped[str] = mapped_column(String(120))


class RequirementRevision(Base):
    """One revision as written.

    ``paper`` is the kind's form in ``app/documents``; a cycle's paper names no sensors and no
    corrections, which belong to the load. ``shop_rules`` are what the shop
    asks besides (of a cycle: ``sensors_per_panel``, ``coupons_per_panel``, ``leak_limit_kpa``,
    ``leak_minutes``, as texts).
    """

    __tablename__ = "requirement_revision"
    __table_args__ = (UniqueConstraint("requirement_id", "revision"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    requirement_id: Mapped[int] = mapped_column(ForeignKey("requirement.id"))
    revision: Mapped[str] = mapped_column(String(20))
    paper: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    paper_sha256: Mapped[str] = mapped_column(String(64))
    shop_rules: Mapped[dict[str, str]] = mapped_column(Paper)
    source_document: Mapped[str] = mapped_column(String(200))
    written_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    written_at: Mapped[datetime]


class RequirementVerification(Base):
    """A second person compared the revision with its source; it is in force from then on."""

    __tablename__ = "requirement_verification"

    id: Mapped[int] = mapped_column(primary_key=True)
    revision_id: Mapped[int] = mapped_column(ForeignKey("requirement_revision.id"), unique=True)
    verified_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    verified_at: Mapped[datetime]
    in_force_from: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    sample: Mapped[list[list[str]] | None] = mapped_column(Paper)
    """Of a mapping: name and SHA-256 of each file of the export that it was tried on."""


class RequirementWithdrawal(Base):
    """From ``withdrawn_at`` on no new load may use the revision; what it judged stands."""

    __tablename__ = "requirement_withdrawal"

    id: Mapped[int] = mapped_column(primary_key=True)
    revision_id: Mapped[int] = mapped_column(ForeignKey("requirement_revision.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    withdrawn_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    withdrawn_at: Mapped[datetime]
