"""Material lots, the panels and coupons cut from them, who had each coupon when, and holds."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from sqlalchemy import ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, words_of
from app.panels.rules import Custody

__all__ = [
    "Coupon",
    "Custody",
    "CustodyStep",
    "Decided",
    "Hold",
    "HoldCause",
    "MaterialLot",
    "Panel",
]


class MaterialLot(Base):
    """One lot as received."""

    __tablename__ = "material_lot"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    alloy: Mapped[str] = mapped_column(String(40))
    incoming_temper: Mapped[str] = mapped_column(String(40))
    form: Mapped[str] = mapped_column(String(40))
    thickness_mm: Mapped[Decimal]
    surface: Mapped[str] = mapped_column(String(20))
    cast: Mapped[str] = mapped_column(String(60))
    certificate: Mapped[str] = mapped_column(String(120))
    received_on: Mapped[date]
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class Decided(StrEnum):
    """How a panel's last decision left it. Everything else about its standing is derived."""

    OPEN = "open"
    RELEASED = "released"
    USE_AS_IS = "use as is"
    REWORK = "rework"
    REPAIR = "repair"
    RETURNED = "return to supplier"
    SCRAPPED = "scrap"


UNDECIDED = (Decided.OPEN, Decided.REWORK, Decided.REPAIR)
"""What leaves a panel with something still to come. Every other decision settles it."""


class Panel(Base):
    """One panel. ``decided`` repeats its last decision so that lists are fast; a check compares."""

    append_only: ClassVar[bool] = False
    __tablename__ = "panel"
    __table_args__ = (Index("ix_panel_decided_id", "decided", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    lot_id: Mapped[int] = mapped_column(ForeignKey("material_lot.id"), index=True)
    drawing: Mapped[str] = mapped_column(String(80))
    order_number: Mapped[str] = mapped_column(String(80))
    target_temper: Mapped[str] = mapped_column(String(40))
    length_mm: Mapped[Decimal]
    width_mm: Mapped[Decimal]
    treatments_most: Mapped[int]
    """Most thermal treatments the panel may see, this shop's included."""
    treatments_before: Mapped[int]
    """Thermal treatments it had seen when it came."""
    decided: Mapped[Decided] = mapped_column(words_of(Decided))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]


class Coupon(Base):
    """One witness coupon."""

    __tablename__ = "coupon"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    lot_id: Mapped[int] = mapped_column(ForeignKey("material_lot.id"), index=True)
    thickness_mm: Mapped[Decimal]
    surface: Mapped[str] = mapped_column(String(20))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]
    diameter_mm: Mapped[Decimal | None]
    """Of a round coupon; its curvature changes a hardness reading. None: the coupon is flat."""


class CustodyStep(Base):
    """One hand-over of a coupon."""

    __tablename__ = "custody_step"
    __table_args__ = (Index("ix_custody_step_coupon_id_id", "coupon_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"))
    step: Mapped[Custody] = mapped_column(words_of(Custody))
    place: Mapped[str] = mapped_column(String(80))
    note: Mapped[str] = mapped_column(Text)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    taken_at: Mapped[datetime]
    entered_at: Mapped[datetime]


class HoldCause(StrEnum):
    """What put a panel on hold where no person decided it."""

    FAILED_CHECK = "a tester failed its check"
    COUPON_TROUBLE = "a coupon is missing, unmarked or doubled"


class Hold(Base):
    """A hold on a panel. It is open until a lift names it."""

    __tablename__ = "hold"

    id: Mapped[int] = mapped_column(primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    reason: Mapped[str] = mapped_column(Text)
    placed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    placed_at: Mapped[datetime]
    cause: Mapped[HoldCause | None] = mapped_column(words_of(HoldCause))
    """None where a person placed it of their own accord."""
