"""Open an account from the command line; the first one of an empty database is made so."""

import getpass
import sys
from datetime import UTC, datetime

from app.database import Database
from app.errors import Refusal
from app.people.rights import Role
from app.people.service import add_person
from app.settings import Settings


def user_add_command(username: str, *, full_name: str, role_names: list[str]) -> int:
    """`temperbook user add`.

    Raises:
        Refusal: a role is unknown, or name or password cannot be taken.
    """
    known = {role.value for role in Role}
    for name in role_names:
        if name not in known:
            raise Refusal(f"{name!r} is no role; choose among {', '.join(sorted(known))}.")
    database = Database(Settings().database_url)
    added = add_person(
        database,
        username=username,
        full_name=full_name,
        roles=[Role(name) for name in role_names],
        password=ask_password(f"Password for {username}: "),
        by="set-up",
        at=datetime.now(UTC),
    )
    print(f"{added.full_name} can now sign in as {added.username}.")
    return 0


def ask_password(prompt: str) -> str:
    """A password typed unseen at a terminal, or the first line of standard input."""
    if sys.stdin.isatty():
        return getpass.getpass(prompt)
    return sys.stdin.readline().rstrip("\n")
