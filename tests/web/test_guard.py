"""What stands around every answer: which refusals are kept, and that no secret leaves a page."""

import re
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from app.cli import serve
from app.errors import GateOpen, NotAllowed, Refusal, heard
from app.main import create_app
from app.people.service import passwords
from app.settings import Settings
from app.web.guard import Guard
from app.web.page import Visitor

TEMPLATES = Path(__file__).parents[2] / "templates"
SETTINGS = Settings(database_url="sqlite://")


def _answered(raised: Refusal | None, status: int, *, method: str = "POST", **state: Any) -> Any:
    """Who tried what, as the guard kept it from one answer."""
    kept: list[tuple[str, str, str]] = []

    def answer(request: Request) -> Response:
        request.state.visitor = Visitor("mara", "Mara Quill", frozenset(), "")
        for name, given in state.items():
            setattr(request.state, name, given)
        said = heard.get()
        if raised is not None and said is not None:
            said.append(raised)
            with suppress(Refusal):
                raise raised
        GateOpen("only shown on the page")
        return PlainTextResponse("", status_code=status)

    app = Starlette(routes=[Route("/panels/P-1/release", answer, methods=["GET", "POST"])])

    def keep(one: Refusal, path: str, by: str) -> None:
        kept.append((one.sentence, path, by))

    with TestClient(Guard(app, settings=SETTINGS, keep=keep)) as client:
        assert client.request(method, "/panels/P-1/release").status_code == status
    return kept


def test_a_refusal_is_kept_where_it_was_raised_and_was_the_answer() -> None:
    refused = ("no", "/panels/P-1/release", "mara")
    assert _answered(NotAllowed("no"), 403) == [refused]
    assert _answered(GateOpen("no"), 422) == [refused]
    assert _answered(NotAllowed("no"), 422) == [], "another refusal was the answer"
    assert _answered(None, 422) == [], "only shown, not raised"
    assert _answered(NotAllowed("no"), 403, method="GET") == [], "a page that was only read"
    assert _answered(NotAllowed("no"), 403, visitor=None) == [], "a stranger"
    by_machine = _answered(NotAllowed("no"), 403, visitor=None, machine="head reader")
    assert by_machine == [(*refused[:2], "head reader")]


def test_a_refusal_that_cannot_be_kept_is_still_told(caplog: pytest.LogCaptureFixture) -> None:
    def refuse() -> None:
        raise NotAllowed("no")

    def answer(request: Request) -> Response:
        request.state.visitor = Visitor("mara", "Mara Quill", frozenset(), "")
        with suppress(NotAllowed):
            refuse()
        return PlainTextResponse("no", status_code=403)

    def fail(*_: object) -> None:
        raise OSError("disk full")

    app = Starlette(routes=[Route("/people", answer, methods=["POST"])])
    with TestClient(Guard(app, settings=SETTINGS, keep=fail)) as client:
        assert client.post("/people").status_code == 403
    assert "could not be kept on the trail" in caplog.text


def test_no_address_takes_a_secret_in_its_query(sqlite_url: str) -> None:
    secret = re.compile(r"pass|token|secret|csrf|one_time|held|typed")
    asked = 0
    routes = list(create_app(Settings(database_url=sqlite_url)).router.routes)
    while routes:
        route = routes.pop()
        if hasattr(route, "original_router"):
            routes += route.original_router.routes
        if hasattr(route, "dependant"):
            names = [one.alias for one in route.dependant.query_params]
            assert not [name for name in names if secret.search(name)], route.path
            assert "POST" not in route.methods or not names, route.path
            asked += 1
    assert asked > 100


def test_forms_that_go_into_the_address_carry_no_secret_and_password_fields_are_known() -> None:
    for path in TEMPLATES.rglob("*.html"):
        text = path.read_text()
        for form in re.findall(r"<form[^>]*method=\"get\".*?</form>", text, re.DOTALL):
            assert "csrf" not in form, path
            assert "password" not in form, path
        for name in re.findall(r"field\(\s*\"?(\w+)\"?,[^{}]*kind=\"password\"", text):
            # Fields of these names are never carried over a lock: see app/web/held.py.
            assert name.endswith("password") or path.name == "held.html", (path, name)


def test_addresses_are_not_logged(monkeypatch: pytest.MonkeyPatch, sqlite_url: str) -> None:
    """The server's access lines, in which an address stands with its query, are below its level."""
    monkeypatch.setenv("TEMPERBOOK_DATABASE_URL", sqlite_url)
    given: dict[str, Any] = {}
    monkeypatch.setattr(serve.uvicorn, "run", lambda _app, **told: given.update(told))
    assert serve.serve_command(host="127.0.0.1", port=1) == 0
    assert given["log_level"] == "warning"


def test_passwords_are_compared_at_few_places_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passwords, "_PATIENCE_S", 0.01)
    place = passwords.place_to_hash
    for _ in range(2):
        with place(), place(), place(), place():  # noqa: SIM117 - all four are taken before
            with pytest.raises(passwords.TooBusy, match="try again in a minute"):
                passwords.hashed("nine lamps, one quiet harbour")
