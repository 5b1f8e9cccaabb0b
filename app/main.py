"""The one place where the parts are joined: settings, records, templates, subjects' pages."""

import logging
import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.types import Scope

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
from app.people.pages import unlocking
from app.people.service.refused_acts import record_refused_act
from app.people.signed_in import NotSignedIn, PasswordIsFirst
from app.release import pages as release
from app.release.pages.recalling import AfterActs, Recalling
from app.requirements import pages as requirements
from app.routes import ROUTES, act_lines, ask, check_complete
from app.settings import Settings
from app.tracing import pages as tracing
from app.trail import pages as trail
from app.web.forms import OldForm
from app.web.guard import Guard, KeepRefusal
from app.web.misread import misread
from app.web.page import STATIC, now, problem_page, templates

_log = logging.getLogger("temperbook")

_TITLES = {
    403: "You may not do this",
    404: "Nothing here under that name",
    405: "This address does not take that",
    409: "Somebody was here before you",
    413: "The file is too large",
    422: "This cannot be taken",
    503: "The machine is busy",
}


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
    """The application over the database that ``settings`` names; its tables must exist.

    Raises:
        TableDiffers: an address is not in the table of what each asks for, or one there is not.
    """
    settings = settings or Settings()
    database = Database(settings.database_url)
    looking_over = LookingOver(database)
    recalling = Recalling(database, settings.zone)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        looking_over.catch_up()
        recalling.begin()
        yield
        looking_over.close()
        recalling.close()
        database.close()

    app = FastAPI(
        title="Temperbook",
        lifespan=lifespan,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        dependencies=[Depends(ask)],
    )
    app.state.table = ROUTES
    app.state.act_lines = act_lines(ROUTES)
    app.state.settings = settings
    app.state.database = database
    app.state.templates = templates(settings)
    app.state.watch = Watch()
    app.state.looking_over = looking_over
    app.state.recalling = recalling
    app.mount("/static", _LastingFiles(directory=STATIC), name="static")
    # Own words before identities: /panels/register is asked for before /panels/{code}.
    app.include_router(furnace_history.router)
    app.include_router(bench.charts.router)
    for subject in (people, equipment, requirements, panels, loads, bench, release, tracing, trail):
        app.include_router(subject.router)
    check_complete(app, ROUTES)
    app.add_middleware(AfterActs, look=recalling.look_soon)
    app.add_middleware(Guard, settings=settings, keep=_keeping(database))
    app.add_exception_handler(NotSignedIn, unlocking.ask_to_sign_in)
    app.add_exception_handler(PasswordIsFirst, unlocking.ask_for_own_password)
    app.add_exception_handler(OldForm, unlocking.show_old_form)
    app.add_exception_handler(Refusal, _show_refusal)
    app.add_exception_handler(RequestValidationError, _show_misread)
    app.add_exception_handler(HTTPException, _show_http_problem)
    app.add_exception_handler(Exception, _show_fault)
    return app


def _keeping(database: Database) -> KeepRefusal:
    """Puts refused attempts on the trail."""

    def keep(refusal: Refusal, path: str, by: str) -> None:
        record_refused_act(database, refusal.sentence, path=path, by=by, at=now())

    return keep


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


def _show_misread(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for this class only
    return _show_refusal(request, misread(error.errors()))


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
