"""Coupons that are missing, unmarked or doubled after a run, and how each case ended."""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import ForeignKey, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, words_of


class TroubleKind(StrEnum):
    """What is wrong with a coupon's identity after a run."""

    MISSING = "missing"
    UNMARKED = "found without a mark"
    DOUBLED = "its mark is on two coupons"


class CouponTrouble(Base):
    """A coupon that is missing, unmarked or doubled, as found. Its panel is on hold meanwhile."""

    __tablename__ = "coupon_trouble"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), index=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    coupon_id: Mapped[int | None] = mapped_column(ForeignKey("coupon.id"), index=True)
    """The coupon it is about; None for one that nobody can name."""
    other_id: Mapped[int | None] = mapped_column(ForeignKey("coupon.id"))
    """Of a doubled mark: the other coupon on record that it may be. Of one without a mark: the
    coupon at whose place it lay. None where nobody can say."""
    kind: Mapped[TroubleKind] = mapped_column(words_of(TroubleKind))
    found: Mapped[str] = mapped_column(Text)
    """Where it was searched for, or where it lay and what else was found."""
    reported_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    reported_at: Mapped[datetime]


class TroubleOutcome(StrEnum):
    """How a trouble ends. An unidentified coupon is never evidence."""

    IDENTIFIED = "shown to be this coupon"
    NO_EVIDENCE = "no evidence"
    SPARE = "a spare stands in"


class TroubleAnswer(Base):
    """A second person's signed answer to a trouble."""

    __tablename__ = "trouble_answer"

    id: Mapped[int] = mapped_column(primary_key=True)
    trouble_id: Mapped[int] = mapped_column(ForeignKey("coupon_trouble.id"), unique=True)
    outcome: Mapped[TroubleOutcome] = mapped_column(words_of(TroubleOutcome))
    spare_id: Mapped[int | None] = mapped_column(ForeignKey("coupon.id"))
    """The coupon of the same panel that stands in."""
    named_id: Mapped[int | None] = mapped_column(ForeignKey("coupon.id"))
    """The coupon it was shown to be, by the mark that was read on it."""
    reason: Mapped[str] = mapped_column(Text)
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    answered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime]
