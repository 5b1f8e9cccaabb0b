"""What the pages of lots, panels, coupons and custody send."""

from pydantic import Field

from app.panels.rules import Custody
from app.panels.service import HandOver, Material
from app.web.entries import TypedCode
from app.web.forms import FormModel, TypedDay, TypedFigure, TypedMoment


class LotForm(FormModel):
    """A material lot."""

    code: TypedCode = Field(title="identity")
    alloy: str = Field(max_length=40)
    incoming_temper: str = Field(title="incoming temper", max_length=40)
    product_form: str = Field(title="product form", max_length=40)
    thickness_mm: TypedFigure = Field(title="thickness")
    surface: str = Field(max_length=20)
    cast: str = Field(max_length=60)
    certificate: str = Field(max_length=120)
    received_on: TypedDay = Field(title="received on")

    def material(self) -> Material:
        """What the lot is made of."""
        return Material(
            self.alloy, self.incoming_temper, self.product_form, self.thickness_mm, self.surface
        )


class LotCorrectionForm(FormModel):
    """How a lot should have been entered, all its figures, and what shows it."""

    alloy: str = Field(max_length=40)
    incoming_temper: str = Field(title="incoming temper", max_length=40)
    product_form: str = Field(title="product form", max_length=40)
    thickness_mm: TypedFigure = Field(title="thickness")
    surface: str = Field(max_length=20)
    cast: str = Field(max_length=60)
    certificate: str = Field(title="mill certificate", max_length=120)
    reason: str = Field(title="what was wrong", max_length=1000)
    evidence: str = Field(title="what shows it", max_length=1000)
    seen: str = Field(max_length=64)

    def material(self) -> Material:
        """What the lot is made of."""
        return Material(
            self.alloy, self.incoming_temper, self.product_form, self.thickness_mm, self.surface
        )


class LotAnswerForm(FormModel):
    """A second person's answer to a lot's correction."""

    correction: int
    answer: str = Field(title="your answer", pattern="^(approve|decline)$")
    reason: str = Field(max_length=1000)
    password: str = Field(title="your password", max_length=1000)


class PanelForm(FormModel):
    """A panel."""

    code: TypedCode = Field(title="identity")
    lot: TypedCode = Field(title="material lot")
    drawing: str = Field(max_length=80)
    order_number: str = Field(title="order", max_length=80)
    target_temper: str = Field(title="temper after ageing", max_length=40)
    length_mm: TypedFigure = Field(title="length")
    width_mm: TypedFigure = Field(title="width")
    treatments_most: int = Field(title="most thermal treatments")
    treatments_before: int = Field(title="thermal treatments so far")


class CouponsForm(FormModel):
    """Coupons of one lot, one code a line."""

    lot: TypedCode = Field(title="material lot")
    codes: str = Field(title="identities", max_length=20_000)
    place: str = Field(title="where they lie", max_length=80)
    thickness_mm: TypedFigure | None = Field(default=None, title="thickness")
    diameter_mm: TypedFigure | None = Field(default=None, title="diameter")
    surface: str | None = Field(default=None, max_length=20)


class CustodyForm(FormModel):
    """One hand-over; the coupons it is about are read beside it."""

    step: Custody = Field(title="what happened")
    place: str = Field(title="where it is now", max_length=80)
    note: str = Field(default="", max_length=2000)
    taken_at: TypedMoment | None = Field(default=None, title="when")

    def hand_over(self) -> HandOver:
        """As it is recorded."""
        return HandOver(self.step, self.place, self.note, self.taken_at)


class HandOversForm(CustodyForm):
    """The same hand-over of several coupons, one code a line."""

    codes: str = Field(title="coupons", max_length=20_000)


class PlaceForm(FormModel):
    """A place; ``quarantine`` is ticked where held panels are kept apart there."""

    code: TypedCode = Field(title="identity")
    name: str = Field(title="where it is", max_length=80)
    quarantine: str | None = Field(default=None, max_length=10)


class BringForm(FormModel):
    """A panel is brought to a place, both as scanned."""

    panel: TypedCode
    place: TypedCode


class WalkForm(FormModel):
    """What was scanned at a place, one mark a line."""

    codes: str = Field(title="marks", max_length=20_000)
