"""A sign-in that locks while a form is filled in: what was typed is sent on with one press."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import select

from app.people import queries
from app.people.records import SignIn
from tests.browser.bench_floor import Floor
from tests.browser.desks import Desk, Served
from tests.visits import PASSWORD


@pytest.fixture
def floor(sqlite_url: str) -> Iterator[Floor]:
    made = Floor(sqlite_url)
    yield made
    made.database.close()


@pytest.fixture
def served(floor: Floor) -> Iterator[Served]:
    with floor.served() as opened:
        yield opened


def test_what_was_typed_is_sent_on_after_unlocking(
    browser: Browser, floor: Floor, served: Served
) -> None:
    desk = Desk(browser, served)
    page = desk.page
    page.goto("/sign-in")
    page.get_by_label("User name").fill("rune")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator(".head__who")).to_be_visible()
    for address in ("/account", "/account/password", "/account/second-factor"):
        page.goto(address)
        assert desk.looked_over() == [], address
    page.goto("/people")
    page.get_by_label("Full name").fill("Zora <Lind>")
    page.get_by_label("User name").fill("zora")
    page.get_by_label("Identity number").fill("W-9001")
    page.get_by_label("Supervisor").check()
    page.get_by_label("First password").fill("nine lamps, one quiet harbour")
    with floor.database.write() as session:
        for row in session.scalars(select(SignIn)):
            row.seen_at -= timedelta(minutes=31)
    page.get_by_role("button", name="Open the account").click()
    expect(page.locator("h1")).to_have_text("Locked")
    assert desk.looked_over() == []
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Unlock").click()
    expect(page.locator("h1")).to_have_text("Unlocked. What you were sending is here")
    expect(page.locator("main")).to_contain_text("Zora <Lind>")
    assert desk.looked_over() == []
    page.get_by_label("Password").fill("nine lamps, one quiet harbour")
    page.get_by_role("button", name="Send it on").click()
    expect(page.locator(".notice")).to_contain_text("Zora <Lind>")
    with floor.database.read() as session:
        assert queries.person(session, "zora").roles == ["supervisor"]
    desk.close()
