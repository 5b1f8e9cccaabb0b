"""The main job, walked in a real browser: inspector, supervisor, auditor."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import select

from app.database import Database
from app.panels.records import Panel
from app.release.rules.facts import DecisionKind
from seed_demo.seeding_shop import PASSWORD
from tests.browser.bench_work import Bench
from tests.browser.desks import Desk, Served
from tests.release.nonconformance_makers import approved

HARDNESS = {
    "TW-1071-A": ("86.8", "85.9", "87.1"),
    "TW-1071-B": ("85.4", "86.0", "85.3"),
    "TW-1072-A": ("79.8", "80.3", "80.1"),
    "TW-1072-B": ("86.1", "87.0", "86.5"),
}
TOO_SOFT = "TW-1072-A"
"""Below the 83.0 HRB of its table."""
CONDUCTIVITY = {
    "TW-1071-A": ("36.4", "36.4", "36.5"),
    "TW-1071-B": ("36.6", "36.6", "36.7"),
    "TW-1072-A": ("36.1", "36.3", "36.3"),
    "TW-1072-B": ("36.5", "36.7", "36.7"),
}

Seat = Callable[..., Desk]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_from_a_furnace_file_and_readings_to_a_release_and_a_refusal(
    seat: Seat, filled: Path, *, script: bool
) -> None:
    inspector = seat("tashgill", script=script)
    import_record(inspector, filled / "files" / "L-211.csv")
    unwrap(inspector, "TW-1071")
    unwrap(inspector, "TW-1072")
    measure_hardness(inspector)
    measure_conductivity(inspector)
    may_not_release_own_readings(inspector)
    second = seat("imorrowby", script=script)
    release(second)
    is_told_why_it_cannot_move_on(second)


def import_record(desk: Desk, file: Path) -> None:
    """From Today to the judged record with its picture."""
    page = desk.page
    page.get_by_role("link", name="L-211").click()
    page.wait_for_url("**/loads/L-211/record")
    look_over(desk)
    page.get_by_label("The logger's file").set_input_files(file)
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("table")).to_contain_text("AIR1")
    assert "Nothing of it is on record yet" in desk.words()
    assert page.get_by_label("Column of the time, or of the date").input_value() == "time"
    look_over(desk)
    page.get_by_role("button", name="Read it whole, judge it and keep it").click()
    page.wait_for_url("**/loads/L-211")
    expect(page.locator(".opening .verdict")).to_contain_text("conforms")
    assert "24 h" in page.locator(".findings").first.inner_text()
    assert page.get_by_role("link", name="L-211.csv").is_visible()
    if desk.script:
        page.wait_for_selector(".trace__high canvas")
        assert page.locator(".trace__readoff li").count() == 11
    else:
        assert page.locator(".trace__still").evaluate("picture => picture.naturalWidth") > 600


def unwrap(desk: Desk, panel: str) -> None:
    """The bag is intact, the surface clear, both coupons come off."""
    page = desk.page
    page.goto("/loads/L-211")
    page.get_by_role("link", name="Record an unwrapping").or_(
        page.get_by_role("link", name="Record the unwrapping")
    ).first.click()
    choose = page.get_by_role("navigation", name="Panels of the load").get_by_role("link")
    if choose.filter(has_text=panel).count():
        choose.filter(has_text=panel).click()
    expect(page.locator("form h2")).to_contain_text(panel)
    page.get_by_label("Intact").check()
    page.get_by_label("Nothing found").check()
    for number in range(2):
        page.get_by_label("Recovered").nth(number).check()
    page.get_by_label("Contour: largest gap").fill("0.6")
    page.get_by_label("Largest gap the drawing permits").fill("1.2")
    page.get_by_role("button", name="Record the unwrapping").click()
    expect(page.locator(".notice")).to_contain_text(panel)


def measure_hardness(desk: Desk) -> None:
    """Opening check, four coupons, closing check; each verdict comes with its working."""
    bench = Bench(desk, "HB-2")
    look_over(desk)
    bench.check("opening", ("84.1", "84.2", "84.0"))
    look_over(desk)
    bench.scan("TW-1071-A")
    look_over(desk)
    desk.page.goto(bench.session)
    slip_of_the_key(bench)
    for coupon, figures in HARDNESS.items():
        if coupon == "TW-1071-B":
            continue
        soft = "does not conform" if coupon == TOO_SOFT else None
        verdict, whole = soft or "conforms", soft or "not proven"
        bench.measure(coupon, figures, hardness=True, verdict=verdict, whole=whole)
    look_over(desk)
    bench.check("closing", ("84.3", "84.1", "84.2"))
    expect(desk.page.locator(".opening")).to_contain_text("closed")


def slip_of_the_key(bench: Bench) -> None:
    """8.52 for 85.2 is asked about in a sentence, and stays typed."""
    page = bench.desk.page
    bench.scan("TW-1071-B")
    bench.key(("8.54", "86.0", "85.3"), "Record and judge", confirm=True)
    expect(page.get_by_role("alert").first).to_contain_text("8.54")
    assert page.locator("[data-reading]").first.input_value() == "8.54"
    look_over(bench.desk)
    page.locator("[data-reading]").first.fill(HARDNESS["TW-1071-B"][0])
    page.get_by_role("button", name="Record and judge").click()
    expect(page.locator("#saved")).to_have_text("Coupon TW-1071-B is recorded")


def measure_conductivity(desk: Desk) -> None:
    """The same at the conductivity meter, on two standards; the verdict is then whole."""
    page = desk.page
    bench = Bench(desk, "EC-5")
    bench.check("opening", ("29.4",))
    bench.check("opening", ("43.1",), further=True)
    for coupon, figures in CONDUCTIVITY.items():
        whole = "does not conform" if coupon == TOO_SOFT else "conforms"
        bench.measure(coupon, figures, hardness=False, verdict="conforms", whole=whole)
    page.locator(".findings .working summary").first.click()
    assert page.locator(".findings .working ol").first.is_visible()
    bench.check("closing", ("29.5",))
    bench.check("closing", ("43.1",))


def may_not_release_own_readings(desk: Desk) -> None:
    """Who took the readings reads why somebody else has to sign."""
    desk.page.goto("/panels/TW-1071/decision")
    assert "readings" in desk.page.locator(".problem").first.inner_text()
    assert desk.page.get_by_role("button", name="Release TW-1071").count() == 0


def release(desk: Desk) -> None:
    """From Today over the dossier and its evidence to a signed release."""
    page = desk.page
    page.goto("/")
    page.get_by_role("link", name="TW-1071").click()
    if "/decision" not in page.url:
        page.get_by_role("link", name="Decision page").or_(
            page.locator(".row .button").first
        ).first.click()
    # Nineteen gates, and five lines about whoever decides.
    expect(page.locator(".evidence li")).to_have_count(24)
    assert page.locator(".evidence .verdict--conforms").count() == 24
    page.get_by_label("Your password").first.fill("not my password at all")
    page.get_by_role("button", name="Release TW-1071").click()
    expect(page.get_by_role("alert")).to_contain_text("password")
    look_over(desk)
    page.get_by_label("Your password").first.fill(PASSWORD)
    page.get_by_role("button", name="Release TW-1071").click()
    page.wait_for_url("**/panels/TW-1071")
    expect(page.locator(".opening .standing")).to_have_text("released")
    expect(page.locator("main")).to_contain_text("Decision 1: release")
    look_over(desk)


def is_told_why_it_cannot_move_on(desk: Desk) -> None:
    """The other panel of the load: the coupon that is too soft, in plain words."""
    desk.page.goto("/panels/TW-1072")
    told = desk.page.locator(".opening").inner_text() + desk.words()
    assert "does not conform" in told
    assert "is below the minimum 83.0 HRB" in told
    desk.page.goto("/panels/TW-1072/decision")
    assert desk.page.get_by_role("button", name="Release TW-1072").count() == 0
    assert "Coupon TW-1072-A" in desk.words()


def look_over(desk: Desk) -> None:
    """What is only reached by an act is fit for everybody as well."""
    if desk.script:
        assert desk.looked_over() == [], desk.page.url


def test_a_supervisor_lifts_a_hold_with_a_disposition_and_a_reason(seat: Seat, own: Served) -> None:
    code = _approved(own, "TW-1053", DecisionKind.USE_AS_IS)
    desk = seat("rhalvarth")
    page = desk.page
    page.get_by_role("link", name="TW-1053").click()
    if "/decision" not in page.url:
        page.get_by_role("link", name="Dispose of the hold").click()
    page.get_by_label("use as is").check()
    page.get_by_label("Reason").first.fill("short")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign the disposition").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert page.get_by_label("Reason").first.input_value() == "short"
    assert page.get_by_label("use as is").is_checked()
    look_over(desk)
    reason = "TC6 fell silent for twenty minutes; its neighbours stayed in the band throughout."
    page.get_by_label("Reason").first.fill(reason)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign the disposition").click()
    page.wait_for_url("**/panels/TW-1053")
    expect(page.locator(".opening .standing")).to_have_text("use as is")
    expect(page.locator("main")).to_contain_text(reason)
    expect(page.locator("main")).to_contain_text("lifted by decision")
    expect(page.locator("main")).to_contain_text(f"Released by use as is under {code}")


def _approved(own: Served, panel_code: str, disposition: DecisionKind) -> str:
    """A nonconformance of the panel whose disposition the right people have answered."""
    records = Database(own.settings.database_url)
    with records.read() as session:
        panel = session.scalars(select(Panel).where(Panel.code == panel_code)).one()
    code = approved(records, panel, disposition, zone=own.settings.zone)
    records.close()
    return code


FROM_THE_PANEL = {
    "its load": ["/loads/L-203"],
    "the furnace": ["/furnaces/AK1"],
    "the furnace's record as it came": ["/loads/L-203", "/loads/L-203/record/original"],
    "the cycle": ["/cycles/KH-150"],
    "a coupon": ["/coupons/TW-1048-A"],
    "the session that read it": ["/coupons/TW-1048-A", "/bench/sessions/7"],
    "the instrument": ["/testers/HB-2"],
    "the reference block": ["/blocks/RB-841"],
    "the row of the table": ["/tables/QT-31?revision=B#entry-1"],
    "a sensor": ["/sensors/AK1-TC04"],
    "the material lot": ["/lots/ML-0712"],
    "the neighbour panel": ["/loads/L-203", "/panels/TW-1047"],
    "everything about it": ["/trail?identity=TW-1048"],
    "who registered it, and held it": ["/trail?by=pquennell"],
    "who measured": ["/trail?by=imorrowby"],
    "who planned its load": ["/loads/L-203", "/trail?identity=L-203", "/trail?by=skestle"],
}
"""What an auditor asks for, and the links to it from the panel: the clicks."""


@pytest.mark.parametrize("clicks", FROM_THE_PANEL.values(), ids=FROM_THE_PANEL)
def test_an_auditor_reaches_all_of_it_in_three_clicks(
    browser: Browser, served: Served, passes: Callable[[str], Any], clicks: list[str]
) -> None:
    desk = Desk(browser, served, state=passes("jlindqvane"))
    desk.page.goto("/panels/TW-1048")
    assert len(clicks) <= 3
    for address in clicks:
        link = desk.page.locator(f'main a[href="{address}"]').first
        if address.endswith("/original"):
            with desk.page.expect_download() as kept:
                link.click()
            assert kept.value.path().stat().st_size > 100_000
        else:
            link.click()
            desk.page.wait_for_url(f"**{address}")
    assert desk.page.locator("h1").is_visible()
    desk.close()


def test_an_auditor_sees_the_readings_and_checks_the_trail(seat: Seat) -> None:
    desk = seat("jlindqvane")
    page = desk.page
    page.goto("/coupons/TW-1048-A")
    readings = page.get_by_role("region", name="Readings in the order recorded")
    expect(readings.locator("tbody tr").first).to_contain_text("80.1 HRB")
    expect(readings.locator("tbody tr").first).to_contain_text("Ilse Morrowby")
    page.get_by_role("link", name="Trail", exact=True).click()
    page.get_by_role("link", name="Check that nothing was altered").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The trail holds")


def test_an_auditor_enters_nothing_but_a_hold(seat: Seat) -> None:
    desk = seat("jlindqvane")
    for address in ("/panels/TW-1064", "/panels/TW-1064/decision", "/loads/L-211", "/bench"):
        desk.page.goto(address)
        forms = desk.page.locator("main form[method=post]")
        sent_to = [form.get_attribute("action") or "" for form in forms.all()]
        assert all(address.endswith("/hold") for address in sent_to), sent_to
