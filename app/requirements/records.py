"""Papers that a second person keys again and verifies, and the orders that name them.

A revision is never edited; a verification is a row.
"""

from datetime import date, datetime
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
    __table_args__ = (UniqueConstraint("requirement_id", "revision", "attempt"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    requirement_id: Mapped[int] = mapped_column(ForeignKey("requirement.id"))
    revision: Mapped[str] = mapped_column(String(20))
    paper: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    paper_sha256: Mapped[str] = mapped_column(String(64))
    shop_rules: Mapped[dict[str, str]] = mapped_column(Paper)
    source_document: Mapped[str] = mapped_column(String(200))
    written_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    written_at: Mapped[datetime]
    attempt: Mapped[int] = mapped_column(server_default="1")
    """From 1. A draft found wrong is written again under its name; the last attempt stands."""
    again_because: Mapped[str | None] = mapped_column(Text)
    """Why it was written again; None of the first attempt."""


class SecondKeying(Base):
    """A second person keyed the values from the source without seeing the first entry.

    ``cells`` maps each place of a value to what was keyed; ``differences`` lists place, first and
    second entry where they are not the same.
    """

    __tablename__ = "second_keying"

    id: Mapped[int] = mapped_column(primary_key=True)
    revision_id: Mapped[int] = mapped_column(ForeignKey("requirement_revision.id"), index=True)
    cells: Mapped[dict[str, str]] = mapped_column(Paper, info={"trail": "digest"})
    differences: Mapped[list[list[str]]] = mapped_column(Paper)
    keyed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    keyed_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


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


class CustomerOrder(Base):
    """A customer's order. Its day selects which revision of each requirement governs it."""

    __tablename__ = "customer_order"

    id: Mapped[int] = mapped_column(primary_key=True)
    number: Mapped[str] = mapped_column(String(80), unique=True)
    customer: Mapped[str] = mapped_column(String(120))
    placed_on: Mapped[date]
    later_revisions_allowed: Mapped[bool]
    """Whether the shop may work to a revision issued after the order was placed."""
    rework_needs_customer: Mapped[bool]
    note: Mapped[str] = mapped_column(Text)
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class OrderRequirement(Base):
    """What an order says of one requirement; a later row for the same one replaces it."""

    __tablename__ = "order_requirement"

    id: Mapped[int] = mapped_column(primary_key=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("customer_order.id"), index=True)
    requirement_id: Mapped[int] = mapped_column(ForeignKey("requirement.id"))
    stated_revision: Mapped[str | None] = mapped_column(String(20))
    """None: the one in force on the order's day."""
    is_extra: Mapped[bool]
    """The customer's own requirement on top of the shop's; where both speak the stricter wins."""
    clause: Mapped[str] = mapped_column(String(200))
    """Where the order says so."""
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]
