"""What the load pages send: what their forms share and an excluded sensor."""

from datetime import datetime
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, Field

from app.audit.identities import as_code
from app.errors import Refusal
from app.web.forms import FormModel, TypedFigure


def _code(typed: str) -> str:
    try:
        return as_code(typed)
    except Refusal as refusal:
        raise ValueError(refusal.sentence) from None


def _share(figure: Decimal) -> Decimal:
    if not 0 <= figure <= 1:
        raise ValueError(
            f"{figure} is not on the panel; give a share of its length or width, 0 to 1."
        )
    return figure


Code = Annotated[str, AfterValidator(_code)]
Share = Annotated[TypedFigure, AfterValidator(_share)]


class ExclusionForm(FormModel):
    """A failed sensor to be excluded."""

    channel: str
    reason: str = Field("", max_length=4000)
    password: str = Field(max_length=1000)


def or_now(taken_at: datetime | None, now: datetime) -> datetime:
    """When it was done, where stated; else now."""
    return now if taken_at is None else taken_at
