"""What the pages of growing records send."""

from datetime import date, datetime, time, timedelta, tzinfo

from pydantic import Field

from app.web.entries import TypedCode
from app.web.forms import FormModel, TypedDay


class TokenForm(FormModel):
    """A token for a logger; its last day is included."""

    name: str = Field(title="the logger's name", max_length=50)
    furnace: TypedCode = Field(title="the furnace")
    answers: str = Field(title="who answers for it", max_length=64)
    last_day: TypedDay = Field(title="the last day")

    def ends_at(self, zone: tzinfo) -> datetime:
        """Midnight after the last day, in the shop's zone."""
        return _midnight(self.last_day + timedelta(days=1), zone)


def _midnight(day: date, zone: tzinfo) -> datetime:
    return datetime.combine(day, time(), tzinfo=zone)


class RevocationForm(FormModel):
    """Why a token is revoked."""

    reason: str = Field(title="the reason", max_length=1000)


class ClosingForm(FormModel):
    """Why a person closes a growing record; empty where it is closed already."""

    reason: str = Field(default="", title="the reason", max_length=1000)
