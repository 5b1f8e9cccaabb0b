"""What the people pages send."""

from pydantic import Field

from app.people.rights import Role
from app.web.forms import FormModel


class SignInForm(FormModel):
    """The sign-in form."""

    username: str = Field(title="user name", max_length=64)
    password: str = Field(max_length=1000)


class PersonForm(FormModel):
    """A new account."""

    username: str = Field(title="user name", max_length=64)
    full_name: str = Field(title="full name", max_length=120)
    password: str = Field(max_length=1000)


def roles_of(chosen: list[str]) -> list[Role]:
    """The roles ticked; what is no role is ignored."""
    return [role for role in Role if role.value in chosen]
