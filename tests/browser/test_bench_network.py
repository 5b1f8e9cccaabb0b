"""Nothing keyed at the bench is lost or doubled: network, server, presses, tabs, clocks."""

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Route, expect
from sqlalchemy import select

from app.bench.records import Reading
from app.people.records import SignIn
from tests.browser.bench_floor import Floor, Inspector
from tests.browser.desks import Served
from tests.speed import serving

BANNER_MS = 2000
KEPT = "localStorage.getItem('temperbook bench unsent')"
FIGURES = ["84.5", "85.0", "85.5"]
PRESSES = 5


@pytest.fixture
def floor(sqlite_url: str) -> Iterator[Floor]:
    made = Floor(sqlite_url)
    yield made
    made.database.close()


@pytest.fixture
def served(floor: Floor) -> Iterator[Served]:
    with floor.served() as opened:
        yield opened


@pytest.fixture
def seat(browser: Browser, served: Served) -> Iterator[Callable[..., Inspector]]:
    seated: list[Inspector] = []

    def at_a_browser(username: str = "mara") -> Inspector:
        seated.append(Inspector(browser, served.address, username))
        return seated[-1]

    yield at_a_browser
    for each in seated:
        each.__exit__()


def _key_three(mara: Inspector, session_id: int, coupon: str) -> None:
    """Key a coupon's hardness up to the tick, which would record it."""
    mara.sit_at(session_id)
    mara.scan(coupon)
    mara.page.wait_for_selector(f"form[data-entry={coupon}]")
    mara.key("845", "850", "855")
    expect(mara.page.locator("[name=spacing_confirmed]")).to_be_focused()


def _not_saved(mara: Inspector, coupon: str) -> None:
    banner = mara.page.locator("[data-unsent]")
    expect(banner).to_contain_text(f"{coupon} is NOT SAVED YET", timeout=BANNER_MS)
    assert banner.get_attribute("role") == "alert"


def _saved_once(floor: Floor, mara: Inspector, coupon: str) -> None:
    expect(mara.page.locator("#saved")).to_contain_text(f"{coupon} is recorded", timeout=15_000)
    assert floor.readings(coupon) == FIGURES
    assert mara.page.evaluate(KEPT) is None
    assert floor.draft(coupon) == {}


