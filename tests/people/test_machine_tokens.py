"""Machines' tokens: shown once, for one thing, and no sign-in opens what they open."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.people import queries, service
from app.people.records import MachineToken, Scope
from tests.makers import NOW, Shop
from tests.visits import Visit, words

TODAY = NOW.date()

on_one_database = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
"""For what rests on no difference between the two."""


def _issue(shop: Shop, name: str = "screen", **changed) -> str:
    given = {"scope": Scope.PANEL_STATUS, "last_day": TODAY, "by": shop.administrator, **changed}
    return service.issue_machine_token(shop.database, name=name, at=NOW, today=TODAY, **given)


def test_a_token_is_good_until_its_last_day_and_kept_as_a_digest(database: Database) -> None:
    shop = Shop(database)
    token = _issue(shop)
    year = TODAY + timedelta(days=366)
    _issue(shop, "other", last_day=year)
    for last_day in (TODAY - timedelta(days=1), year + timedelta(days=1)):
        with pytest.raises(Refusal, match="at most a year ahead"):
            _issue(shop, "third", last_day=last_day)
    with pytest.raises(Conflict, match="issued before"):
        _issue(shop)
    with pytest.raises(NotAllowed, match="Only an administrator"):
        _issue(shop, "third", by=shop.supervisor)
    with database.read() as session:
        found = queries.machine_of(session, token, today=TODAY)
        assert found is not None
        assert found.name == "screen"
        assert queries.machine_of(session, token, today=TODAY + timedelta(days=1)) is None
        assert queries.machine_of(session, token + "x", today=TODAY) is None
        kept = session.get_one(MachineToken, found.id).token_sha256
    assert kept == queries.token_digest(token)
    ended = {"reason": "the screen was stolen", "by": shop.administrator, "at": NOW}
    assert service.end_machine_token(database, found.id, **ended) == "screen"
    with pytest.raises(Conflict, match="taken back before"):
        service.end_machine_token(database, found.id, **ended)
    with database.read() as session:
        assert queries.machine_of(session, token, today=TODAY) is None


@on_one_database
def test_a_token_opens_one_thing_and_no_sign_in_does(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    panel = shop.panel_in_load()[1].code
    visit.sign_in("rune")
    last_day = (datetime.now(UTC).date() + timedelta(days=30)).isoformat()
    tokens = {}
    for scope in Scope:
        page = visit.post("/people/tokens", name=scope.value, scope=scope.value, last_day=last_day)
        shown = re.search(r'class="token"[^>]*>(tbm_[\w-]+)<', page.text)
        assert shown, words(page.text)
        tokens[scope] = shown[1]
        assert shown[1] not in visit.get("/people/tokens").text + visit.get("/trail").text
    address = f"/machine/panels/{panel}"

    def ask(token: str = ""):
        headers = {"authorization": f"Bearer {token}"} if token else {}
        return visit.client.get(address, headers=headers)

    unknown = ask()
    assert (unknown.status_code, unknown.headers["www-authenticate"]) == (401, "Bearer")
    assert "machine's token that is in force" in unknown.json()["sentence"]
    other = ask(tokens[Scope.TREE_HEADS])
    assert other.status_code == 403
    assert "this address is to read where panels stand" in other.json()["sentence"]
    visit.client.cookies.clear()
    answer = ask(tokens[Scope.PANEL_STATUS])
    assert answer.status_code == 200
    said = answer.json()
    assert (said["panel"], said["standing"]) == (panel, "planned")
    assert said["as_of"].endswith("+00:00")
    bearer = {"authorization": f"Bearer {tokens[Scope.PANEL_STATUS]}"}
    gone = visit.client.get("/machine/panels/NO-SUCH", headers=bearer)
    assert (gone.status_code, "No panel NO-SUCH" in gone.json()["sentence"]) == (404, True)
    assert visit.client.get(f"/panels/{panel}", headers=bearer).status_code == 303
    visit.sign_in("rune")
    first = visit.post("/people/tokens/1/end", reason_1="")
    assert "Reason is missing" in words(first.text)
    key = next(one.id for one in _lines(database) if one.scope is Scope.PANEL_STATUS)
    visit.follow(visit.post(f"/people/tokens/{key}/end", **{f"reason_{key}": "screen is gone"}))
    assert ask(tokens[Scope.PANEL_STATUS]).status_code == 401
    visit.sign_in("ines")
    assert visit.post("/people/tokens", name="x").status_code == 403


def _lines(database: Database):
    with database.read() as session:
        return queries.machine_tokens(session)
