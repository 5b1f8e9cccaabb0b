"""Every address with everybody who could ask at it, held against the one table of rights."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.database import Database
from app.main import create_app
from app.panels.records import Decided, Hold, Panel
from app.people import service as people
from app.people import service as signing
from app.people.records import Scope
from app.people.rights import Act
from app.release.queries.panel_facts import panel_facts
from app.release.records import Decision
from app.release.rules.facts import DecisionKind
from app.release.service.cases import case_of, decide
from app.routes import ROUTES, act_lines
from app.routes.asked import Door, TableDiffers, addresses, check_complete
from app.settings import Settings
from tests.loads.pictures import picture
from tests.makers import Shop, bind
from tests.rights.walking import USERS, Walker, filled
from tests.visits import PASSWORD, words

ZONE = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def shop(sqlite_url: str) -> Shop:
    made = Shop(Database(sqlite_url))
    made.panel_in_load()
    return made


@pytest.fixture
def app(sqlite_url: str, shop: Shop) -> FastAPI:
    return create_app(Settings(database_url=sqlite_url, time_zone=ZONE.key))


def token_of(shop: Shop, scope: Scope) -> str:
    today = datetime.now(UTC).date()
    return people.issue_machine_token(
        shop.database,
        name=scope.value,
        scope=scope,
        last_day=today + timedelta(days=1),
        by=shop.administrator,
        at=datetime.now(UTC),
        today=today,
    )


def test_the_table_names_every_address_and_every_act_is_asked_for_somewhere(app: FastAPI) -> None:
    assert set(addresses(app)) == set(ROUTES)
    assert {line.act for line in act_lines(ROUTES)} == set(Act)
    # Nothing that takes something is left open by accident.
    unasked = {
        path for (method, path), asked in ROUTES.items() if method == "POST" and not asked.acts
    }
    assert {path.split("/")[1] for path in unasked} == {
        *("sign-in", "unlock", "sign-out", "account", "live"),
        *("places", "mappings", "trail"),
    }
    less = {key: asked for key, asked in ROUTES.items() if key != ("POST", "/people")}
    with pytest.raises(TableDiffers, match="POST /people is not in app/routes"):
        check_complete(app, less)
    with pytest.raises(TableDiffers, match="GET /nowhere answers no longer"):
        check_complete(app, {**ROUTES, ("GET", "/nowhere"): ROUTES["GET", "/"]})


def test_every_address_with_every_role(app: FastAPI, shop: Shop) -> None:
    walker, wrong = Walker(app), []
    for (method, path), asked in ROUTES.items():
        for role, username in USERS.items():
            answer = walker.send(method, filled(path), username)
            status, to = answer.status_code, answer.headers.get("location", "")
            if asked.door is Door.TOKEN:
                right = status == 401
            elif asked.allows(frozenset({role.value})):
                right = status not in {401, 403, 405} and not to.startswith(("/unlock", "/sign-in"))
                right = right or path == "/sign-out" or path.startswith(("/sign-in", "/unlock"))
                right = right or path == "/account/sign-out-everywhere"
            else:
                right = status == 403 and "Only a" in words(answer.text)
            if not right:
                wrong.append((method, path, role.value, status, to, words(answer.text)[-300:]))
    assert not wrong, wrong


def test_every_address_with_nobody_and_with_machines(app: FastAPI, shop: Shop) -> None:
    walker, wrong = Walker(app), []
    tokens = {scope: token_of(shop, scope) for scope in Scope}
    for (method, path), asked in ROUTES.items():
        asking = [(None, ""), *tokens.items()]
        for scope, token in asking if asked.door is Door.TOKEN else asking[:2]:
            answer = walker.send(method, filled(path), None, token=token)
            status, to = answer.status_code, answer.headers.get("location", "")
            if asked.door is Door.OPEN:
                right = status in {200, 303, 422}
            elif asked.door is Door.SIGNED_IN:
                right = status == 303 and to.startswith("/sign-in")
            elif path.startswith("/live/") or scope is None:
                right = status == 401
            else:
                right = status in {200, 403}
            if not right:
                wrong.append((method, path, scope, status, to))
    assert not wrong, wrong
    machines = {path for _, path in ROUTES if path.startswith("/machine/")}
    for path in machines:
        opened = [walker.send("GET", filled(path), None, token=one) for one in tokens.values()]
        assert sorted(one.status_code for one in opened) == [200, 403], path


def test_a_refusal_is_told_before_the_form_is_read_and_goes_on_the_trail(
    app: FastAPI, shop: Shop
) -> None:
    walker = Walker(app)
    # Without the page's own token: the form is not looked at.
    walker.send("GET", "/", "olek")
    walker.csrf["olek"] = ""
    refused = walker.send("POST", "/panels/P-0001/release", "olek")
    assert (
        refused.status_code,
        "Only an inspector may release a panel" in words(refused.text),
    ) == (
        403,
        True,
    )
    with shop.database.read() as session:
        last = session.scalars(select(TrailEntry).order_by(TrailEntry.number.desc())).first()
        assert last is not None
        assert (last.tag, last.by) == (Tag.ACT_REFUSED.value, "olek")
    # What another site's page sends in their name puts nothing on the trail.
    foreign = walker.send("POST", "/panels/P-0001/release", "olek", site="cross-site")
    assert (foreign.status_code, "another site" in words(foreign.text)) == (422, True)
    with shop.database.read() as session:
        assert session.scalar(select(func.max(TrailEntry.number))) == last.number


TEXT = "said in the walk over the states"
FORMS: dict[str, dict[str, str]] = {
    "/panels/{code:path}/hold": {"reason": TEXT},
    "/panels/{code:path}/release": {"seen": "1"},
    "/panels/{code:path}/lift": {"seen": "1", "disposition": "rework", "reason": TEXT},
    "/panels/{code:path}/nonconformance": {
        **dict.fromkeys(("description", "requirement", "containment"), TEXT)
    },
    "/panels/{code:path}/scrap": {"marking": TEXT, "made_unusable": TEXT},
    "/panels/{code:path}/scrap/witness": {},
    "/panels/{code:path}/divide": {"pieces": "x", "drawing": "D", "reason": TEXT},
    "/panels/{code:path}/mark-anew": {"code": "P-NEW", "reason": TEXT},
    "/recalls": {},
}
ACTING = {
    Act.PLACE_HOLD: "olek",
    Act.RELEASE_PANEL: "mara",
    Act.LIFT_HOLD: "ines",
    Act.OPEN_NONCONFORMANCE: "mara",
    Act.MAKE_SCRAP_UNUSABLE: "mara",
    Act.WITNESS_SCRAP: "deniz",
    Act.DIVIDE_PANEL: "mara",
    Act.CLOSE_RECALL: "ines",
}
LED_TO = {
    Decided.RELEASED: DecisionKind.RELEASED,
    Decided.USE_AS_IS: DecisionKind.USE_AS_IS,
    Decided.REWORK: DecisionKind.REWORK,
    Decided.REPAIR: DecisionKind.REPAIR,
    Decided.RETURNED: DecisionKind.RETURNED,
    Decided.SCRAPPED: DecisionKind.SCRAPPED,
}
STATE_FORBIDS = (
    r"{code} (stands at [a-z, ]+: (there is nothing to release|there is no hold to lift|"
    r"there is no recall to close|nothing more is decided on it)|"
    r"was decided as|was decided on and recalled|was replaced|is not scrapped)"
)


def panel_left_at(shop: Shop, code: str, state: Decided, *, held: bool) -> str:
    """A panel that its last decision left so; hands back what a page of it would carry."""
    at = datetime.now(UTC)
    by = shop.inspector if state is Decided.RELEASED else shop.supervisor
    proof = signing.re_authenticate(shop.database, by, password=PASSWORD, at=at)
    with shop.database.write() as session:
        panel = shop.panel(session, code)
        if state is Decided.REPLACED:
            panel.decided = state
            bind(session, panel)
        if state in LED_TO:
            case = case_of(panel_facts(session, [panel.id], zone=ZONE, in_full=True)[panel.id])
            decide(session, panel, case, proof, kind=LED_TO[state], reason=TEXT, at=at)
        if held:
            hold = Hold(panel_id=panel.id, reason=TEXT, placed_by_id=shop.second.id, placed_at=at)
            bind(session, hold)
        session.flush()
        session.expire_all()
        return case_of(panel_facts(session, [panel.id], zone=ZONE, in_full=True)[panel.id]).seen


def test_every_act_on_a_panel_in_every_state(app: FastAPI, shop: Shop) -> None:
    walker, wrong = Walker(app), []
    on_panels = {path: asked for (_, path), asked in ROUTES.items() if asked.on}
    assert set(on_panels) == set(FORMS)
    for number, (path, asked) in enumerate(on_panels.items()):
        for state in Decided:
            code = f"W{number}-{state.name.replace('_', '')}"
            held = path in {"/panels/{code:path}/lift", "/recalls"}
            seen = panel_left_at(shop, code, state, held=held)
            sent = {**FORMS[path], "password": PASSWORD, "seen": seen}
            if path == "/recalls":
                sent |= {
                    f"stands:{code}": "withdrawn",
                    f"reason:{code}": TEXT,
                    f"seen:{code}": seen,
                }
            if path.endswith("/mark-anew"):
                sent["code"] = f"NEW-{code}"
            if path.endswith("/divide"):
                sent["pieces"] = f"{code}-A 6000 2600\n{code}-B 7000 2600"
            files = {"file": ("mark.jpg", picture(), "image/jpeg")} if "scrap" in path else None
            before = decisions_and_states(shop)
            address = path.replace("{code:path}", code)
            answer = walker.send("POST", address, ACTING[asked.acts[0]], data=sent, files=files)
            told = re.search(STATE_FORBIDS.format(code=code), words(answer.text))
            if state in asked.on:
                right = answer.status_code != 403 and not told
            else:
                # A release is refused by its gates first, wherever one does not conform.
                told = told or re.search(f"{code} cannot be released", words(answer.text))
                right = answer.status_code in {409, 422} and bool(told)
                right = right and decisions_and_states(shop) == before
            if not right:
                wrong.append((path, state, answer.status_code, words(answer.text)[1400:2400]))
    assert not wrong, wrong


def decisions_and_states(shop: Shop) -> tuple[Any, ...]:
    with shop.database.read() as session:
        counted = [
            session.scalar(select(func.count()).select_from(one)) for one in (Decision, Hold)
        ]
        states = session.execute(select(Panel.code, Panel.decided).order_by(Panel.id)).all()
    return (*counted, states)
