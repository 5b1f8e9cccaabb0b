"""What the pages of nonconformances send."""

from pydantic import Field

from app.equipment.rules.reports import SentFile
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind
from app.release.service.actions import Action
from app.release.service.proposals import Answered, Proposed
from app.release.service.scrap import MadeUnusable
from app.web.forms import FormModel, TypedDay

_LONG = 4000


class NonconformanceForm(FormModel):
    """What departs from which requirement, and what was done at once."""

    description: str = Field("", max_length=_LONG)
    requirement: str = Field("", max_length=_LONG)
    containment: str = Field("", max_length=_LONG)


class ProposalForm(FormModel):
    """A disposition as it is proposed."""

    disposition: DecisionKind
    reason: str = Field("", max_length=_LONG)
    instructions: str = Field("", max_length=_LONG)

    def proposed(self) -> Proposed:
        """The proposal as the service takes it."""
        return Proposed(self.disposition, self.reason, self.instructions)


class AnswerForm(FormModel):
    """An answer to the proposal that was read."""

    seen: str = Field(max_length=60)
    capacity: Capacity
    approves: bool = Field(title="your answer")
    remark: str = Field("", max_length=_LONG)
    document: str = Field("", max_length=200)
    password: str = Field(title="your password", max_length=1000)

    def answered(self, file: SentFile | None) -> Answered:
        """The answer as the service takes it, with the file that came beside it."""
        return Answered(self.capacity, self.approves, self.remark, self.document, file, self.seen)


class ActionForm(FormModel):
    """A corrective action."""

    cause: str = Field("", max_length=_LONG)
    action: str = Field("", max_length=_LONG)
    owner: str = Field("", max_length=64)
    due_on: TypedDay = Field(title="due day")

    def wanted(self) -> Action:
        """The action as the service takes it."""
        return Action(self.cause, self.action, self.owner, self.due_on)


class ActionCheckForm(FormModel):
    """What a corrective action achieved."""

    effective: bool = Field(title="what you found")
    found: str = Field("", max_length=_LONG)
    password: str = Field(title="your password", max_length=1000)


class ScrapForm(FormModel):
    """How a scrapped panel was marked and made unusable."""

    marking: str = Field("", max_length=_LONG)
    made_unusable: str = Field("", max_length=_LONG)
    password: str = Field(title="your password", max_length=1000)

    def done(self, photograph: SentFile | None) -> MadeUnusable:
        """What was done as the service takes it, with the photograph that came beside it."""
        return MadeUnusable(self.marking, self.made_unusable, photograph)


class WitnessForm(FormModel):
    """The second person's signature."""

    password: str = Field(title="your password", max_length=1000)


class NoticeForm(FormModel):
    """What the record cannot know of a notice."""

    contact: str = Field("", max_length=_LONG)
    wish: str = Field("", max_length=_LONG)
