"""What the people pages send."""

from pydantic import Field

from app.people.records import Scope, Task
from app.people.rights import Role
from app.web.forms import FormModel, TypedDay


class SignInForm(FormModel):
    """The sign-in form."""

    username: str = Field(title="user name", max_length=64)
    password: str = Field(max_length=1000)
    one_time_code: str = Field(default="", title="code", max_length=20)


class PersonForm(FormModel):
    """A new account."""

    username: str = Field(title="user name", max_length=64)
    full_name: str = Field(title="full name", max_length=120)
    identity_number: str = Field(title="identity number", max_length=60)
    password: str = Field(title="first password", max_length=1000)


class AccountForm(FormModel):
    """What an administrator states of an account that is there."""

    full_name: str = Field(title="full name", max_length=120)
    identity_number: str | None = Field(None, title="identity number", max_length=60)
    seen: str = Field(max_length=64)


class ReasonForm(FormModel):
    """Why something is closed, opened again or taken back."""

    reason: str = Field(max_length=1000)


class FirstPasswordForm(FormModel):
    """A password for somebody to begin with."""

    password: str = Field(title="first password", max_length=1000)


class GrantForm(FormModel):
    """An authorisation, signed; from today where no first day is given."""

    task: Task
    from_day: TypedDay | None = Field(None, title="first day")
    last_day: TypedDay = Field(title="last day")
    grounds: str = Field(max_length=2000)
    letter: str = Field("", title="design organisation's letter", max_length=200)
    password: str = Field(max_length=1000)


class MachineTokenForm(FormModel):
    """A token for one machine and one purpose."""

    name: str = Field(title="machine", max_length=200)
    scope: Scope = Field(title="what it may read")
    last_day: TypedDay = Field(title="last day")


def roles_of(chosen: list[str]) -> list[Role]:
    """The roles ticked; what is no role is ignored."""
    return [role for role in Role if role.value in chosen]
