"""Every page of the application: WCAG by axe-core, nothing cut off, no fault, no other host."""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser

from app.main import create_app
from app.settings import Settings
from seed_demo.seeding_trail import FIRST_HEAD
from tests.browser.desks import Desk, Served

INSPECTOR, SUPERVISOR, BOTH = "tashgill", "rhalvarth", "obrantwood"
ENGINEER, AUDITOR, ADMINISTRATOR = "skestle", "jlindqvane", "botterley"
DESIGN = "vtolloway"
AT_THE_BENCH = "pquennell"
"""Sits at a tester now, in the newest session."""

FIRST_OPENED = f"N-{(datetime.now(UTC) - timedelta(days=16)).year}-0001"
"""The demonstration's first nonconformance; its year is the one it was opened in."""

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
    ("/check-paper", AUDITOR, "/check-paper?panel=TW-1041"),
    ("/check-paper", INSPECTOR, "/check-paper?line=TW-1041:1:0000-0000-0000-0000"),
    ("/check-paper", INSPECTOR, "/check-paper?line=TW-1041:1:0000"),
    ("/unlock", INSPECTOR, "/unlock"),
    ("/account", INSPECTOR, "/account"),
    ("/account/password", INSPECTOR, "/account/password"),
    ("/account/second-factor", INSPECTOR, "/account/second-factor"),
    ("/people", ADMINISTRATOR, "/people"),
    ("/people", AUDITOR, "/people"),
    ("/people/authorisations", AUDITOR, "/people/authorisations"),
    ("/people/tokens", ADMINISTRATOR, "/people/tokens"),
    ("/people/{username}", ADMINISTRATOR, "/people/tashgill"),
    ("/people/{username}", AUDITOR, "/people/botterley"),
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
    ("/panels/{code:path}/tag", INSPECTOR, "/panels/TW-1048/tag"),
    ("/panels/{code:path}/tag", INSPECTOR, "/panels/TW-1048/tag?size=label"),
    ("/panels/{code:path}", SUPERVISOR, "/panels/TW-1045"),
    ("/panels/{code:path}", INSPECTOR, "/panels/TW-1058"),
    ("/panels/{code:path}/divide", INSPECTOR, "/panels/TW-1065/divide"),
    ("/panels/{code:path}/nonconformance", INSPECTOR, "/panels/TW-1055/nonconformance"),
    ("/panels/{code:path}/scrap", SUPERVISOR, "/panels/TW-1060/scrap"),
    ("/nonconformances", DESIGN, "/nonconformances"),
    ("/nonconformances/{code}", AUDITOR, f"/nonconformances/{FIRST_OPENED}"),
    ("/nonconformances/{code}/notice", ENGINEER, f"/nonconformances/{FIRST_OPENED}/notice"),
    (
        "/nonconformances/{code}/notices/{key:int}",
        AUDITOR,
        f"/nonconformances/{FIRST_OPENED}/notices/1",
    ),
    ("/recalls", SUPERVISOR, "/recalls"),
    ("/what-if", ENGINEER, "/what-if?table=QT-31&revision=C"),
    ("/orders", ENGINEER, "/orders"),
    ("/orders/{number:path}", ENGINEER, "/orders/HW-2207"),
    ("/orders/{number:path}/statement", ENGINEER, "/orders/HW-2207/statement"),
    ("/orders/{number:path}/table", ENGINEER, "/orders/HW-2207/table"),
    ("/register/order", ENGINEER, "/register/order"),
    ("/holds", AUDITOR, "/holds"),
    ("/holds/place", AUDITOR, "/holds/place?kind=panel&code=TW-1064"),
    ("/holds/{hold_id:int}", SUPERVISOR, "/holds/1"),
    ("/holds/{hold_id:int}/tag", SUPERVISOR, "/holds/1/tag"),
    ("/places", ENGINEER, "/places"),
    ("/places/{code:path}", INSPECTOR, "/places/QC-1"),
    ("/bring", INSPECTOR, "/bring"),
    ("/trail", AUDITOR, "/trail"),
    ("/trail", AUDITOR, "/trail?identity=nobody+knows+it"),
    ("/trail/check", AUDITOR, "/trail/check"),
    ("/trail/{number:int}", AUDITOR, "/trail/400"),
    ("/trail", AUDITOR, "/trail?exceptions=yes&text=a"),
    ("/trail/exceptions", AUDITOR, "/trail/exceptions"),
    ("/trail/review", AUDITOR, "/trail/review"),
    ("/trail/review", SUPERVISOR, "/trail/review?through=300"),
    ("/trail/reviews", AUDITOR, "/trail/reviews"),
    ("/trail/reviews/{key:int}", AUDITOR, "/trail/reviews/1"),
    ("/trail/heads", AUDITOR, "/trail/heads"),
    ("/trail/heads/check", AUDITOR, "/trail/heads/check"),
    ("/trail/heads/{size:int}", AUDITOR, f"/trail/heads/{FIRST_HEAD}"),
    ("/bench", INSPECTOR, "/bench"),
    ("/bench", AUDITOR, "/bench"),
    ("/bench/sessions/{session_id}", INSPECTOR, "/bench/sessions/5"),
    ("/bench/sessions/{session_id}/scan", INSPECTOR, "/bench/sessions/5/scan?coupon=TW-1069-A"),
    ("/bench/sessions/{session_id}", AT_THE_BENCH, "/bench/sessions/27"),
    ("/bench/sessions/{session_id}", AT_THE_BENCH, "/bench/sessions/27?coupon=TW-1066-B"),
    ("/bench/sessions/{session_id}", SUPERVISOR, "/bench/sessions/23"),
    ("/bench/sessions/{session_id}/baseline", INSPECTOR, "/bench/sessions/5/baseline"),
    ("/bench/sessions/{session_id}/baseline", AT_THE_BENCH, "/bench/sessions/27/baseline"),
    ("/coupons/{code:path}", SUPERVISOR, "/coupons/TW-1043-B"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1050-B"),
    ("/coupons/{code:path}", AUDITOR, "/coupons/TW-1051-R"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1061-A"),
    ("/coupons/{code:path}", SUPERVISOR, "/coupons/TW-1061-B"),
    ("/coupons/{code:path}", SUPERVISOR, "/coupons/TW-1048-A"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1063-A"),
    ("/panels/{code:path}", INSPECTOR, "/panels/TW-1049"),
    ("/panels/{code:path}", SUPERVISOR, "/panels/TW-1052"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1048-A"),
    ("/coupons/{code:path}", INSPECTOR, "/coupons/TW-1057-A?laboratory=1"),
    ("/coupons/{code:path}", SUPERVISOR, "/coupons/TW-1066-A"),
    ("/coupons/{code:path}", AUDITOR, "/coupons/TW-1069-A"),
    ("/loads", INSPECTOR, "/loads"),
    ("/loads/plan", ENGINEER, "/loads/plan"),
    ("/loads/plan", INSPECTOR, "/loads/plan?copy=L-210&panel=TW-1075&panel=TW-1076"),
    ("/loads/other-lot", SUPERVISOR, "/loads/other-lot?coupon=TW-1075-A&panel=TW-1061"),
    ("/loads/{code:path}/sensor-map", INSPECTOR, "/loads/L-215/sensor-map"),
    ("/loads/{code:path}/start", INSPECTOR, "/loads/L-213/start"),
    ("/loads/{code:path}/start", SUPERVISOR, "/loads/L-212/start"),
    ("/loads/{code:path}/end", INSPECTOR, "/loads/L-212/end"),
    ("/loads/{code:path}/cancel", ENGINEER, "/loads/L-215/cancel"),
    ("/loads/{code:path}", AUDITOR, "/loads/L-206"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-208"),
    ("/loads/{code:path}", AUDITOR, "/loads/L-214"),
    (
        "/loads/{code:path}/photographs/of/{panel:path}",
        INSPECTOR,
        "/loads/L-208/photographs/of/TW-1060",
    ),
    ("/panels/{code:path}", AUDITOR, "/panels/TW-1060"),
    ("/loads/{code:path}", AUDITOR, "/loads/L-201"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-204"),
    ("/loads/{code:path}", ENGINEER, "/loads/L-204?colour=equivalent"),
    ("/loads/{code:path}", SUPERVISOR, "/loads/L-205"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-211"),
    ("/loads/{code:path}", INSPECTOR, "/loads/L-213"),
    ("/loads/{code:path}/live", INSPECTOR, "/loads/L-212/live"),
    ("/loads/{code:path}/live", AUDITOR, "/loads/L-213/live"),
    ("/logger-tokens", ADMINISTRATOR, "/logger-tokens"),
    ("/logger-tokens", AUDITOR, "/logger-tokens"),
    ("/logger-tokens/sending", ENGINEER, "/logger-tokens/sending"),
    ("/loads/{code:path}/record", INSPECTOR, "/loads/L-211/record"),
    ("/loads/{code:path}/record", INSPECTOR, "/loads/L-203/record"),
    ("/loads/{code:path}/record/layout", SUPERVISOR, "/loads/L-207/record/layout"),
    ("/loads/{code:path}/record/layout", AUDITOR, "/loads/L-210/record/layout"),
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
    ("/coupons/{code:path}/custody", INSPECTOR, "/coupons/TW-1066-B/custody"),
    ("/loads/{code:path}/custody", INSPECTOR, "/loads/L-211/custody"),
    ("/loads/{code:path}/custody", AUDITOR, "/loads/L-206/custody"),
    ("/loads/{code:path}/troubles/report", INSPECTOR, "/loads/L-206/troubles/report?panel=TW-1055"),
    ("/troubles/{key:int}", SUPERVISOR, "/troubles/2"),
    ("/troubles/{key:int}", SUPERVISOR, "/troubles/3"),
    ("/troubles/{key:int}", AUDITOR, "/troubles/1"),
    ("/register/table", ENGINEER, "/register/table"),
    ("/register/table-entry", ENGINEER, "/register/table-entry"),
    ("/register/table-sheet", ENGINEER, "/register/table-sheet"),
    ("/tables/{code:path}/keying", INSPECTOR, "/tables/QT-31/keying?revision=C"),
    ("/cycles/{code:path}/keying", INSPECTOR, "/cycles/KS-2/keying?revision=B"),
    ("/procedures/{code:path}/keying", INSPECTOR, "/procedures/PY-1/keying?revision=B"),
    ("/corrections/{code:path}/keying", INSPECTOR, "/corrections/CT-1/keying?revision=B"),
    ("/register/cycle", ENGINEER, "/register/cycle"),
    ("/tables/{code:path}", AUDITOR, "/tables/QT-58"),
    ("/tables/{code:path}", BOTH, "/tables/QT-31?revision=C"),
    ("/cycles/{code:path}", AUDITOR, "/cycles/KH-150"),
    ("/cycles/{code:path}", SUPERVISOR, "/cycles/KS-2?revision=B"),
    ("/register/procedure", ENGINEER, "/register/procedure?code=PY-1"),
    ("/register/procedure-paper", ENGINEER, "/register/procedure-paper"),
    ("/procedures/{code:path}", AUDITOR, "/procedures/PY-1"),
    ("/procedures/{code:path}", SUPERVISOR, "/procedures/PY-1?revision=B"),
    ("/register/mapping", ADMINISTRATOR, "/register/mapping?code=LM-1"),
    ("/register/mapping-paper", ENGINEER, "/register/mapping-paper"),
    ("/mappings/{code:path}", AUDITOR, "/mappings/LM-1"),
    ("/mappings/{code:path}", SUPERVISOR, "/mappings/LM-2"),
    ("/register/correction-table", ENGINEER, "/register/correction-table"),
    ("/register/correction-paper", ENGINEER, "/register/correction-paper?code=CT-1"),
    ("/corrections/{code:path}", AUDITOR, "/corrections/CT-1"),
    ("/corrections/{code:path}", BOTH, "/corrections/CT-1?revision=B"),
    ("/corrections/{code:path}", INSPECTOR, "/corrections/CT-2"),
    ("/rests-on/{code:path}", AUDITOR, "/rests-on/PY-1"),
    ("/rests-on/{code:path}", ENGINEER, "/rests-on/CT-1"),
    ("/register/furnace", ENGINEER, "/register/furnace"),
    ("/furnaces/{code:path}", ENGINEER, "/furnaces/AK1"),
    ("/furnaces/{code:path}/history", INSPECTOR, "/furnaces/AK1/history"),
    ("/furnaces/{code:path}/history", ENGINEER, "/furnaces/AK1/history?loads=10&places=zone"),
    ("/furnaces/{code:path}", ENGINEER, "/furnaces/RL9"),
    ("/furnaces/{code:path}/checks/new", ENGINEER, "/furnaces/RL9/checks/new"),
    ("/furnaces/{code:path}/checks/{key:int}", AUDITOR, "/furnaces/AK1/checks/13"),
    ("/furnaces/{code:path}/checks/{key:int}", BOTH, "/furnaces/RL9/checks/20"),
    ("/furnaces/{code:path}/qualifications/{key:int}", AUDITOR, "/furnaces/AK1/qualifications/1"),
    ("/furnace-checks/{key:int}/loads", AUDITOR, "/furnace-checks/13/loads"),
    ("/equipment/due", ENGINEER, "/equipment/due"),
    ("/reviews", SUPERVISOR, "/reviews"),
    ("/register/gauge", ENGINEER, "/register/gauge"),
    ("/gauges/{code:path}", ENGINEER, "/gauges/BG-3"),
    ("/gauges/{code:path}/certificates/{key:int}", AUDITOR, "/gauges/BG-3/certificates/1"),
    ("/register/sensor", ENGINEER, "/register/sensor"),
    ("/sensors", ENGINEER, "/sensors"),
    ("/sensors/{code:path}", ENGINEER, "/sensors/AK1-TC01"),
    ("/sensors/{code:path}/certificates/{key:int}", AUDITOR, "/sensors/AK1-TC01/certificates/1"),
    ("/register/thermometer", ENGINEER, "/register/thermometer"),
    ("/thermometers/{code:path}", ENGINEER, "/thermometers/TH-4"),
    (
        "/thermometers/{code:path}/certificates/{key:int}",
        AUDITOR,
        "/thermometers/TH-4/certificates/1",
    ),
    ("/register/tester", ENGINEER, "/register/tester"),
    ("/testers/{code:path}", SUPERVISOR, "/testers/EC-5"),
    ("/testers/{code:path}/certificates/{key:int}", AUDITOR, "/testers/HB-2/certificates/1"),
    ("/tester-certificates/{key:int}/measured", AUDITOR, "/tester-certificates/1/measured"),
    ("/testers/{code:path}", ENGINEER, "/testers/HB-2"),
    ("/testers/{code:path}/chart", INSPECTOR, "/testers/HB-2/chart"),
    ("/testers/{code:path}/chart", AUDITOR, "/testers/EC-5/chart"),
    ("/studies", INSPECTOR, "/studies"),
    ("/studies", AUDITOR, "/studies"),
    ("/studies/{number:int}", ENGINEER, "/studies/1"),
    ("/studies/{number:int}", INSPECTOR, "/studies/2"),
    ("/studies/{number:int}", ENGINEER, "/studies/2"),
    ("/register/study", ENGINEER, "/register/study?tester=HB-2"),
    ("/register/block", ENGINEER, "/register/block"),
    ("/blocks/{code:path}", ENGINEER, "/blocks/RB-841"),
    ("/blocks/{code:path}/certificates/{key:int}", BOTH, "/blocks/RB-842/certificates/5"),
)
"""Route, who looks, address. What is only reached by an act is looked over on the walks."""

NOT_PAGES = {
    "/live/{code:path}/next",
    "/machine/panels/{code:path}",
    "/machine/tree-heads",
    "/register/table-sheet/blank",
    "/register/table-sheet/workbook",
    "/loads/{code:path}/live/state",
    "/loads/{code:path}/live/points",
    "/loads/{code:path}/live.svg",
    "/loads/{code:path}/record/points",
    "/loads/{code:path}/record.svg",
    "/loads/{code:path}/photographs/{key:int}",
    "/loads/{code:path}/photographs/{key:int}/small",
    "/loads/{code:path}/record/original",
    "/report-files/{sha256}",
    "/trail.csv",
    "/trail/heads/{size:int}.txt",
    "/tables/{code:path}/paper",
    "/cycles/{code:path}/paper",
    "/procedures/{code:path}/paper",
    "/mappings/{code:path}/paper",
    "/corrections/{code:path}/paper",
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
