"""The pages of material, of custody, and the index of the shop; on both databases."""

import re
from decimal import Decimal
from typing import Any

import pytest

from app.database import Database
from app.panels import queries, service
from tests.equipment.test_pages import counted
from tests.makers import NOW, Shop
from tests.visits import Visit, words

LOT = {
    "code": "lot/9",
    "alloy": "Q-77",
    "incoming_temper": "W",
    "product_form": "plate",
    "thickness_mm": "12,50",
    "surface": "bare",
    "cast": "CAST-9",
    "certificate": "MC-9",
    "received_on": "2026-01-15",
}
PANEL = {
    "code": "P-9",
    "lot": "lot-1",
    "drawing": "DRW-9",
    "order_number": "ORD-9",
    "target_temper": "K1",
    "length_mm": "14000",
    "width_mm": "2600",
    "treatments_most": "2",
    "treatments_before": "0",
}
COUPONS = {"lot": "LOT-1", "codes": "C-1\nC-2\n", "place": "tray 3"}


def _text(answer: Any) -> str:
    return words(answer.text).replace("&#39;", "'").replace("&#34;", '"')


def test_an_inspector_receives_a_lot_and_cuts_panel_and_coupons_from_it(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("mara")
    assert visit.get("/register/lot").status_code == 200
    answer = visit.post("/register/lot", **LOT)
    assert answer.headers["location"] == "/lots/LOT%2F9"
    page = visit.follow(answer)
    assert "Q-77 W plate, 12.50 mm" in _text(page)
    assert 'href="/register/panel?lot=LOT/9"' in page.text
    form = visit.get("/register/panel?lot=LOT/9")
    assert 'value="LOT/9"' in form.text
    answer = visit.post("/register/panel", **{**PANEL, "lot": "lot/9"})
    assert answer.headers["location"] == "/panels/P-9"
    answer = visit.post("/register/coupons", **{**COUPONS, "lot": "lot/9"})
    page = visit.follow(answer)
    assert "2 coupons cut and marked." in _text(page)
    assert 'href="/coupons/C-1"' in page.text
    assert 'href="/panels/P-9"' in page.text
    assert "12.50 bare cut and marked tray 3" in _text(page)


@pytest.mark.parametrize(
    ("address", "fields", "says"),
    [
        ("lot", {**LOT, "thickness_mm": "thick"}, "'thick' is not a number"),
        ("lot", {**LOT, "received_on": "15.01.2026"}, "write it like 2026-03-31"),
        ("lot", {**LOT, "code": ""}, "Identity is missing."),
        ("panel", {**PANEL, "lot": "LOT-77"}, "No material lot LOT-77 is on record"),
        ("panel", {**PANEL, "treatments_most": "two"}, "'two' is not a whole number"),
        ("coupons", {**COUPONS, "codes": "C-1\nC-1"}, "Line 2: C-1 stands on line 1 already"),
        ("coupons", {**COUPONS, "codes": "C-1\n?"}, "'?' cannot be an identity"),
    ],
)
def test_a_refused_form_keeps_what_was_typed(
    database: Database, visit: Visit, address: str, fields: dict[str, str], says: str
) -> None:
    Shop(database)
    visit.sign_in("mara")
    answer = visit.post(f"/register/{address}", **fields)
    assert answer.status_code == 422
    assert says in _text(answer)
    for name, typed in fields.items():
        if typed and name not in {"codes", "surface"}:
            assert f'value="{typed}"' in answer.text, name
    if "codes" in fields:
        assert f"{fields['codes']}</textarea>" in answer.text.replace("\r", "")
    if "surface" in fields:
        assert 'value="bare" selected' in answer.text


def test_an_identity_given_before_is_refused_and_kept(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("mara")
    answer = visit.post("/register/panel", **{**PANEL, "code": "HT-1"})
    assert answer.status_code == 409
    assert "HT-1 is already the identity of a tester" in _text(answer)
    assert 'value="DRW-9"' in answer.text


def test_hand_overs_keep_step_and_place_for_the_next_coupons(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("mara")
    visit.post("/register/coupons", **COUPONS)
    answer = visit.post("/custody", codes="c-1\nc-2", step="placed on the panel", place="former 2")
    page = visit.follow(answer)
    assert "C-1, C-2: placed on the panel, former 2." in _text(page)
    assert 'value="former 2"' in page.text
    assert re.search(r'value="placed on the panel" checked', page.text)
    assert re.search(r'name="codes"[^>]*>\s*</textarea>', page.text)


def test_a_hand_over_out_of_order_keeps_what_was_typed_and_shows_where_they_are(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("mara")
    visit.post("/register/coupons", **COUPONS)
    answer = visit.post("/custody", codes="C-1", step="shelved", place="shelf 4", note="kept note")
    assert answer.status_code == 422
    assert "C-1: It cannot be shelved: it is cut and marked" in _text(answer)
    assert 'value="shelf 4"' in answer.text
    assert "kept note</textarea>" in answer.text
    assert "C-1 cut and marked tray 3 Mara Quill" in _text(answer)
    assert 'value="placed on the panel"' in answer.text
    unknown = visit.post("/custody", codes="C-77", step="shelved", place="shelf 4")
    assert unknown.status_code == 422
    assert "No coupon C-77 is on record" in _text(unknown)
    assert "C-77</textarea>" in unknown.text


def test_a_hand_over_from_the_coupons_own_page_leads_back_to_it(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("ines")
    visit.post("/register/coupons", **COUPONS)
    answer = visit.post(
        "/coupons/c-1/custody",
        step="placed on the panel",
        place="former 2",
        taken_at="2026-01-01 00:00",
    )
    assert answer.status_code == 422
    assert "was cut and marked later than that" in _text(answer)
    answer = visit.post("/coupons/c-1/custody", step="placed on the panel", place="former 2")
    assert (answer.status_code, answer.headers["location"]) == (303, "/coupons/C-1")


@pytest.mark.parametrize("username", ["olek", "rune"])
def test_an_auditor_and_an_administrator_read_and_record_nothing(
    database: Database, visit: Visit, username: str
) -> None:
    Shop(database)
    visit.sign_in(username)
    for thing in ("lot", "panel", "coupons"):
        assert visit.get(f"/register/{thing}").status_code == 403
        assert visit.post(f"/register/{thing}", code="X-1").status_code == 403
    assert visit.get("/custody").status_code == 403
    assert visit.post("/custody", codes="C-1", step="shelved", place="x").status_code == 403
    assert visit.post("/coupons/C-1/custody", step="shelved").status_code == 403
    for address in ("/shop", "/lots", "/lots/LOT-1"):
        page = visit.get(address)
        assert page.status_code == 200
        # How a logger's export is read, an administrator may write.
        offered = set(re.findall(r'href="/register/([a-z-]+)"', page.text))
        assert offered <= ({"mapping"} if username == "rune" else set())


def test_an_unknown_lot_is_not_found(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("mara")
    assert visit.get("/lots/NOBODY").status_code == 404


def test_the_shops_index_leads_to_everything_with_where_it_stands(
    database: Database, visit: Visit
) -> None:
    Shop(database).panel_in_load()
    visit.sign_in("tomas")
    page = visit.get("/shop")
    for address in (
        "/furnaces/FN-1",
        "/testers/HT-1",
        "/blocks/RB-HT-1",
        "/tables/AT-1",
        "/cycles/CY-1",
        "/lots/LOT-1",
        "/sensors",
        "/lots",
        "/people",
        "/register/furnace",
        "/register/sensor",
        "/register/tester",
        "/register/block",
        "/register/table",
        "/register/cycle",
        "/register/lot",
        "/register/panel",
        "/register/coupons",
    ):
        assert f'href="{address}"' in page.text, address
        assert visit.get(address).status_code == 200, address
    assert "in force" in _text(page)


def _fill(database: Database, shop: Shop, first: int, last: int) -> None:
    for number in range(first, last):
        shop.panel_in_load()
        service.receive_lot(
            database,
            code=f"LOT-N{number}",
            material=service.Material("Q-77", "W", "plate", Decimal(12), "bare"),
            cast="c",
            certificate="m",
            received_on=NOW.date(),
            by=shop.inspector,
            at=NOW,
        )


@pytest.mark.parametrize("address", ["/shop", "/lots", "/lots/LOT-1"])
def test_twice_the_rows_need_no_more_queries(
    database: Database, visit: Visit, app: Any, address: str
) -> None:
    shop = Shop(database)
    visit.sign_in("mara")
    _fill(database, shop, 0, 5)
    with counted(app) as few:
        visit.get(address)
    _fill(database, shop, 5, 10)
    with counted(app) as more:
        visit.get(address)
    assert len(few) == len(more)


def test_long_lists_go_on_from_where_they_stopped(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    visit.sign_in("mara")
    for start in (0, 100):
        service.register_coupons(
            database,
            lot="LOT-1",
            codes=[f"C-{number:03d}" for number in range(start, start + 100)],
            place="tray",
            by=shop.inspector,
            at=NOW,
        )
    page = visit.get("/lots/LOT-1").text
    assert "C-099" in page
    assert "C-100" not in page
    onward = re.search(r'href="(\?coupons_after=\d+)"', page)
    assert onward is not None
    rest = visit.get(f"/lots/LOT-1{onward[1]}").text
    assert "C-100" in rest
    assert "C-199" in rest
    assert "coupons_after" not in rest


def test_lots_are_paged_by_key(database: Database) -> None:
    shop = Shop(database)
    _fill(database, shop, 0, 3)
    with database.read() as session:
        lines = queries.lots(session, most=2)
        older = queries.lots(session, before=lines[-1].id)
    assert [line.code for line in lines] == ["LOT-N2", "LOT-N1"]
    assert [line.code for line in older] == ["LOT-N0", "LOT-1"]
    assert [(line.panels, line.coupons) for line in older] == [(0, 0), (3, 6)]
