"""Which machine asks: a token in a header turned into a machine, for the addresses of one scope.

No sign-in opens these addresses and a token opens no others. A browser does not send the header by
itself, so no form's token is asked for.
"""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Depends, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute

from app.errors import Refusal
from app.people import queries
from app.people.queries import MachineTokenLine
from app.people.records import Scope
from app.web.misread import misread
from app.web.page import PageMaker, Records


class UnknownMachine(Refusal):
    """No token, or one that opens nothing today."""

    status = 401


class OtherScope(Refusal):
    """The token is for another purpose."""

    status = 403


def _scope_opened(scope: Scope) -> Callable[..., MachineTokenLine]:
    def machine(request: Request, records: Records) -> MachineTokenLine:
        kind, _, token = request.headers.get("authorization", "").partition(" ")
        found = None
        if kind.lower() == "bearer" and token.strip():
            today = PageMaker(request).shop_time().date()
            with records.read() as session:
                found = queries.machine_of(session, token.strip(), today=today)
        if found is None:
            raise UnknownMachine(
                "Send a machine's token that is in force, in the header 'Authorization: Bearer "
                "...'. An administrator issues one."
            )
        if found.scope is not scope:
            raise OtherScope(
                f"The token of {found.name} is to {found.scope.value}; this address is to "
                f"{scope.value}. An administrator issues one for it."
            )
        return found

    return machine


def MachineWith(scope: Scope) -> Any:  # noqa: N802 - stands where a type's default would
    """What a route states to be opened by a token of that scope alone; hands it the machine.

    Raises:
        UnknownMachine: there is no token, or it was taken back or has run out.
        OtherScope: it is for another purpose.
    """
    return Depends(_scope_opened(scope))


class MachineRoute(APIRoute):
    """A route that says its refusals as a machine reads them: in JSON, one ``sentence``.

    A router for machines is made with ``route_class=MachineRoute``.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The route's own answer, or the refusal in JSON."""
        answer = super().get_route_handler()

        async def answer_or_refuse(request: Request) -> Response:
            try:
                return await answer(request)
            except RequestValidationError as error:
                return _said(misread(error.errors()))
            except Refusal as refusal:
                return _said(refusal)

        return answer_or_refuse


def _said(refusal: Refusal) -> Response:
    headers = {"WWW-Authenticate": "Bearer"} if refusal.status == 401 else {}  # noqa: PLR2004 - a status
    return JSONResponse({"sentence": refusal.sentence}, status_code=refusal.status, headers=headers)
