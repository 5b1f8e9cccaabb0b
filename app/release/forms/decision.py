"""What the decision page sends."""

from pydantic import Field

from app.release.rules.facts import DecisionKind
from app.web.forms import FormModel


class HoldForm(FormModel):
    """Why a panel is put on hold."""

    reason: str = Field(max_length=1000)


class ReleaseForm(FormModel):
    """A release, signed."""

    seen: str = Field(max_length=60)
    password: str = Field(title="your password", max_length=1000)


class LiftForm(FormModel):
    """A disposition, with its reason, signed."""

    seen: str = Field(max_length=60)
    disposition: DecisionKind
    reason: str = Field(max_length=4000)
    password: str = Field(title="your password", max_length=1000)
