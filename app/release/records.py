"""The signed decisions that release a panel or dispose of a hold."""

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of
from app.release.rules.facts import DecisionKind

__all__ = ["Decision", "DecisionKind", "HoldLift"]


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


class HoldLift(Base):
    """A decision that ends a hold."""

    __tablename__ = "hold_lift"

    id: Mapped[int] = mapped_column(primary_key=True)
    hold_id: Mapped[int] = mapped_column(ForeignKey("hold.id"), unique=True)
    decision_id: Mapped[int] = mapped_column(ForeignKey("decision.id"), index=True)