def test_a_cut_network_is_said_at_once_and_the_coupon_is_recorded_once_it_is_back(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, (coupon, other, _) = seat(), floor.coupons
    _key_three(mara, floor.hardness, coupon)
    mara.context.set_offline(offline=True)
    mara.press("1")
    _not_saved(mara, coupon)
    expect(mara.page.locator("[data-unsent]")).to_contain_text("sent again until it does")
    assert mara.values() == FIGURES
    mara.scan(other)
    expect(mara.page.locator("[data-said]")).to_contain_text(f"{other} was not taken up")
    assert floor.readings(coupon) == []
    assert mara.page.locator("#saved").count() == 0
    mara.context.set_offline(offline=False)
    _saved_once(floor, mara, coupon)


def test_an_answer_that_is_lost_after_the_commit_does_not_double_the_entry(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    _key_three(mara, floor.hardness, coupon)
    lost: list[str] = []

    def lose_the_first(route: Route) -> None:
        if not lost:
            lost.append(route.fetch().text())
            route.abort()
        else:
            route.continue_()

    mara.page.route("**/readings", lose_the_first)
    mara.press("1")
    _not_saved(mara, coupon)
    _saved_once(floor, mara, coupon)
    assert len(lost) == 1


def test_a_server_that_hangs_is_said_within_two_seconds(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    _key_three(mara, floor.hardness, coupon)
    held: list[Route] = []
    answering: list[bool] = []

    def hold_back(route: Route) -> None:
        if answering:
            route.continue_()
        else:
            held.append(route)

    mara.page.route("**/readings", hold_back)
    mara.press("1")
    _not_saved(mara, coupon)
    assert floor.readings(coupon) == []
    answering.append(True)
    held[0].continue_()
    _saved_once(floor, mara, coupon)


def test_a_killed_server_loses_nothing(
    floor: Floor, browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = serving.free_port()
    monkeypatch.setattr(serving, "free_port", lambda: port)
    coupon = floor.coupons[0]
    with (
        serving.Server(floor.url, upload_folder=str(tmp_path / "uploads")) as server,
        Inspector(browser, f"http://127.0.0.1:{port}") as mara,
    ):
        mara.sit_at(floor.hardness)
        mara.scan(coupon)
        mara.page.wait_for_selector(f"form[data-entry={coupon}]")
        mara.key("845")
        _until(lambda: floor.draft(coupon).get("reading_1") == "84.5")
        server.kill()
        mara.key("850", "855")
        _not_saved(mara, coupon)
        mara.press("1")
        _not_saved(mara, coupon)
        server.start()
        _saved_once(floor, mara, coupon)


def test_a_browser_that_ends_before_it_is_recorded_sends_it_when_it_is_back(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, (coupon, other, _) = seat(), floor.coupons
    _key_three(mara, floor.hardness, coupon)
    mara.page.route("**/readings", lambda route: route.abort())
    mara.press("1")
    _not_saved(mara, coupon)
    mara.page.close()
    mara.page = mara.context.new_page()
    mara.sit_at(floor.conductivity)
    _saved_once(floor, mara, coupon)
    assert floor.readings(other) == []


def test_what_was_keyed_offline_comes_back_after_a_reload(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, (coupon, other, _) = seat(), floor.coupons
    mara.sit_at(floor.hardness)
    mara.scan(coupon)
    mara.page.wait_for_selector(f"form[data-entry={coupon}]")
    mara.page.route("**/draft", lambda route: route.abort())
    mara.key("845", "850")
    _not_saved(mara, coupon)
    mara.page.reload()
    _not_saved(mara, coupon)
    assert mara.values() == ["84.5", "85.0", ""]
    mara.sit_at(floor.hardness)
    _not_saved(mara, coupon)
    mara.scan(other)
    expect(mara.page.locator("[data-said]")).to_contain_text("They go first")
    mara.page.unroute("**/draft")
    mara.page.get_by_role("link", name=f"Go on with {coupon}").click()
    mara.page.wait_for_selector(f"form[data-entry={coupon}]")
    _until(lambda: floor.draft(coupon).get("reading_2") == "85.0")
    expect(mara.page.locator("[data-unsent]")).to_be_hidden()
    assert mara.page.evaluate(KEPT) is None


def test_what_is_keyed_comes_back_on_another_device(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    mara.sit_at(floor.hardness)
    mara.scan(coupon)
    mara.page.wait_for_selector(f"form[data-entry={coupon}]")
    mara.key("845", "850")
    _until(lambda: floor.draft(coupon).get("reading_2") == "85.0")
    elsewhere = seat()
    elsewhere.sit_at(floor.hardness)
    expect(elsewhere.page.locator(".bench__kept")).to_contain_text(coupon)
    elsewhere.scan(coupon)
    elsewhere.page.wait_for_selector(f"form[data-entry={coupon}]")
    assert elsewhere.values() == ["84.5", "85.0", ""]
    assert elsewhere.at() == "reading_3"
    expect(elsewhere.page.locator("main")).to_contain_text("Nothing of it is recorded yet")
    elsewhere.key("855")
    elsewhere.press("1")
    _saved_once(floor, elsewhere, coupon)
    # The first device has the same form: it is told of the same record, and makes no other.
    mara.key("855")
    mara.press("1")
    _saved_once(floor, mara, coupon)


def test_a_sign_in_that_ended_meanwhile_loses_nothing(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    _key_three(mara, floor.hardness, coupon)
    mara.context.clear_cookies()
    mara.press("1")
    _not_saved(mara, coupon)
    mara.page.get_by_role("link", name="Sign in and go on").click()
    mara.page.get_by_label("User name").fill("mara")
    mara.page.get_by_label("Password").fill("correct horse battery")
    mara.page.keyboard.press("Enter")
    mara.page.wait_for_selector(f"form[data-entry={coupon}]")
    assert mara.values() == FIGURES
    mara.page.locator("[name=spacing_confirmed]").focus()
    mara.press("1")
    _saved_once(floor, mara, coupon)


def test_a_sign_in_that_was_locked_meanwhile_loses_nothing(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    _key_three(mara, floor.hardness, coupon)
    with floor.database.write() as session:
        for row in session.scalars(select(SignIn)):
            row.seen_at -= timedelta(minutes=31)
    mara.press("1")
    _not_saved(mara, coupon)
    mara.page.get_by_role("link", name="Sign in and go on").click()
    mara.page.get_by_label("Your password").fill("correct horse battery")
    mara.page.keyboard.press("Enter")
    mara.page.wait_for_selector(f"form[data-entry={coupon}]")
    assert mara.values() == FIGURES
    mara.page.locator("[name=spacing_confirmed]").focus()
    mara.press("1")
    _saved_once(floor, mara, coupon)


def test_another_person_at_the_browser_never_sends_what_the_first_one_keyed(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    _key_three(mara, floor.hardness, coupon)
    mara.page.route("**/readings", lambda route: route.abort())
    mara.press("1")
    _not_saved(mara, coupon)
    mara.page.unroute_all()
    mara.context.clear_cookies()
    mara.sign_in("deniz")
    mara.sit_at(floor.own_of_the_second())
    expect(mara.page.locator("[data-unsent]")).to_contain_text("until mara signs in here")
    mara.page.wait_for_timeout(300)
    assert floor.readings(coupon) == []
    mara.context.clear_cookies()
    mara.sign_in("mara")
    mara.sit_at(floor.hardness)
    _saved_once(floor, mara, coupon)


def test_presses_in_a_row_record_once(floor: Floor, seat: Callable[..., Inspector]) -> None:
    mara, coupon = seat(), floor.coupons[0]
    _key_three(mara, floor.hardness, coupon)
    mara.page.locator("[name=spacing_confirmed]").check()
    sent: list[str] = []
    mara.page.on(
        "request", lambda asked: sent.append(asked.url) if asked.url.endswith("/readings") else None
    )
    mara.page.evaluate(
        "count => { const button = document.querySelector('form[data-entry] button[type=submit]');"
        "for (let press = 0; press < count; press += 1) button.click(); }",
        PRESSES,
    )
    _saved_once(floor, mara, coupon)
    assert len(sent) == 1


def test_two_tabs_record_one_coupon_once_and_the_second_is_told(
    floor: Floor, seat: Callable[..., Inspector]
) -> None:
    first, second, coupon = seat(), seat(), floor.coupons[0]
    for tab in (first, second):
        tab.sit_at(floor.hardness)
        tab.scan(coupon)
        tab.page.wait_for_selector(f"form[data-entry={coupon}]")
    first.key("845", "850", "855")
    first.press("1")
    _saved_once(floor, first, coupon)
    second.key("845", "850", "856")
    second.press("1")
    expect(second.page.get_by_role("alert").first).to_contain_text("Since this form was opened")
    assert floor.readings(coupon) == FIGURES


@pytest.mark.parametrize("year", [2001, 2099])
def test_the_clients_clock_has_no_say(
    floor: Floor, seat: Callable[..., Inspector], year: int
) -> None:
    mara, coupon = seat(), floor.coupons[0]
    mara.page.clock.set_fixed_time(datetime(year, 1, 1, tzinfo=UTC))
    began = datetime.now(UTC)
    _key_three(mara, floor.hardness, coupon)
    assert mara.page.evaluate("new Date().getFullYear()") == year
    mara.press("1")
    _saved_once(floor, mara, coupon)
    with floor.database.read() as session:
        times = session.execute(select(Reading.taken_at, Reading.entered_at)).all()
    for taken_at, entered_at in times:
        assert began <= taken_at == entered_at <= datetime.now(UTC)


def _until(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + 5
    while not holds():
        assert time.monotonic() < until, "it did not come about"
        time.sleep(0.05)
