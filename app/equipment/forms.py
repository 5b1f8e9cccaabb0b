"""What the equipment pages send."""

from decimal import Decimal
from typing import Literal

from pydantic import Field

from app.equipment.records import Build, FurnaceCheckKind
from app.equipment.service import BlockFigures, TesterFigures
from app.web.entries import TypedCode
from app.web.forms import FormModel, TypedDay, TypedFigure


class FurnaceForm(FormModel):
    """A furnace."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    furnace_class: int = Field(title="class")
    uniformity_c: TypedFigure = Field(title="uniformity tolerance")
    instrumentation_type: str = Field(title="instrumentation type", max_length=8)


class TermForm(FormModel):
    """The two days of a paper; the second may be left to the procedure."""

    done_on: TypedDay = Field(title="done on")
    due_on: TypedDay | None = Field(default=None, title="in date until")


class FurnaceCheckForm(TermForm):
    """A survey, accuracy test or calibration; its figures one line each, as pasted."""

    kind: FurnaceCheckKind = Field(title="what was done")
    outcome: Literal["passed", "failed"]
    report: str = Field(title="report number", max_length=120)
    note: str = Field(default="", max_length=2000)
    figures: str = Field(default="", max_length=60_000)
    bare: Literal["yes"] | None = Field(default=None, title="entered bare")
    zone_length_mm: TypedFigure | None = Field(default=None, title="zone's length")
    zone_width_mm: TypedFigure | None = Field(default=None, title="zone's width")
    zone_x_mm: TypedFigure = Field(default=Decimal(0), title="zone's corner along")
    zone_y_mm: TypedFigure = Field(default=Decimal(0), title="zone's corner across")

    @property
    def zone(self) -> dict[str, Decimal] | None:
        """The surveyed zone; None where its length or width is not given."""
        if self.zone_length_mm is None or self.zone_width_mm is None:
            return None
        return {
            "length_mm": self.zone_length_mm,
            "width_mm": self.zone_width_mm,
            "x_mm": self.zone_x_mm,
            "y_mm": self.zone_y_mm,
        }


class QualificationForm(FormModel):
    """To which procedure, class and type a furnace is kept."""

    procedure: TypedCode
    furnace_class: str = Field(title="class", max_length=8)
    instrumentation_type: str = Field(title="instrumentation type", max_length=8)
    in_force_from: TypedDay = Field(title="in force from")
    note: str = Field(default="", max_length=2000)


class MaintenanceForm(FormModel):
    """Work on a furnace: an event of the procedure's list, or in own words."""

    event: str = Field(default="", max_length=120)
    other_event: str = Field(default="", title="other work", max_length=120)
    happened_on: TypedDay = Field(title="day of the work")
    note: str = Field(default="", max_length=2000)


class ReviewForm(FormModel):
    """A second person's answer to a report."""

    answer: Literal["accept", "reject"]
    remark: str = Field(default="", max_length=2000)
    password: str = Field(default="", max_length=400)


class GaugeForm(FormModel):
    """A vacuum gauge."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)


class GaugeCertificateForm(TermForm):
    """A vacuum gauge's certificate."""

    certificate: str = Field(max_length=120)
    largest_error_kpa: TypedFigure | None = Field(default=None, title="largest error")


class SensorForm(FormModel):
    """A thermocouple."""

    code: TypedCode = Field(title="identity")
    thermocouple_type: str = Field(title="type", max_length=4)


class SensorCertificateForm(TermForm):
    """A sensor's certificate; corrections as typed, one pair a line."""

    certificate: str = Field(max_length=120)
    corrections: str = Field(default="", max_length=4000)


class ThermometerForm(FormModel):
    """A thermometer of the bench."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)


class ThermometerCertificateForm(TermForm):
    """A thermometer's certificate."""

    certificate: str = Field(max_length=120)
    largest_error_c: TypedFigure | None = Field(default=None, title="largest error")


class TesterForm(FormModel):
    """A hardness tester or conductivity meter."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    quantity: str = Field(title="measures", max_length=40)
    unit: str = Field(title="scale or unit", max_length=20)
    build: Build
    resolution: TypedFigure = Field(title="display step")
    measures_from: TypedFigure | None = Field(default=None, title="range from")
    measures_to: TypedFigure | None = Field(default=None, title="range to")
    accuracy: TypedFigure | None = None
    indenter: str | None = Field(default=None, max_length=60)
    force_n: TypedFigure | None = Field(default=None, title="force")
    ball_mm: TypedFigure | None = Field(default=None, title="ball")
    asymmetry_percent: TypedFigure | None = Field(default=None, title="asymmetry limit")
    frequency_khz: TypedFigure | None = Field(default=None, title="frequency")
    probe: str | None = Field(default=None, max_length=60)
    check_every_min: int | None = Field(default=None, title="check interval")

    @property
    def figures(self) -> TesterFigures:
        """What is known of it."""
        named = {"code", "name", "quantity", "unit"}
        return TesterFigures(**self.model_dump(exclude=named))


class TesterCertificateForm(TermForm):
    """A tester's certificate; its points and corrections as typed, one pair a line."""

    certificate: str = Field(max_length=120)
    expanded_uncertainty: TypedFigure | None = Field(default=None, title="expanded uncertainty")
    as_found: str = Field(default="", max_length=4000)
    as_left: str = Field(default="", max_length=4000)
    as_found_within: bool | None = Field(default=None, title="how it was found")
    corrections: str = Field(default="", max_length=4000)


class BlockForm(FormModel):
    """A hardness block or conductivity standard."""

    code: TypedCode = Field(title="identity")
    quantity: str = Field(title="for", max_length=40)
    unit: str = Field(title="scale or unit", max_length=20)
    certified_value: TypedFigure = Field(title="certified value")
    permitted_error: TypedFigure = Field(title="permitted error")
    expanded_uncertainty: TypedFigure | None = Field(default=None, title="expanded uncertainty")
    indents_most: int | None = Field(default=None, title="number of indents")
    certified_at_c: TypedFigure | None = Field(default=None, title="temperature")
    expires_on: TypedDay = Field(title="may be used until")
    certificate: str = Field(max_length=120)

    @property
    def figures(self) -> BlockFigures:
        """What its certificate states."""
        named = {"code", "quantity", "unit", "expires_on", "certificate"}
        return BlockFigures(**self.model_dump(exclude=named))


class QuarantineForm(FormModel):
    """Why a tester is taken out of use."""

    reason: str = Field(default="", max_length=2000)


class LiftForm(QuarantineForm):
    """Why a tester may be used again, signed."""

    password: str = Field(default="", max_length=400)
