"""Every page of the application: WCAG by axe-core, nothing cut off, no fault, no other host."""

from collections.abc import Callable, Iterable
from typing import Any

import pytest
from playwright.sync_api import Browser

from app.main import create_app
from app.settings import Settings
from tests.browser.desks import Desk, Served

INSPECTOR, SUPERVISOR, BOTH = "tashgill", "rhalvarth", "obrantwood"
ENGINEER, AUDITOR, ADMINISTRATOR = "skestle", "jlindqvane", "botterley"

PAGES: tuple[tuple[str, str | None, str], ...] = (
    ("/sign-in", None, "/sign-in"),
    ("/", INSPECTOR, "/"),
    ("/", SUPERVISOR, "/"),
    ("/", ENGINEER, "/"),
    ("/", AUDITOR, "/"),
    ("/", ADMINISTRATOR, "/"),
    ("/find", INSPECTOR, "/find"),
    ("/find", INSPECTOR, "/find?q=TW-106"),
    ("/find", INSPECTOR, "/find?q=nobody+knows+it"),
    ("/people", ADMINISTRATOR, "/people"),
    ("/people", AUDITOR, "/people"),
    ("/panels", INSPECTOR, "/panels"),
    ("/panels", AUDITOR, "/panels?standing=held"),
    ("/panels/{code:path}", AUDITOR, "/panels/TW-1041"),
    ("/panels/{code:path}", SUPERVISOR, "/panels/TW-1048"),
    ("/panels/{code:path}", INSPECTOR, "/panels/TW-1059"),
    ("/panels/{code:path}", INSPECTOR, "/panels/TW-1064"),
    ("/panels/{code:path}", INSPECTOR, "/panels/TW-1069"),
    ("/panels/{code:path}", INSPECTOR, "/panels/not-there"),
    ("/panels/{code:path}/decision", INSPECTOR, "/panels/TW-1064/decision"),
    ("/panels/{code:path}/decision", SUPERVISOR, "/panels/TW-1048/decision"),
    ("/panels/{code:path}/decision", AUDITOR, "/panels/TW-1053/decision"),
    ("/trail", AUDITOR, "/trail"),
    ("/trail", AUDITOR, "/trail?identity=nobody+knows+it"),
    ("/trail/check", AUDITOR, "/trail/check"),
    ("/trail/{number:int}", AUDITOR, "/trail/400"),
    ("/bench", INSPECTOR, "/bench"),
    ("/bench", AUDITOR, "/bench"),
    ("/bench/sessions/{session_id}", INSPECTOR, "/bench/sessions/5"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1048-A"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1057-A?laboratory=1"),
    ("/coupons/{code:path}", SUPERVISOR, "/coupons/TW-1066-A"),
    ("/coupons/{code:path}", AUDITOR, "/coupons/TW-1069-A"),
    ("/loads", INSPECTOR, "/loads"),
    ("/loads/plan", ENGINEER, "/loads/plan"),
    ("/loads/{code:path}", AUDITOR, "/loads/L-201"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-204"),
    ("/loads/{code:path}", SUPERVISOR, "/loads/L-205"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-211"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-213"),
    ("/loads/{code:path}/record", INSPECTOR, "/loads/L-211/record"),
    ("/loads/{code:path}/record", INSPECTOR, "/loads/L-203/record"),
    ("/loads/{code:path}/leak-check", INSPECTOR, "/loads/L-213/leak-check"),
    ("/loads/{code:path}/unwrapping", INSPECTOR, "/loads/L-211/unwrapping"),
    ("/loads/{code:path}/unwrapping", INSPECTOR, "/loads/L-211/unwrapping?panel=TW-1071"),
    ("/loads/{code:path}/exclude-sensor", SUPERVISOR, "/loads/L-205/exclude-sensor"),
    ("/shop", ENGINEER, "/shop"),
    ("/shop", AUDITOR, "/shop"),
    ("/lots", INSPECTOR, "/lots"),
    ("/lots/{code:path}", INSPECTOR, "/lots/ML-0712"),
    ("/register/lot", INSPECTOR, "/register/lot"),
    ("/register/panel", INSPECTOR, "/register/panel"),
    ("/register/coupons", INSPECTOR, "/register/coupons"),
    ("/custody", INSPECTOR, "/custody?coupon=TW-1066-B"),
    ("/register/table", ENGINEER, "/register/table"),
    ("/register/table-entry", ENGINEER, "/register/table-entry"),
    ("/register/cycle", ENGINEER, "/register/cycle"),
    ("/tables/{code:path}", AUDITOR, "/tables/QT-58"),
    ("/tables/{code:path}", BOTH, "/tables/QT-31?revision=C"),
    ("/cycles/{code:path}", AUDITOR, "/cycles/KH-150"),
    ("/cycles/{code:path}", SUPERVISOR, "/cycles/KS-2?revision=B"),
    ("/register/furnace", ENGINEER, "/register/furnace"),
    ("/furnaces/{code:path}", ENGINEER, "/furnaces/AK1"),
    ("/register/sensor", ENGINEER, "/register/sensor"),
    ("/sensors", ENGINEER, "/sensors"),
    ("/sensors/{code:path}", ENGINEER, "/sensors/AK1-TC01"),
    ("/register/tester", ENGINEER, "/register/tester"),
    ("/testers/{code:path}", ENGINEER, "/testers/HB-2"),
    ("/register/block", ENGINEER, "/register/block"),
    ("/blocks/{code:path}", ENGINEER, "/blocks/RB-841"),
)
"""Route, who looks, address. What is only reached by an act is looked over on the walks."""

NOT_PAGES = {
    "/loads/{code:path}/record/points",
    "/loads/{code:path}/record.svg",
    "/loads/{code:path}/record/original",
    "/tables/{code:path}/paper",
    "/cycles/{code:path}/paper",
}
"""What answers with JSON, a picture, or a file."""


def routes_of(router: Any) -> Iterable[Any]:
    """Every route of a router and of those it takes in."""
    for route in router.routes:
        if hasattr(route, "original_router"):
            yield from routes_of(route.original_router)
        elif hasattr(route, "methods"):
            yield route


def test_no_page_is_left_out(sqlite_url: str) -> None:
    app = create_app(Settings(database_url=sqlite_url))
    shown = {route.path for route in routes_of(app) if "GET" in route.methods}
    assert len(shown) > 40
    assert shown - NOT_PAGES == {route for route, _, _ in PAGES}


@pytest.mark.parametrize(("route", "who", "address"), PAGES, ids=lambda part: part or "nobody")
def test_a_page_is_fit_for_everybody(
    browser: Browser,
    served: Served,
    passes: Callable[[str | None], Any],
    route: str,
    who: str | None,
    address: str,
) -> None:
    desk = Desk(browser, served, state=passes(who))
    desk.page.goto(address)
    assert desk.page.locator("h1").count() == 1
    if desk.page.locator("[data-trace]").count():
        desk.page.wait_for_selector(".trace__high canvas")
    assert desk.looked_over() == []
    desk.close()
