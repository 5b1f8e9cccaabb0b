"""Planning on the pages: from an earlier load, by rows, and what a refusal leaves."""

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select

from app.database import Database
from app.loads import queries
from app.loads.service import cancel_load
from app.panels.records import Coupon, Custody
from tests.loads.plans import make_material, plan_fields
from tests.makers import NOW, Shop
from tests.visits import PASSWORD, Visit, words


@pytest.fixture
def shop(database: Database) -> Shop:
    made = Shop(database)
    make_material(made)
    return made


def _typed(html: str) -> dict[str, str]:
    """What a browser would send back from the plan's form as it stands."""
    form = html[html.index('action="/loads/plan" class="stack" data-keep') :]
    fields = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and value and ('type="checkbox"' not in tag or " checked" in tag):
            fields[name[1]] = value[1]
    chooser = re.compile(r'<select[^>]*name="([^"]+)".*?>(.*?)</select>', re.DOTALL)
    for name, options in chooser.findall(form):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        fields[name] = chosen[1] if chosen else ""
    return {name: text for name, text in fields.items() if name not in {"csrf", "act"}}


def test_a_plan_is_copied_from_a_load_with_coupons_of_the_new_panels_lot(
    database: Database, shop: Shop, visit: Visit
) -> None:
    source, *_ = shop.panel_in_load(coupons=2, sensors=3)
    visit.sign_in("tomas")
    form = visit.get(f"/loads/plan?copy={source.code}&panel=P-1").text
    typed = _typed(form)
    assert (typed["furnace"], typed["cycle"], typed["gauge"]) == ("FN-1", "CY-1", "VG-1")
    assert (typed["code"], typed["length_h"]) == ("L-0003", "6")
    assert (typed["panel_1"], typed["table_1"], typed["panel_x_1"]) == ("P-1", "AT-1", "0")
    assert [typed[f"coupon_{n}"] for n in (1, 2)] == ["C-1", "C-2"]
    assert [typed[f"coupon_panel_{n}"] for n in (1, 2)] == ["#1", "#1"]
    assert [typed[f"sensor_{n}"] for n in (1, 2, 3)] == [f"TC-{source.code}-{n}" for n in (1, 2, 3)]
    assert typed["sensor_x_3"] == "0.75"
    typed |= {"code": "L-9", "planned_start": "2026-03-03 06:00", "act": "plan"}
    page = visit.follow(visit.post("/loads/plan", **typed))
    assert "Load L-9 is planned." in words(page.text)
    with database.read() as session:
        load = queries.load(session, "L-9")
        seats = queries.seats(session, load.id)
        assert load.planned_end == load.planned_start + timedelta(hours=6)
        assert [panel.x_mm for panel in seats.panels] == [Decimal(0)]
        assert [coupon.code for coupon in seats.coupons] == ["C-1", "C-2"]


def test_neither_used_nor_missing_coupons_are_offered(shop: Shop, visit: Visit) -> None:
    source, _, (used, _), _ = shop.panel_in_load(coupons=2, sensors=2)
    with shop.database.write() as session:
        lost = session.scalars(select(Coupon).where(Coupon.code == "C-1")).one()
        shop.custody(session, lost, Custody.MISSING)
    visit.sign_in("mara")
    typed = _typed(visit.get(f"/loads/plan?copy={source.code}&panel=P-1").text)
    assert [typed["coupon_1"], typed["coupon_2"]] == ["C-2", ""]
    assert used.code not in typed.values()


def test_copying_an_unknown_load_is_not_found(shop: Shop, visit: Visit) -> None:
    visit.sign_in("mara")
    assert visit.get("/loads/plan?copy=L-77").status_code == 404


def test_panels_that_wait_are_offered_until_a_load_takes_them(
    database: Database, shop: Shop, visit: Visit
) -> None:
    visit.sign_in("mara")
    assert 'name="panel" value="P-1"' in visit.get("/loads/plan").text
    visit.post("/loads/plan", **plan_fields())
    assert 'name="panel" value="P-1"' not in visit.get("/loads/plan").text
    cancel_load(database, "L-1", reason="fan", by=shop.engineer, at=NOW)
    assert 'name="panel" value="P-1"' in visit.get("/loads/plan").text


def test_a_row_names_its_panel_by_number_so_that_the_panel_can_change(
    database: Database, shop: Shop, visit: Visit
) -> None:
    visit.sign_in("mara")
    by_row = {f"{kind}_panel_{n}": "#1" for kind in ("coupon", "sensor") for n in (1, 2)}
    page = visit.follow(visit.post("/loads/plan", **plan_fields(**by_row)))
    assert "Load L-1 is planned." in words(page.text)
    with database.read() as session:
        seats = queries.seats(session, queries.load(session, "L-1").id)
    assert {coupon.panel_id for coupon in seats.coupons} == {seats.panels[0].id}


