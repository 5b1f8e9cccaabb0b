"""Open an account from the command line; the first one of an empty database is made so."""

import getpass
import sys
from datetime import UTC, datetime

from app.database import Database
from app.errors import Refusal
from app.people.queries import people
from app.people.rights import Role
from app.people.service import add_person
from app.settings import Settings


def user_add_command(
    username: str, *, full_name: str, identity_number: str, role_names: list[str]
) -> int:
    """`temperbook user add`.

    Raises:
        Refusal: a role is unknown, or name, number or password cannot be taken.
        Conflict: the user name is in use, or the person has an account already.
    """
    known = {role.value for role in Role}
    for name in role_names:
        if name not in known:
            raise Refusal(f"{name!r} is no role; choose among {', '.join(sorted(known))}.")
    database = Database(Settings().database_url)
    with database.read() as session:
        others = len(people(session)) > 0
    added = add_person(
        database,
        username=username,
        full_name=full_name,
        identity_number=identity_number,
        roles=[Role(name) for name in role_names],
        password=ask_password(f"Password for {username}: "),
        by="set-up",
        at=datetime.now(UTC),
        # Of the first account whoever types the password is the person.
        password_is_first=others,
    )
    print(f"{added.full_name} can now sign in as {added.username}.")
    return 0


def ask_password(prompt: str) -> str:
    """A password typed unseen at a terminal, or the first line of standard input."""
    if sys.stdin.isatty():
        return getpass.getpass(prompt)
    return sys.stdin.readline().rstrip("\n")
