"""A session's page: standards, due checks, failed checks and moves, as a browser without script."""

import re
from datetime import timedelta

import pytest
from fastapi import FastAPI

from app.bench import pages
from app.database import Database
from tests.bench.bench_makers import Bench
from tests.bench.session_makers import (
    HIGH,
    LOW,
    add_standards,
    bench_with_standards,
    check_on,
    second_meter,
)
from tests.visits import Visit, words

CLOCKS = (pages.bench, pages.session, pages.checks, pages.entry, pages.coupons)


def follow_the_clock(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The pages read the test's own clock."""
    for page in CLOCKS:
        monkeypatch.setattr(page, "now", bench.tick)
    return bench


@pytest.fixture
def bench(bench: Bench, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The bench of a table that asks for no standards."""
    return follow_the_clock(bench, monkeypatch)


@pytest.fixture
def asking(database: Database, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The bench of a table that asks for two standards about its limits."""
    return follow_the_clock(bench_with_standards(database), monkeypatch)


def check(visit: Visit, address: str, moment: str, block: str, *readings: str):
    """A check sent from the session's page."""
    keyed = {f"reading_{number}": text for number, text in enumerate(readings, start=1)}
    return visit.post(
        f"{address}/check", moment=moment, block=block, fields=str(len(readings)), **keyed
    )


def _picked(html: str) -> list[str]:
    return re.findall(r'<option value="([^"]+)" selected', html)


def _buttons(html: str) -> list[str]:
    """The words of the first buttons, in order; quiet ones are left out."""
    found = re.findall(r'<(?:a|button) class="button"[^>]*>(.*?)</(?:a|button)>', html, re.DOTALL)
    return [words(one).strip() for one in found]


def test_the_page_leads_through_both_standards_and_back(asking: Bench, visit: Visit) -> None:
    coupon = asking.coupon()
    visit.sign_in("mara")
    address = visit.post("/bench/sessions", tester="CM-1").headers["location"]
    page = visit.get(address).text
    assert "at or below 36.9 %IACS and one at or above 42.1 %IACS" in page
    assert f"{LOW} and {HIGH} would do" in page
    assert _picked(page) == [LOW]
    refused = check(visit, address, "opening", "RB-CM-1", "38.9")
    assert refused.status_code == 422
    assert f"Take {LOW} and {HIGH}" in refused.text
    assert _picked(refused.text) == ["RB-CM-1"]
    assert 'value="38.9"' in refused.text
    page = visit.follow(check(visit, address, "opening", LOW, "30.2")).text
    assert "Check the other standard" in _buttons(page)
    scanned = visit.get(f"{address}?coupon={coupon.code}").text
    assert "the opening checks were not made on such a pair" in words(scanned)
    page = visit.get(f"{address}?check=opening").text
    assert _picked(page) == [HIGH]
    page = visit.follow(check(visit, address, "opening", HIGH, "44.9")).text
    assert "Check the other standard" not in page
    assert "would do" not in page
    scanned = visit.get(f"{address}?coupon={coupon.code}").text
    assert "not made on such a pair" not in words(scanned)
    page = visit.get(f"{address}?check=closing").text
    assert f"after this block also {HIGH}" in words(page)
    page = visit.follow(check(visit, address, "closing", LOW, "30.2")).text
    assert "Closing check" in words(page)
    assert _picked(page) == [HIGH]
    assert "data-scan" not in page
    assert "Closing check still to come on RS-45" in words(visit.get("/bench").text)
    page = visit.follow(check(visit, address, "closing", HIGH, "44.9")).text
    assert "This session is closed" in page


def test_a_blind_table_shows_no_limit_where_the_standards_are_chosen(
    database: Database, app: FastAPI, monkeypatch: pytest.MonkeyPatch, visit: Visit
) -> None:
    bench = follow_the_clock(bench_with_standards(database, blind=True), monkeypatch)
    bench.coupon()
    visit.sign_in("mara")
    address = visit.post("/bench/sessions", tester="CM-1").headers["location"]
    page = visit.get(address).text
    assert f"{LOW} and {HIGH} would do" in page
    refused = check(visit, address, "opening", "RB-CM-1", "38.9").text
    for html in (page, refused):
        assert "36.9" not in html
        assert "42.1" not in html


def test_it_is_said_where_no_two_standards_would_do(
    asking: Bench, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    asking.coupon()
    monkeypatch.setattr(asking, "at", asking.at.replace(month=6))
    with asking.database.write() as session:
        asking.shop.tester(session, "CM-9", "conductivity", "MS/m")
        asking.shop.block(session, "RB-MS", "conductivity", "MS/m", "22.4", "0.3")
    visit.sign_in("mara")
    address = visit.post("/bench/sessions", tester="CM-9").headers["location"]
    assert "No two standards of the shop that may be used lie so" in visit.get(address).text
    assert check(visit, address, "opening", "RB-MS", "22.4").status_code == 303


def test_the_next_check_is_a_time_of_day_and_loud_when_it_is_past(
    bench: Bench, visit: Visit
) -> None:
    bench.coupon()
    second_meter(bench, check_every_min=30)
    visit.sign_in("mara")
    address = visit.post("/bench/sessions", tester="CM-2").headers["location"]
    check(visit, address, "opening", "RB-CM-1", "38.9")
    due = bench.at + timedelta(minutes=30)
    page = visit.get(address).text
    assert f"Next check due {due:%Y-%m-%d %H:%M} WET" in words(page)
    seconds = re.search(r'data-due-seconds="(-?\d+)"', page)
    assert seconds is not None
    assert int(seconds[1]) == (due - bench.at).total_seconds()
    assert "data-due-overdue hidden" in page
    assert f"Next check due {due:%Y-%m-%d %H:%M} WET" in words(visit.get("/bench").text)
    bench.at = due + timedelta(minutes=1)
    page = visit.get(address).text
    assert "CHECK OVERDUE: make the interim check before the next coupon" in words(page)
    assert 'role="alert">CHECK OVERDUE' in page
    assert _buttons(page)[:2] == ["Show", "Interim check"]
    assert f"CHECK OVERDUE since {due:%Y-%m-%d %H:%M} WET" in words(visit.get("/bench").text)


def test_a_failed_opening_check_is_tried_again_with_its_block_and_then_no_more(
    bench: Bench, visit: Visit
) -> None:
    visit.sign_in("mara")
    address = visit.post("/bench/sessions", tester="HT-1").headers["location"]
    page = visit.follow(check(visit, address, "opening", "RB-HT-1", "87.2", "87.4")).text
    assert "The last check failed." in page
    assert _picked(page) == ["RB-HT-1"]
    page = visit.follow(check(visit, address, "opening", "RB-HT-1", "87.2", "87.4")).text
    assert "HT-1 failed its opening check" in page
    assert "so no panel is concerned" in page
    assert 'name="reading_1"' not in page
    front = visit.get("/bench").text
    assert "out of use: quarantined" in front
    assert 'name="tester" value="HT-1"' not in front
    refused = visit.post("/bench/sessions", tester="HT-1")
    assert refused.status_code == 409
    assert "HT-1 is out of use" in refused.text


def test_a_tester_put_out_of_use_meanwhile_stops_its_session(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    number = bench.open()
    visit.sign_in("mara")
    visit.post("/testers/HT-1/quarantine", reason="it fell off the bench just now")
    page = visit.get(f"/bench/sessions/{number}?coupon={coupon.code}").text
    assert "Out of use" in page
    assert "It fell off the bench just now" in page
    assert "data-scan" not in page
    assert 'name="reading_1"' not in page


def test_a_thermometer_is_chosen_where_conductivity_is_measured(bench: Bench, visit: Visit) -> None:
    with bench.database.write() as session:
        bench.shop.thermometer(session, "TH-1")
        bench.shop.thermometer(session, "TH-2", review=None)
    visit.sign_in("mara")
    front = visit.get("/bench").text
    assert front.count('name="thermometer"') == 1
    assert _picked(front) == ["TH-1"]
    assert "TH-2" not in front
    refused = visit.post("/bench/sessions", tester="CM-1", thermometer="TH-2")
    assert refused.status_code == 422
    assert "TH-2 was not in calibration" in refused.text
    address = visit.post("/bench/sessions", tester="CM-1", thermometer="TH-1").headers["location"]
    assert "temperatures with TH-1" in visit.get(address).text


def test_a_supervisor_may_close_on_another_block_and_the_page_says_when(
    bench: Bench, visit: Visit
) -> None:
    add_standards(bench)
    number = bench.open("CM-1")
    visit.sign_in("ines")
    page = visit.get(f"/bench/sessions/{number}?check=closing").text
    assert _picked(page) == ["RB-CM-1"]
    assert "only where one that was cannot be used any more" in page
    visit.sign_in("mara")
    page = visit.get(f"/bench/sessions/{number}?check=closing").text
    assert f'value="{LOW}"' not in page
    visit.sign_in("ines")
    answer = check(visit, f"/bench/sessions/{number}", "closing", LOW, "30.2")
    assert "This session is closed" in visit.follow(answer).text


def test_the_moves_are_walked_from_the_session_to_the_coupon(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    number = bench.open("CM-1")
    bench.read(number, coupon, "36.5", "36.4", "36.6")
    visit.sign_in("mara")
    page = visit.get(f"/bench/sessions/{number}").text
    assert f"{coupon.code} does not conform: check CM-1 again" in page
    assert _buttons(page)[0] == "Check the meter again"
    page = visit.get(f"/bench/sessions/{number}?check=interim").text
    assert _buttons(page) == ["Record the interim check"]
    check_on(bench, number, "interim", "RB-CM-1")
    page = visit.get(f"/bench/sessions/{number}").text
    assert _buttons(page)[0] == "Begin at a hardness tester"
    hard = bench.open()
    page = visit.get(f"/bench/sessions/{number}").text
    assert f"/bench/sessions/{hard}/scan?coupon={coupon.code}" in page
    bench.read(hard, coupon, "84.5", "85.0", "85.5")
    page = visit.get(f"/bench/sessions/{number}").text
    assert _buttons(page)[0] == "Decide on the coupon's page"
