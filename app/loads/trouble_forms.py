"""What the pages about missing, unmarked and doubled coupons send."""

from pydantic import Field

from app.loads.forms import Code
from app.loads.service import Answer, Report
from app.loads.trouble_records import TroubleKind, TroubleOutcome
from app.web.forms import FormModel


class ReportForm(FormModel):
    """A coupon reported."""

    panel: Code
    kind: TroubleKind = Field(title="what is wrong")
    coupon: Code | None = None
    other: Code | None = Field(None, title="the other coupon")
    found: str = Field("", title="what was found", max_length=4000)

    def report(self) -> Report:
        """As it is recorded."""
        return Report(self.kind, self.found, self.coupon or "", self.other or "")


class AnswerForm(FormModel):
    """What a supervisor decides about a reported coupon."""

    outcome: TroubleOutcome = Field(title="what you decide")
    mark: Code | None = Field(None, title="mark as read")
    spare: Code | None = None
    reason: str = Field("", max_length=4000)
    password: str = Field(max_length=1000)

    def answer(self) -> Answer:
        """As it is recorded."""
        return Answer(self.outcome, self.reason, self.mark or "", self.spare or "")
