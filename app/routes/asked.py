"""What an address asks for, and how it is asked before anything that was sent is read."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from fastapi import FastAPI, Request
from fastapi.routing import APIRoute

from app.panels.records import Decided
from app.people.rights import MAY, NEEDS, Act, ActLine, Hand, may_by_role, require_role
from app.people.signed_in import person_of
from app.web.forms import refuse_other_sites
from app.web.page import Records


class Door(Enum):
    """How far an address is open where no act is asked for."""

    OPEN = "anybody: where people prove who they are"
    SIGNED_IN = "whoever is signed in: it shows, or changes what is their own"
    TOKEN = "a machine with a token for it, and nobody else"  # noqa: S105 - words


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address asks for. Given ``acts``, one of them has to be the person's by role.

    ``on`` are the states of a panel in which its services take the act at all, where the act is on
    one; empty where it is on none. ``apart`` are the hands that keep a person from it (each of
    them by itself), ``own`` those of which a person needs one. The services find whose hands they
    are, and what else stands in the way (an authorisation that has run out, an open gate); they
    also ask for the act again.
    """

    door: Door
    acts: tuple[Act, ...] = ()
    on: frozenset[Decided] = frozenset()
    apart: tuple[Hand, ...] = ()
    own: tuple[Hand, ...] = ()

    def allows(self, roles: frozenset[str]) -> bool:
        """Whether somebody signed in with these roles may send to, or read, the address."""
        return self.door is not Door.TOKEN and (
            not self.acts or any(may_by_role(roles, act) for act in self.acts)
        )


Table = Mapping[tuple[str, str], Asked]
"""By method and path as the route states it."""


class TableDiffers(Exception):
    """The application and the table of addresses do not name the same ones."""


def addresses(app: FastAPI) -> Iterator[tuple[str, str]]:
    """Method and path of every address the application answers at, shipped files left out."""

    def routes_of(router: Any) -> Iterator[APIRoute]:
        for route in router.routes:
            if hasattr(route, "original_router"):
                yield from routes_of(route.original_router)
            elif isinstance(route, APIRoute):
                yield route

    for route in routes_of(app.router):
        for method in sorted(route.methods or ()):
            yield method, route.path


def check_complete(app: FastAPI, table: Table) -> None:
    """Pass if the table names every address of the application, and no other.

    Raises:
        TableDiffers: naming each that is missing on either side.
    """
    found = set(addresses(app))
    told = [f"{method} {path} is not in app/routes/" for method, path in sorted(found - set(table))]
    told += [f"{method} {path} answers no longer" for method, path in sorted(set(table) - found)]
    if told:
        raise TableDiffers(
            "Say in app/routes/reading.py or sending.py what each address asks for, and name no "
            "other: " + "; ".join(told) + "."
        )


def ask(request: Request, records: Records) -> None:
    """Let a request in, or refuse it before its form is read: a dependency of the application.

    Raises:
        NotSignedIn, PasswordIsFirst: nobody is signed in where somebody has to be.
        NotAllowed: no role of the person does any of what the address asks for.
        Refusal: another site's page sent it.
    """
    table: Table = request.app.state.table
    asked = table[request.method, request.scope["route"].path]
    if asked.door is not Door.SIGNED_IN:
        # Where people prove who they are, and where machines do: these look for themselves.
        return
    person = person_of(request, records)
    if asked.acts:
        # Another site must not put refusals on the trail under this person's name.
        refuse_other_sites(request)
        require_role(person, *asked.acts)


def act_lines(table: Table) -> list[ActLine]:
    """Every act that some address asks for, in the order of the acts' table."""
    at: dict[Act, list[Asked]] = {}
    for asked in table.values():
        for act in asked.acts:
            at.setdefault(act, []).append(asked)
    return [
        ActLine(
            act,
            MAY[act],
            NEEDS.get(act),
            tuple(one.value for one in Decided if any(one in asked.on for asked in at[act])),
            tuple(hand for hand in Hand if any(hand in asked.apart for asked in at[act])),
            tuple(hand for hand in Hand if any(hand in asked.own for asked in at[act])),
        )
        for act in Act
        if act in at
    ]
