"""The one place where the parts are joined: settings, records, templates, subjects' pages."""

import logging
import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.responses import RedirectResponse
from fastapi.staticfiles import StaticFiles
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.bench import pages as bench
from app.database import Database
from app.equipment import pages as equipment
from app.errors import Refusal
from app.loads import pages as loads
from app.loads.live.live_watch import Watch
from app.loads.pages import furnace_history, live_sending
from app.loads.pages.looking_over import LookingOver
from app.panels import pages as panels
from app.people import pages as people
from app.people.signed_in import NotSignedIn
from app.release import pages as release
from app.requirements import pages as requirements
from app.settings import Settings
from app.tracing import pages as tracing
from app.web.page import STATIC, problem_page, templates

_log = logging.getLogger("temperbook")

_TITLES = {
    403: "You may not do this",
    404: "Nothing here under that name",
    405: "This address does not take that",
    409: "Somebody was here before you",
    413: "The file is too large",
    422: "This cannot be taken",
}

_POLICY = (
    "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "frame-ancestors 'none'; form-action 'self'; base-uri 'none'; object-src 'none'"
)


class _LastingFiles(StaticFiles):
    """Shipped files; an address with the content's hash may be kept by the browser for a year.

    Fonts, which the style sheets name without one, for a week.
    """

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        if scope.get("query_string", b"").startswith(b"v="):
            response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        elif path.startswith("fonts/"):
            response.headers["Cache-Control"] = "public, max-age=604800"
        return response


def create_app(settings: Settings | None = None) -> FastAPI:
    """The application over the database that ``settings`` names; its tables must exist."""
    settings = settings or Settings()
    database = Database(settings.database_url)
    looking_over = LookingOver(database)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        looking_over.catch_up()
        yield
        looking_over.close()
        database.close()

    app = FastAPI(
        title="Temperbook", lifespan=lifespan, openapi_url=None, docs_url=None, redoc_url=None
    )
    app.state.settings = settings
    app.state.database = database
    app.state.templates = templates(settings)
    app.state.watch = Watch()
    app.state.looking_over = looking_over
    app.mount("/static", _LastingFiles(directory=STATIC), name="static")
    # Own words before identities: /panels/register is asked for before /panels/{code}.
    app.include_router(furnace_history.router)
    app.include_router(bench.charts.router)
    for subject in (people, equipment, requirements, panels, loads, bench, release, tracing):
        app.include_router(subject.router)
    app.add_middleware(_Guard)
    app.add_exception_handler(NotSignedIn, _ask_to_sign_in)
    app.add_exception_handler(Refusal, _show_refusal)
    app.add_exception_handler(HTTPException, _show_http_problem)
    app.add_exception_handler(Exception, _show_fault)
    return app


class _Guard:
    """Headers that every answer carries; a page of the record is never kept by a cache."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("Content-Security-Policy", _POLICY)
                headers["X-Content-Type-Options"] = "nosniff"
                headers["Referrer-Policy"] = "same-origin"
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self._app(scope, receive, send_guarded)


def _ask_to_sign_in(request: Request, _error: Exception) -> Response:
    onward = request.url.path if request.method == "GET" else "/"
    if request.method == "GET" and request.url.query:
        onward += f"?{request.url.query}"
    return RedirectResponse(f"/sign-in?next={quote(onward)}", status_code=303)


def _show_refusal(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refusal)  # noqa: S101 - registered for this class only
    if request.url.path.startswith(live_sending.PATH):
        return live_sending.said_in_json(error)
    return problem_page(
        request,
        status=error.status,
        title=_TITLES.get(error.status, "This cannot be done"),
        sentence=error.sentence,
        fields=error.fields,
    )


def _show_http_problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for this class only
    sentence = {
        404: "There is no page at this address. Scan or type an identity above to find it.",
        405: "This address shows a page or takes a form, but not what was sent to it.",
    }.get(error.status_code, "The request could not be understood. Go back and try again.")
    return problem_page(
        request,
        status=error.status_code,
        title=_TITLES.get(error.status_code, "This cannot be shown"),
        sentence=sentence,
    )


def _show_fault(request: Request, error: Exception) -> Response:
    reference = secrets.token_hex(4)
    _log.error("fault %s at %s %s", reference, request.method, request.url.path, exc_info=error)
    return problem_page(
        request,
        status=500,
        title="A fault in the program",
        sentence=(
            f"Something went wrong inside Temperbook (reference {reference}). What you had not "
            "been told is recorded was not recorded. Tell whoever looks after the program, with "
            "the reference."
        ),
    )
