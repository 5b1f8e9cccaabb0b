"""Sign-in, sign-out and the people page, on both databases."""

import re
from typing import Any

import pytest

from app.database import Database
from tests.makers import Shop
from tests.visits import PASSWORD, Visit, words

FIRST = "walnut lantern orbit 41"
NEW = {
    "full_name": "New Name",
    "username": "new.name",
    "identity_number": "W-2041",
    "password": FIRST,
}


def _sign_in(visit: Visit, **fields: str) -> Any:
    return visit.client.post("/sign-in", data=fields)


def test_whoever_signs_in_goes_on_to_the_page_they_came_for(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    asked = visit.get("/people?x=1")
    assert asked.headers["location"] == "/sign-in?next=/people%3Fx%3D1"
    form = visit.get(asked.headers["location"])
    assert 'name="next" value="/people?x=1"' in form.text
    answer = _sign_in(visit, username="mara", password=PASSWORD, next="/people?x=1")
    assert (answer.status_code, answer.headers["location"]) == (303, "/people?x=1")
    assert "Mara Quill" in visit.get("/people").text


@pytest.mark.parametrize(
    "onward", ["https://elsewhere.example", "//elsewhere.example", "/\\elsewhere", "/a\nb", ""]
)
def test_a_sign_in_leads_to_no_other_site(database: Database, visit: Visit, onward: str) -> None:
    Shop(database)
    answer = _sign_in(visit, username="mara", password=PASSWORD, next=onward)
    assert answer.headers["location"] == "/"


def test_a_refused_sign_in_keeps_the_name_and_forgets_the_password(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    answer = _sign_in(visit, username="Mara<", password="not the one", next="/people")
    assert answer.status_code == 422
    assert "do not belong together" in words(answer.text)
    assert 'value="Mara&lt;"' in answer.text
    assert "not the one" not in answer.text
    assert 'name="next" value="/people"' in answer.text
    empty = _sign_in(visit, username="mara")
    assert "Password is missing." in words(empty.text)


def test_after_signing_out_the_pages_are_closed(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("mara")
    answer = visit.post("/sign-out")
    assert answer.headers["location"] == "/sign-in"
    assert "You are signed out." in words(visit.follow(answer).text)
    assert visit.get("/people").status_code == 303


def test_everybody_sees_who_may_do_what_and_the_way_to_their_acts(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("olek")
    page = visit.get("/people")
    told = words(page.text)
    assert "Put a panel, or anything panels rest on, on hold may may may may may" in told
    assert "Lift a hold may disposition of held panels open, rework, repair" in words(page.text)
    assert 'href="/trail?by=mara"' in page.text
    assert "Open an account" not in words(page.text)


def test_an_administrator_opens_an_account_that_can_sign_in(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("rune")
    answer = visit.post("/people", **NEW, roles=["inspector", "supervisor", "no such role"])
    page = words(visit.follow(answer).text)
    assert "New Name can now sign in." in page
    assert "New Name new.name inspector, supervisor" in page
    visit.sign_in("new.name", FIRST)


def test_a_refused_account_keeps_name_and_roles_and_forgets_the_password(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("rune")
    answer = visit.post("/people", **{**NEW, "password": "much too short"}, roles=["supervisor"])
    assert answer.status_code == 422
    assert "this one has 14" in words(answer.text)
    assert 'value="New Name"' in answer.text
    assert re.search(r'value="supervisor" checked', answer.text)
    assert "much too short" not in answer.text
    taken = visit.post("/people", **{**NEW, "username": "mara"})
    assert taken.status_code == 409


@pytest.mark.parametrize("username", ["mara", "ines", "tomas", "olek"])
def test_only_an_administrator_opens_accounts(
    database: Database, visit: Visit, username: str
) -> None:
    Shop(database)
    visit.sign_in(username)
    answer = visit.post("/people", **NEW)
    assert answer.status_code == 403
    assert "Only an administrator may" in words(answer.text)


def test_a_form_without_this_sign_ins_token_is_refused(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("rune")
    answer = visit.client.post("/people", data={"csrf": "0" * 64, **NEW})
    assert answer.status_code == 422
    assert "nothing was recorded" in words(answer.text)
    foreign = visit.client.post(
        "/people", data={"csrf": visit.csrf(), **NEW}, headers={"sec-fetch-site": "cross-site"}
    )
    assert "another site" in words(foreign.text)
    assert "new.name" not in visit.get("/people").text