def test_a_row_is_emptied_and_the_rest_stays(shop: Shop, visit: Visit) -> None:
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="empty coupon 2"))
    typed = _typed(answer.text)
    assert (typed["coupon_1"], typed["coupon_2"], typed["coupon_x_2"]) == ("C-1", "", "")


def test_the_length_follows_from_soaks_and_allowance_where_none_is_given(
    shop: Shop, visit: Visit
) -> None:
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="check", length_h="", allowance_h="3,5"))
    assert _typed(answer.text)["length_h"] == "5.5"
    assert "Nothing stands against this plan" in words(answer.text)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"length_h": "1.9"}, "the cycle's soaks alone take 2 h"),
        ({"length_h": ""}, "does not say how long the load takes"),
        ({"gauge": ""}, "gauge"),
        ({"panel_x_1": ""}, "Where in the zone it lies is not on record"),
        ({"panel_x_1": "2001"}, "Outside the surveyed zone: the far corner of panel P-1"),
        ({"panel_y_1": "-1"}, "Outside the surveyed zone: the near corner of panel P-1"),
        ({"turned_1": "yes"}, "Outside the surveyed zone"),
    ],
)
def test_what_stands_against_a_plan_is_said_with_who_can_help(
    shop: Shop, visit: Visit, changed: dict[str, str], said: str
) -> None:
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="check", **changed))
    assert answer.status_code == 200
    shown = words(answer.text).replace("&#39;", "'")
    assert said in shown
    assert "Who can help:" in shown
    refused = visit.post("/loads/plan", **plan_fields(**changed))
    assert refused.status_code == 422


def test_a_panel_on_the_zones_edge_is_inside(shop: Shop, visit: Visit) -> None:
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="check", panel_x_1="2000"))
    assert "Nothing stands against this plan" in words(answer.text)


def test_the_drawings_show_what_was_typed(shop: Shop, visit: Visit) -> None:
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="show"))
    assert 'data-spot="coupon 1"' in answer.text
    assert 'data-spot="sensor 2"' in answer.text
    assert 'data-spot="panel 1"' in answer.text
    assert "hottest U9" in words(answer.text)
    assert "coldest U1" in words(answer.text)


def _other_lot(shop: Shop) -> None:
    with shop.database.write() as session:
        kept = shop.lot_id
        shop.lot_id = shop.lot(session, "LOT-2")
        shop.coupon(session, "C-9")
        shop.lot_id = kept


def test_a_coupon_of_another_lot_needs_a_supervisors_signature(shop: Shop, visit: Visit) -> None:
    _other_lot(shop)
    foreign = plan_fields(coupon_2="C-9")
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **(foreign | {"act": "check"}))
    assert "/loads/other-lot?coupon=C-9&amp;panel=P-1" in answer.text
    assert visit.get("/loads/other-lot?coupon=C-9&panel=P-1").status_code == 403
    visit.sign_in("ines")
    given: dict[str, Any] = {"coupon": "c-9", "panel": "P-1", "reason": "last piece, same cast"}
    wrong = visit.post("/loads/other-lot", **given, password="not mine at all")
    assert wrong.status_code == 422
    assert "last piece, same cast" in wrong.text
    page = visit.follow(visit.post("/loads/other-lot", **given, password=PASSWORD))
    assert "is accepted for panel P-1" in words(page.text)
    again = visit.post("/loads/other-lot", **given, password=PASSWORD)
    assert again.status_code == 409
    visit.sign_in("mara")
    planned = visit.follow(visit.post("/loads/plan", **foreign))
    assert "Load L-1 is planned." in words(planned.text)
    dossier = words(visit.get("/panels/P-1").text)
    assert (
        "Coupon C-9 is of lot LOT-2; accepted by Ines Valcourt: last piece, same cast." in dossier
    )


def test_a_coupon_of_its_panels_own_lot_needs_no_exception(shop: Shop, visit: Visit) -> None:
    visit.sign_in("ines")
    answer = visit.post(
        "/loads/other-lot", coupon="C-1", panel="P-1", reason="x", password=PASSWORD
    )
    assert "are of one lot" in words(answer.text)


def test_the_sensor_map_has_channels_stations_zone_and_bag_checks(shop: Shop, visit: Visit) -> None:
    visit.sign_in("mara")
    visit.post("/loads/plan", **plan_fields())
    page = visit.get("/loads/L-1/sensor-map")
    said = words(page.text)
    for part in ("TC1", "S-1", "T1", "FORMER-2", "Bag checks to make", "at most 2.0 kPa lost"):
        assert part in said
    assert 'data-placing="zone"' in page.text
    for drawn in ("coupon C-1, K1", "coupon C-2, K2", "sensor TC1, T1", "sensor TC2, T2"):
        assert f'aria-label="{drawn}"' in page.text
