"""What the forms for customers' orders send."""

from pydantic import Field

from app.web.entries import TypedCode
from app.web.forms import FormModel, TypedDay


class OrderForm(FormModel):
    """An order as it was placed."""

    number: str = Field(title="order number", max_length=80)
    customer: str = Field(max_length=120)
    placed_on: TypedDay = Field(title="day placed")
    later: str = ""
    rework: str = ""
    note: str = Field(default="", max_length=2000)


class StatementForm(FormModel):
    """What an order says of one requirement."""

    code: TypedCode = Field(title="table or cycle")
    stated_revision: str | None = Field(default=None, title="revision stated", max_length=20)
    is_extra: str = ""
    clause: str = Field(max_length=200)


class ComposeForm(FormModel):
    """The table of an order, composed of the shop's and the customer's."""

    base: TypedCode = Field(title="the shop's table")
    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    revision: str = Field(max_length=20)
