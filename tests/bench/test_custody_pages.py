"""Custody, guided: the pages of one coupon and of a load's coupons, on both databases."""

import re
from typing import Any

from app.bench.queries.custody import journeys_of_load, turn_of
from app.database import Database
from app.panels import queries
from app.panels.records import Custody
from tests.equipment.test_pages import counted
from tests.makers import Shop
from tests.visits import Visit, words


def test_a_load_says_whose_turn_it_is_from_placing_to_the_shelf(
    database: Database, visit: Visit
) -> None:
    load, panel, coupons, _ = Shop(database).panel_in_load()
    codes = "\n".join(one.code for one in coupons)
    address = f"/loads/{load.code}/custody"
    visit.sign_in("mara")
    for act, step, place in (
        ("Take off and recover", "recovered", "tray 1"),
        ("Hand over to the bench", "handed over to the bench", "bench"),
        ("Measure, then shelve", "shelved", "shelf 4"),
    ):
        page = visit.get(address)
        said = words(page.text)
        assert f"Next: {act.lower()} 2 coupons." in said
        assert re.search(rf'value="{step}" checked', page.text)
        if step == "recovered":
            assert f'href="/loads/{load.code}/unwrapping"' in page.text
            assert "Hot metal" in said
        answer = visit.post(address, codes=codes, step=step, place=place)
        assert answer.headers["location"] == address
    said = words(visit.get(address).text)
    assert "Nothing waits: every coupon is shelved, or in doubt." in said
    assert f"{panel.code}, S1 shelved shelf 4 Mara Quill" in said


def test_only_the_coupons_scanned_are_handed_over_and_the_rest_keep_their_turn(
    database: Database, visit: Visit
) -> None:
    load, _, (one, two), _ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    address = f"/loads/{load.code}/custody"
    visit.post(address, codes=one.code.lower(), step="recovered", place="tray 1")
    said = words(visit.get(address).text)
    assert "Next: take off and recover 1 coupon." in said
    with database.read() as session:
        turn = turn_of(journeys_of_load(session, load.id))
    assert (turn.step, [way.code for way in turn.coupons]) == (Custody.RECOVERED, [two.code])


def test_wrong_order_and_strangers_are_refused_in_words_and_kept(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, _, (one, two), _ = shop.panel_in_load()
    _, _, (stranger, _), _ = shop.panel_in_load()
    visit.sign_in("mara")
    address = f"/loads/{load.code}/custody"
    answer = visit.post(address, codes=f"{one.code}\n{two.code}", step="shelved", place="shelf 4")
    assert answer.status_code == 422
    said = words(answer.text)
    assert f"{one.code}: It cannot be shelved: it is placed on the panel, and first" in said
    assert f"{two.code}: It cannot be shelved" in said
    assert 'value="shelf 4"' in answer.text
    assert f"{one.code}\n{two.code}</textarea>" in answer.text.replace("\r", "")
    answer = visit.post(address, codes=stranger.code, step="recovered", place="tray")
    assert f"{stranger.code} is not a coupon of load {load.code}" in words(answer.text)
    assert visit.get("/loads/L-77/custody").status_code == 404


def test_a_coupons_page_shows_its_way_and_records_the_next_step(
    database: Database, visit: Visit
) -> None:
    load, panel, (one, _), _ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    address = f"/coupons/{one.code}/custody"
    page = visit.get(address)
    said = words(page.text)
    assert "Next: take it off when the panel is unwrapped." in said
    assert "placed on the panel done, it is here" in said
    assert "recovered to come" in said
    assert f'href="/loads/{load.code}/troubles/report?panel={panel.code}&amp;coupon=' in page.text
    answer = visit.post(address, step="shelved", place="shelf 4")
    assert answer.status_code == 422
    assert "first it has to be recovered" in words(answer.text)
    assert 'value="shelf 4"' in answer.text
    answer = visit.post(address, step="recovered", place="tray 1")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/coupons/{one.code}")
    with database.read() as session:
        last = queries.last_step(session, one.id)
    assert last is not None
    assert (last.step, last.place) == (Custody.RECOVERED, "tray 1")
    assert visit.get("/coupons/C-77/custody").status_code == 404


def test_a_coupon_in_doubt_waits_for_nothing_but_a_decision(
    database: Database, visit: Visit
) -> None:
    load, panel, (one, two), _ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    visit.post(
        f"/loads/{load.code}/troubles/report",
        panel=panel.code,
        kind="missing",
        coupon=one.code,
        found="Searched in the bag and under the former.",
    )
    said = words(visit.get(f"/loads/{load.code}/custody").text)
    assert "Next: take off and recover 1 coupon." in said
    assert "a supervisor decides about it" in said
    assert f"Coupon {one.code}: missing" in words(visit.get(f"/coupons/{one.code}/custody").text)
    assert two.code in said


def test_an_auditor_reads_custody_and_records_nothing(database: Database, visit: Visit) -> None:
    load, _, (one, _), _ = Shop(database).panel_in_load()
    visit.sign_in("olek")
    for address in (f"/loads/{load.code}/custody", f"/coupons/{one.code}/custody"):
        page = visit.get(address)
        assert page.status_code == 200
        assert "Record the" not in words(page.text)
        answer = visit.post(address, codes=one.code, step="recovered", place="tray")
        assert answer.status_code == 403


def test_twice_the_coupons_need_no_more_queries(database: Database, visit: Visit, app: Any) -> None:
    shop = Shop(database)
    small, *_ = shop.panel_in_load(coupons=2)
    large, *_ = shop.panel_in_load(coupons=6)
    visit.sign_in("mara")
    visit.get(f"/loads/{small.code}/custody")
    with counted(app) as few:
        visit.get(f"/loads/{small.code}/custody")
    with counted(app) as more:
        visit.get(f"/loads/{large.code}/custody")
    assert len(few) == len(more)
