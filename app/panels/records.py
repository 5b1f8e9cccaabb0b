"""Material lots, the panels and coupons cut from them, who had each coupon when, and holds."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of
from app.panels.rules import Custody

__all__ = [
    "Coupon",
    "Custody",
    "CustodyStep",
    "Decided",
    "Descent",
    "Hold",
    "HoldCause",
    "HoldOn",
    "LotCorrection",
    "LotCorrectionAnswer",
    "MaterialLot",
    "Panel",
    "PanelDescent",
    "Place",
    "UpstreamHold",
    "UpstreamHoldLift",
    "Whereabouts",
]


class MaterialLot(Base):
    """One lot as received; what was entered of it is set right by :class:`LotCorrection` alone.

    The row itself changes then, as a person's does, and is not superseded by another. Panels and
    coupons name their lot by its key, and everything that judges them reads its figures there: with
    a second row each reader would have to know which one counts, and the one that forgot would go
    on judging by the wrong alloy. Nothing is lost by it: the correction keeps both sets of figures,
    and every entry of the trail keeps the row as it was then. The database itself lets a figure
    become only what an approved correction of the lot says, and no row goes.
    """

    append_only: ClassVar[bool] = False
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
    REPLACED = "replaced"
    """Divided, or marked anew: other identities stand for it."""


IN_USE = (Decided.RELEASED, Decided.USE_AS_IS)
"""How a panel was decided that is used; a hold on one of these recalls it."""
UNDECIDED = (Decided.OPEN, Decided.REWORK, Decided.REPAIR)
"""What leaves a panel with something still to come. Every other decision settles it."""


OUT_OF_HAND = (Decided.RETURNED, Decided.SCRAPPED)
"""What leaves nothing that a verdict could still say. A panel that was replaced is not among them:
those that came of it rest on its coupons."""
ENDED = (*OUT_OF_HAND, Decided.REPLACED)
"""What leaves a panel with nothing more to decide, so that there is nothing to hold either."""


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


class LotCorrection(Base):
    """Somebody found that a lot was entered wrongly; what rests on it is held from then on.

    ``before`` and ``after`` are all its figures, those that stay too, each as text by its column.
    """

    __tablename__ = "lot_correction"

    id: Mapped[int] = mapped_column(primary_key=True)
    lot_id: Mapped[int] = mapped_column(ForeignKey("material_lot.id"), index=True)
    before: Mapped[dict[str, Any]] = mapped_column(Paper)
    after: Mapped[dict[str, Any]] = mapped_column(Paper)
    reason: Mapped[str] = mapped_column(Text)
    evidence: Mapped[str] = mapped_column(Text)
    evidence_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))
    upstream_hold_id: Mapped[int] = mapped_column(ForeignKey("upstream_hold.id"))
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    asked_at: Mapped[datetime]


class LotCorrectionAnswer(Base):
    """A second person's signed answer to it; approved, lot and coupons are changed with it."""

    __tablename__ = "lot_correction_answer"

    id: Mapped[int] = mapped_column(primary_key=True)
    correction_id: Mapped[int] = mapped_column(ForeignKey("lot_correction.id"), unique=True)
    approved: Mapped[bool]
    reason: Mapped[str] = mapped_column(Text)
    coupons: Mapped[list[dict[str, Any]]] = mapped_column(Paper)
    """The coupons that changed with the lot, each with its key, code, and figures before."""
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    answered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime]


class Coupon(Base):
    """One witness coupon. Thickness and surface that it has of its lot are corrected with it."""

    append_only: ClassVar[bool] = False
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
    UPSTREAM = "something it rests on is on hold"
    EVIDENCE_CHANGED = "its evidence changed after it was decided"
    PARENT_HELD = "the panel it was divided from is on hold"


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
    upstream_hold_id: Mapped[int | None] = mapped_column(ForeignKey("upstream_hold.id"), index=True)
    """The hold on something the panel rests on that brought this one about."""


class HoldOn(StrEnum):
    """What a hold can be placed on besides a panel; the value is its kind on the trail."""

    MATERIAL_LOT = "material_lot"
    LOAD = "load"
    FURNACE = "furnace"
    SENSOR = "sensor"
    VACUUM_GAUGE = "vacuum_gauge"
    TESTER = "tester"
    REFERENCE_BLOCK = "reference_block"
    THERMOMETER = "thermometer"
    ACCEPTANCE_TABLE = "acceptance_table"
    CYCLE = "cycle"
    PYROMETRY_PROCEDURE = "pyrometry_procedure"
    LOGGER_MAPPING = "logger_mapping"
    CORRECTION_TABLE = "correction_table"
    PERSON = "person"

    def named(self, code: str, revision: str | None = None) -> str:
        """A thing of the kind as spoken: "acceptance table AT-1 revision B"."""
        words = f"{self.value.replace('_', ' ')} {code}"
        return words if revision is None else f"{words} revision {revision}"


class UpstreamHold(Base):
    """A hold on something panels rest on. It is open until a lift names it.

    Every panel that rests on it gets a :class:`Hold` of its own that names this one. ``since`` and
    ``until`` limit what is in doubt, both included; None: without that limit.
    """

    __tablename__ = "upstream_hold"
    __table_args__ = (Index("ix_upstream_hold_kind_code", "kind", "code"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[HoldOn] = mapped_column(words_of(HoldOn))
    code: Mapped[str] = mapped_column(String(64))
    """The thing's identity; a person's user name."""
    revision: Mapped[str | None] = mapped_column(String(20))
    """Of a table or cycle: the one revision in doubt; None: every one."""
    since: Mapped[datetime | None]
    until: Mapped[datetime | None]
    reason: Mapped[str] = mapped_column(Text)
    panels_found: Mapped[int]
    """How many panels rested on it when it was placed."""
    placed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    placed_at: Mapped[datetime]


class UpstreamHoldLift(Base):
    """What came of an upstream hold, signed. Panels it held are disposed of one by one."""

    __tablename__ = "upstream_hold_lift"

    id: Mapped[int] = mapped_column(primary_key=True)
    upstream_hold_id: Mapped[int] = mapped_column(ForeignKey("upstream_hold.id"), unique=True)
    finding: Mapped[str] = mapped_column(Text)
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    lifted_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    lifted_at: Mapped[datetime]


class Place(Base):
    """A place with a mark to scan, where panels stand."""

    __tablename__ = "place"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    name: Mapped[str] = mapped_column(String(80))
    is_quarantine: Mapped[bool]
    """Whether held panels are kept apart there."""
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]


class Whereabouts(Base):
    """A panel was brought to a place."""

    __tablename__ = "whereabouts"
    __table_args__ = (Index("ix_whereabouts_panel_id_id", "panel_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"))
    place_id: Mapped[int] = mapped_column(ForeignKey("place.id"))
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    brought_at: Mapped[datetime]
    entered_at: Mapped[datetime]


class Descent(StrEnum):
    """How a panel came from another."""

    DIVIDED = "divided from it"
    MARKED_ANEW = "the same panel under a new mark"


class PanelDescent(Base):
    """A panel that came from another; it carries on that one's treatments, evidence and holds."""

    __tablename__ = "panel_descent"

    id: Mapped[int] = mapped_column(primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), unique=True)
    parent_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    kind: Mapped[Descent] = mapped_column(words_of(Descent))
    reason: Mapped[str] = mapped_column(Text)
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
