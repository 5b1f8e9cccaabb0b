"""The page of a growing record in a real browser: it follows, and is loud when it cannot.

The picture has every row once, whatever happens to the line or to the server.
"""

import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect

from app.database import Database
from app.loads.pages import live
from app.main import create_app
from app.settings import Settings
from tests.browser.desks import Desk
from tests.loads.live.live_makers import Sending, rows_of
from tests.speed.serving import free_port
from tests.visits import PASSWORD

STEP_S = 60
GROWN = "document.querySelector('[data-trace]').picture.record"


class Place:
    """A run that grows, served at one address by a server that can be stopped and started."""

    def __init__(self, database_url: str) -> None:
        self.settings = Settings(database_url=database_url, shop_name="Test shop")
        self.sending = Sending(Database(database_url))
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.start = datetime.now(UTC) - timedelta(seconds=100 * STEP_S)
        self.rows = rows_of(0, 271, start=self.start)
        self.known = 0
        self.sending.open(at=self.start)
        self.grow(100)
        self.serve()

    def grow(self, to: int, *, change: Callable[[list[Any]], None] | None = None) -> None:
        """Rows come in up to number ``to``."""
        new = self.rows[self.known : to]
        for row in new:
            if change is not None:
                change(row)
        at = max(datetime.now(UTC), self.start + timedelta(seconds=to * STEP_S))
        self.known = self.sending.send(new, first=self.known, at=at)

    def serve(self) -> None:
        config = uvicorn.Config(
            create_app(self.settings), port=self.port, log_level="error", ws="none"
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        until = time.monotonic() + 10
        while not self.server.started:
            assert time.monotonic() < until
            time.sleep(0.01)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(10)


@pytest.fixture
def place(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Place]:
    monkeypatch.setattr(live, "ASKED_EVERY_S", 0.3)
    made = Place(sqlite_url)
    yield made
    made.stop()


@pytest.fixture
def context(browser: Browser, place: Place) -> Iterator[BrowserContext]:
    opened = browser.new_context(base_url=place.address)
    opened.set_default_timeout(20_000)
    yield opened
    opened.close()


def watch(context: BrowserContext, place: Place, *, sign_in: bool = True) -> Page:
    page = context.new_page()
    if sign_in:
        page.goto("/sign-in")
        page.get_by_label("User name").fill("mara")
        page.get_by_label("Password").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url("**/")
    page.goto(f"/loads/{place.sending.code}/live")
    return page


def wait_until(page: Page, holds: str) -> None:
    """Wait for what script sees; the page's own policy lets no test wait in it."""
    until = time.monotonic() + 20
    while not page.evaluate(f"Boolean({holds})"):
        assert time.monotonic() < until, holds
        page.wait_for_timeout(50)


def drawn(page: Page, rows: int) -> list[float]:
    """The times in the picture once it has come to ``rows``."""
    wait_until(page, f"{GROWN}?.next === {rows}")
    times: list[float] = page.evaluate(f"{GROWN}.t")
    return times


def whole(rows: int) -> list[float]:
    return [float(STEP_S * number) for number in range(rows)]


def test_the_page_follows_row_by_row(context: BrowserContext, place: Place) -> None:
    page = watch(context, place)
    assert drawn(page, 100) == whole(100)
    for rows in (101, 102, 110):
        place.grow(rows)
        assert drawn(page, rows) == whole(rows)
        expect(page.locator("[data-part]")).to_contain_text(f"row {rows}")
    values = page.evaluate(f"{GROWN}.series[0].values")
    assert values == [float(row[1]) for row in place.rows[:110]]
    expect(page.locator("[data-heartbeat]")).to_contain_text("last answered just now")


def test_a_lost_line_is_said_aloud_and_then_nothing_is_missing(
    context: BrowserContext, place: Place
) -> None:
    page = watch(context, place)
    drawn(page, 100)
    context.set_offline(True)
    place.grow(104)
    expect(page.locator("[data-lost]")).to_contain_text("This page has lost the server.")
    expect(page.locator("[data-loud]")).to_contain_text("lost the server")
    assert page.title().startswith("(!) Lost")
    place.grow(108)
    context.set_offline(False)
    assert drawn(page, 108) == whole(108)
    expect(page.locator("[data-lost]")).to_be_hidden()
    expect(page.locator("[data-quiet]")).to_contain_text("answers again")
    assert page.title().startswith("Load")


def test_a_server_that_restarts_leaves_no_gap_and_no_double_row(
    context: BrowserContext, place: Place
) -> None:
    page = watch(context, place)
    drawn(page, 100)
    for rows in (105, 112):
        place.stop()
        place.grow(rows - 2)
        expect(page.locator("[data-lost]")).to_be_visible()
        place.serve()
        place.grow(rows)
        assert drawn(page, rows) == whole(rows)
        expect(page.locator("[data-lost]")).to_be_hidden()


def test_a_part_that_is_zoomed_stays_and_the_whole_has_every_row(
    context: BrowserContext, place: Place
) -> None:
    page = watch(context, place)
    drawn(page, 100)
    for _ in range(2):
        page.get_by_role("button", name="Zoom in").click()
        page.wait_for_timeout(300)
    before = page.evaluate("document.querySelector('[data-trace]').picture.view")
    place.grow(106)
    wait_until(page, f"{GROWN}.next === 106")
    assert page.evaluate("document.querySelector('[data-trace]').picture.view") == before
    page.get_by_role("button", name="Whole record").click()
    wait_until(page, f"{GROWN}.t.length === 106")
    assert drawn(page, 106) == whole(106)


def test_a_new_warning_is_spoken_and_stands_in_the_title(
    context: BrowserContext, place: Place
) -> None:
    page = watch(context, place)
    drawn(page, 100)
    assert page.locator(".live__alert").count() == 0

    def hot(row: list[Any]) -> None:
        row[1] = "155.5"

    place.grow(103, change=hot)
    expect(page.locator("[data-loud]")).to_contain_text("Warning:")
    expect(page.locator(".live__alert").first).to_be_visible()
    assert page.title().startswith("(!)")


def test_whoever_is_signed_out_is_told(context: BrowserContext, place: Place) -> None:
    page = watch(context, place)
    drawn(page, 100)
    context.clear_cookies()
    expect(page.locator("[data-lost]")).to_contain_text("You are signed out")
    expect(page.get_by_role("link", name="Sign in again")).to_be_visible()


def test_the_run_ends_before_the_reader_s_eyes(context: BrowserContext, place: Place) -> None:
    page = watch(context, place)
    place.grow(271)
    drawn(page, 271)
    place.sending.close(at=place.start + timedelta(days=1))
    expect(page.locator("[data-part]")).to_contain_text("The run is over")
    expect(page.locator("[data-live]")).not_to_have_attribute("data-growing", "")


def test_the_pages_are_fit_for_everybody(browser: Browser, place: Place) -> None:
    def hot(row: list[Any]) -> None:
        row[1] = "155.5"

    place.grow(103, change=hot)
    for script in (True, False):
        desk = Desk(browser, place, script=script)  # type: ignore[arg-type]
        desk.page.goto("/sign-in")
        desk.page.get_by_label("User name").fill("rune")
        desk.page.get_by_label("Password").fill(PASSWORD)
        desk.page.keyboard.press("Enter")
        desk.page.wait_for_url("**/")
        for address in (
            "/",
            f"/loads/{place.sending.code}/live",
            "/logger-tokens",
            "/logger-tokens/sending",
        ):
            desk.page.goto(address)
            assert desk.page.locator("h1").count() == 1
            if script and desk.page.locator("[data-trace]").count():
                desk.page.wait_for_selector(".trace__high canvas")
            if script:
                assert desk.looked_over() == [], address
            elif address.endswith("/live"):
                assert desk.page.get_by_role("link", name="Load again every minute").count() == 1
                assert "Warning" in desk.words()
        desk.close()
