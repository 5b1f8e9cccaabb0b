"""What the pages of holds send."""

from typing import Literal

from pydantic import Field

from app.panels.records import HoldOn
from app.release.service import HeldThing
from app.web.forms import FormModel, TypedMoment


class ThingForm(FormModel):
    """What is to be held; a single panel goes by its own kind."""

    kind: HoldOn | Literal["panel"] = Field(title="kind")
    code: str = Field(title="identity", max_length=64)
    revision: str | None = Field(default=None, max_length=20)
    since: TypedMoment | None = Field(default=None, title="in doubt from")
    until: TypedMoment | None = Field(default=None, title="in doubt to")

    def thing(self) -> HeldThing | None:
        """What is held besides panels; None where it is a panel."""
        if not isinstance(self.kind, HoldOn):
            return None
        code = self.code if self.kind is HoldOn.PERSON else self.code.upper()
        return HeldThing(self.kind, code, self.revision, self.since, self.until)


class PlaceHoldForm(ThingForm):
    """A hold, with its reason."""

    reason: str = Field(max_length=1000)


class LiftUpstreamForm(FormModel):
    """What came of an upstream hold, signed."""

    finding: str = Field(title="what was found", max_length=4000)
    password: str = Field(title="your password", max_length=1000)
