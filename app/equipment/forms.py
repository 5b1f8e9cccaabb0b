"""What the equipment pages send."""

from typing import Literal

from pydantic import Field

from app.equipment.records import FurnaceCheckKind
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
    """The two days of a paper."""

    done_on: TypedDay = Field(title="done on")
    due_on: TypedDay = Field(title="in date until")


class FurnaceCheckForm(TermForm):
    """A survey, accuracy test or calibration."""

    kind: FurnaceCheckKind = Field(title="what was done")
    outcome: Literal["passed", "failed"]
    report: str = Field(max_length=120)
    note: str = Field(default="", max_length=2000)


class SensorForm(FormModel):
    """A thermocouple."""

    code: TypedCode = Field(title="identity")
    thermocouple_type: str = Field(title="type", max_length=4)


class SensorCertificateForm(TermForm):
    """A sensor's certificate; corrections as typed, one pair a line."""

    certificate: str = Field(max_length=120)
    corrections: str = Field(default="", max_length=4000)


class TesterForm(FormModel):
    """A hardness tester or conductivity meter."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    quantity: str = Field(title="measures", max_length=40)
    unit: str = Field(title="scale or unit", max_length=20)
    frequency_khz: TypedFigure | None = Field(default=None, title="frequency")


class TesterCertificateForm(TermForm):
    """A tester's certificate."""

    certificate: str = Field(max_length=120)
    expanded_uncertainty: TypedFigure | None = Field(default=None, title="expanded uncertainty")


class BlockForm(FormModel):
    """A hardness block or conductivity standard."""

    code: TypedCode = Field(title="identity")
    quantity: str = Field(title="for", max_length=40)
    unit: str = Field(title="scale or unit", max_length=20)
    certified_value: TypedFigure = Field(title="certified value")
    permitted_error: TypedFigure = Field(title="permitted error")
    expires_on: TypedDay = Field(title="may be used until")
    certificate: str = Field(max_length=120)
