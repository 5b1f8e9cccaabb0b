"""Nonconformances with their proposals and answers, and the signed decisions on panels."""

from datetime import date, datetime
from typing import Any, ClassVar

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind

__all__ = [
    "Capacity",
    "CorrectiveAction",
    "CorrectiveActionCheck",
    "CustomerNotice",
    "Decision",
    "DecisionKind",
    "DispositionProposal",
    "HoldLift",
    "Nonconformance",
    "ProposalAnswer",
    "ScrapRecord",
    "ScrapWitness",
    "TrailSeen",
]


class Decision(Base):
    """A signed decision with the evidence as it stood. ``number`` counts a panel's decisions."""

    __tablename__ = "decision"
    __table_args__ = (UniqueConstraint("panel_id", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"))
    number: Mapped[int]
    kind: Mapped[DecisionKind] = mapped_column(words_of(DecisionKind))
    reason: Mapped[str] = mapped_column(Text)
    evidence: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    evidence_sha256: Mapped[str] = mapped_column(String(64))
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"), unique=True)
    decided_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    decided_at: Mapped[datetime]
    proposal_id: Mapped[int | None] = mapped_column(ForeignKey("disposition_proposal.id"))
    """The approved proposal that a disposition of a departure carries out."""
    authorisation_id: Mapped[int | None] = mapped_column(ForeignKey("authorisation.id"))
    """What entitled the person on that day."""


class HoldLift(Base):
    """A decision that ends a hold."""

    __tablename__ = "hold_lift"

    id: Mapped[int] = mapped_column(primary_key=True)
    hold_id: Mapped[int] = mapped_column(ForeignKey("hold.id"), unique=True)
    decision_id: Mapped[int] = mapped_column(ForeignKey("decision.id"), index=True)


class TrailSeen(Base):
    """One row: the trail's entry up to which panels in use were compared with what was done.

    Not part of the quality record: without it everything is looked at once more.
    """

    append_only: ClassVar[bool] = False
    on_trail: ClassVar[bool] = False
    __tablename__ = "trail_seen"

    id: Mapped[int] = mapped_column(primary_key=True)
    number: Mapped[int]


class Nonconformance(Base):
    """A departure from a requirement on one panel, with the evidence as it stood."""

    __tablename__ = "nonconformance"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    description: Mapped[str] = mapped_column(Text)
    requirement: Mapped[str] = mapped_column(Text)
    """What was asked for, with document, revision and clause."""
    containment: Mapped[str] = mapped_column(Text)
    """What was done at once so that nothing else is harmed."""
    evidence: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    evidence_sha256: Mapped[str] = mapped_column(String(64))
    opened_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    opened_at: Mapped[datetime]


class DispositionProposal(Base):
    """What is proposed for a nonconforming panel. A later proposal replaces the one before."""

    __tablename__ = "disposition_proposal"
    __table_args__ = (UniqueConstraint("nonconformance_id", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    nonconformance_id: Mapped[int] = mapped_column(ForeignKey("nonconformance.id"))
    number: Mapped[int]
    disposition: Mapped[DecisionKind] = mapped_column(words_of(DecisionKind))
    reason: Mapped[str] = mapped_column(Text)
    instructions: Mapped[str] = mapped_column(Text)
    """How rework or repair is done, or what limits the use; empty where nothing is."""
    evidence_sha256: Mapped[str] = mapped_column(String(64))
    proposed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    proposed_at: Mapped[datetime]


class ProposalAnswer(Base):
    """A signed answer to a proposal. The customer's is entered by a person, from their letter."""

    __tablename__ = "proposal_answer"
    __table_args__ = (UniqueConstraint("proposal_id", "capacity"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    proposal_id: Mapped[int] = mapped_column(ForeignKey("disposition_proposal.id"))
    capacity: Mapped[Capacity] = mapped_column(words_of(Capacity))
    approves: Mapped[bool]
    remark: Mapped[str] = mapped_column(Text)
    document: Mapped[str] = mapped_column(String(200))
    """The letter or report it rests on; empty where it rests on the record alone."""
    document_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))
    answered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    authorisation_id: Mapped[int | None] = mapped_column(ForeignKey("authorisation.id"))


class CorrectiveAction(Base):
    """The cause as found and what is done so that it does not come back, by whom and when."""

    __tablename__ = "corrective_action"

    id: Mapped[int] = mapped_column(primary_key=True)
    nonconformance_id: Mapped[int] = mapped_column(ForeignKey("nonconformance.id"), index=True)
    cause: Mapped[str] = mapped_column(Text)
    action: Mapped[str] = mapped_column(Text)
    owner_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    due_on: Mapped[date]
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class CorrectiveActionCheck(Base):
    """Whether a corrective action did what it should, signed by somebody who does not own it."""

    __tablename__ = "corrective_action_check"

    id: Mapped[int] = mapped_column(primary_key=True)
    action_id: Mapped[int] = mapped_column(ForeignKey("corrective_action.id"), index=True)
    effective: Mapped[bool]
    found: Mapped[str] = mapped_column(Text)
    checked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    checked_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class ScrapRecord(Base):
    """A scrapped panel was marked for good and made unusable."""

    __tablename__ = "scrap_record"

    id: Mapped[int] = mapped_column(primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), unique=True)
    marking: Mapped[str] = mapped_column(Text)
    made_unusable: Mapped[str] = mapped_column(Text)
    photograph_sha256: Mapped[str] = mapped_column(ForeignKey("report_file.sha256"))
    done_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    done_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class ScrapWitness(Base):
    """A second person saw the marked and unusable panel."""

    __tablename__ = "scrap_witness"

    id: Mapped[int] = mapped_column(primary_key=True)
    scrap_record_id: Mapped[int] = mapped_column(ForeignKey("scrap_record.id"), unique=True)
    witness_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    witnessed_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class CustomerNotice(Base):
    """The notice to the customer as it was drafted; sending it is done outside the program."""

    __tablename__ = "customer_notice"

    id: Mapped[int] = mapped_column(primary_key=True)
    nonconformance_id: Mapped[int] = mapped_column(ForeignKey("nonconformance.id"), index=True)
    content: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    content_sha256: Mapped[str] = mapped_column(String(64))
    drafted_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    drafted_at: Mapped[datetime]
