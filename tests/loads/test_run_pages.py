"""Start, end and cancelling, leak check, unwrapping and photographs on the pages."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.database import Database
from app.loads import queries, run_queries
from app.loads.bags.surface import surface_of
from app.loads.records import Photograph
from tests.loads.pictures import picture
from tests.makers import Shop
from tests.visits import Visit, words


@pytest.fixture
def shop(database: Database) -> Shop:
    return Shop(database)


def _check_bag(visit: Visit, code: str, panel: str, **changed: str) -> Any:
    fields = {"panel": panel, "gauge": "VG-1", "unit": "kPa", "start": "88", "end": "87"}
    fields |= {"minutes": "5", "taken_at": "2026-03-02 05:30"} | changed
    return visit.post(f"/loads/{code}/leak-check", **fields)


def test_a_load_is_started_and_taken_out_with_late_entries(shop: Shop, visit: Visit) -> None:
    load, panel, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    address = f"/loads/{load.code}"
    refused = visit.post(f"{address}/start", started_at="2026-03-02 06:00")
    assert refused.status_code == 422
    assert "No leak check of the bag of P-0001 is on record." in words(refused.text)
    assert "Who can help: an inspector checks the bag." in words(refused.text)
    assert 'value="2026-03-02 06:00"' in refused.text
    _check_bag(visit, load.code, panel.code)
    page = visit.follow(visit.post(f"{address}/start", started_at="2026-03-02 06:00"))
    assert "in the furnace" in words(page.text)
    assert "Door closed 2026-03-02 06:00" in words(page.text)
    assert visit.post(f"{address}/start", started_at="2026-03-02 06:00").status_code == 409
    early = visit.post(f"{address}/end", ended_at="2026-03-02 05:00")
    assert early.status_code == 422
    page = visit.follow(visit.post(f"{address}/end", ended_at="2026-03-02 12:30"))
    said = words(page.text)
    assert "out of the furnace" in said
    assert "Import the furnace record" in said


def test_a_start_in_words_nobody_can_read_stays_typed(shop: Shop, visit: Visit) -> None:
    load, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    answer = visit.post(f"/loads/{load.code}/start", started_at="this morning")
    assert answer.status_code == 422
    assert "is not a time" in words(answer.text)
    assert 'value="this morning"' in answer.text


def test_a_cancelled_load_says_so_everywhere(shop: Shop, visit: Visit) -> None:
    load, panel, (coupon, _), _ = shop.panel_in_load()
    visit.sign_in("tomas")
    address = f"/loads/{load.code}"
    assert visit.post(f"{address}/cancel", reason=" ").status_code == 422
    page = visit.follow(visit.post(f"{address}/cancel", reason="fan bearing is loud"))
    assert "Cancelled by Tomas Brandl" in words(page.text)
    assert "cancelled" in words(visit.get("/loads").text)
    assert "has not been planned into a load" in words(visit.get(f"/panels/{panel.code}").text)
    assert load.code not in words(visit.get(f"/coupons/{coupon.code}").text).split("Trail")[0]
    visit.sign_in("mara")
    assert _check_bag(visit, load.code, panel.code).status_code == 409
    assert visit.post(
        f"{address}/unwrapping", panel=panel.code, bag="intact", surface="clear", act="record"
    ).status_code in (409, 422)


def test_a_gauge_in_inches_is_kept_as_read(shop: Shop, visit: Visit) -> None:
    load, panel, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    page = visit.follow(
        _check_bag(visit, load.code, panel.code, unit="inHg", start="26,0", end="25.5")
    )
    said = words(page.text)
    assert "bag checked" in said
    assert "(read 26.0 to 25.5 inHg)" in said
    assert "VG-1" in said
    wrong = _check_bag(visit, load.code, panel.code, unit="inHg", start="88", end="87")
    assert wrong.status_code == 422
    assert "Is the unit right?" in words(wrong.text)
    assert 'value="88"' in wrong.text


def test_an_unknown_gauge_is_refused_at_its_field(shop: Shop, visit: Visit) -> None:
    load, panel, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    answer = _check_bag(visit, load.code, panel.code, gauge="VG-9")
    assert answer.status_code == 422
    assert "No vacuum gauge VG-9 is on record" in words(answer.text)


FIND = {
    "find_rows": "2",
    "find_kind_1": "scratch",
    "find_x_1": "0.25",
    "find_y_1": "0,5",
    "find_size_1": "40",
    "find_words_1": "shallow",
}


def _unwrap(visit: Visit, load: Any, panel: Any, coupons: Any, **changed: str) -> Any:
    fields = {"panel": panel.code, "bag": "intact", "surface": "found", "act": "record"}
    fields |= {f"coupon:{coupon.code}": "recovered" for coupon in coupons}
    return visit.post(f"/loads/{load.code}/unwrapping", **(fields | changed))


def test_finds_are_placed_and_get_their_photographs(
    database: Database, shop: Shop, visit: Visit
) -> None:
    load, panel, coupons, _ = shop.panel_in_load()
    visit.sign_in("mara")
    page = visit.follow(_unwrap(visit, load, panel, coupons, **FIND))
    said = words(page.text)
    assert "Photographs can be added now" in said
    assert "scratch, 40 mm, 3500 mm along and 1300 mm across: shallow" in said
    with database.read() as session:
        key = surface_of(session, load.id)[panel.code].finds[0].id
    address = f"/loads/{load.code}/photographs/of/{panel.code}"
    first, second = picture(), picture("PNG", colour="navy")
    files = [
        ("photographs", ("one.jpg", first, "image/jpeg")),
        ("photographs", ("two.png", second, "image/png")),
    ]
    page = visit.follow(visit.post(address, files=files, about=str(key), caption="from above"))
    assert "2 photographs kept" in words(page.text)
    assert "from above" in words(page.text)
    with database.read() as session:
        shots = session.scalars(select(Photograph).order_by(Photograph.id)).all()
        keys = [shot.id for shot in shots]
        assert {shot.surface_finding_id for shot in shots} == {key}
    kept = visit.get(f"/loads/{load.code}/photographs/{keys[0]}")
    assert kept.content == first
    assert kept.headers["content-type"] == "image/jpeg"
    assert kept.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in kept.headers["content-security-policy"]
    small = visit.get(f"/loads/{load.code}/photographs/{keys[1]}/small")
    assert small.headers["content-type"] == "image/jpeg"
    again = visit.post(address, files=files[:1], caption="")
    assert again.status_code == 409
    assert "kept with load L-0001 already" in words(again.text)
    assert f"/photographs/{keys[0]}/small" in visit.get(f"/panels/{panel.code}").text
    assert f"/photographs/{keys[0]}/small" in visit.get(f"/loads/{load.code}").text


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ([], "Choose 1 to 24 photographs"),
        ([("photographs", ("a.jpg", b"not a picture", "image/jpeg"))], "a.jpg: it is no JPEG"),
        ([("photographs", ("b.png", picture()[:900], "image/png"))], "b.png: the picture is"),
    ],
)
def test_what_is_no_photograph_is_refused_and_the_caption_stays(
    shop: Shop, visit: Visit, files: Any, said: str
) -> None:
    load, panel, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    address = f"/loads/{load.code}/photographs/of/{panel.code}"
    answer = visit.post(address, files=files or None, caption="the seam")
    assert answer.status_code == 422
    assert said in words(answer.text)
    assert 'value="the seam"' in answer.text


def test_photographs_are_shown_to_everybody_and_added_by_those_who_unwrap(
    shop: Shop, visit: Visit
) -> None:
    load, panel, *_ = shop.panel_in_load()
    address = f"/loads/{load.code}/photographs/of/{panel.code}"
    visit.sign_in("olek")
    page = visit.get(address)
    assert page.status_code == 200
    assert "Add photographs" not in words(page.text)
    assert visit.post(address, caption="x").status_code == 403
    assert visit.get(f"/loads/{load.code}/photographs/1").status_code == 404
    assert visit.get(f"/loads/{load.code}/photographs/of/P-77").status_code == 404


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"find_x_1": "1.2"}, "Find 1: Along the length: 1.2 is not on the panel"),
        ({"find_kind_1": "other"}, "Find 1: Say what it is."),
        ({"find_y_1": ""}, "Find 1: Across the width is missing."),
        ({"find_size_1": "big"}, "Find 1: Size"),
        ({"surface": "clear"}, "the surface search says that nothing was found"),
    ],
)
def test_a_find_that_cannot_be_read_says_which_and_stays_typed(
    shop: Shop, visit: Visit, changed: dict[str, str], said: str
) -> None:
    load, panel, coupons, _ = shop.panel_in_load()
    visit.sign_in("mara")
    answer = _unwrap(visit, load, panel, coupons, **(FIND | changed))
    assert answer.status_code == 422
    assert said in words(answer.text)
    assert 'value="shallow"' in answer.text


def test_more_rows_for_finds_keep_what_was_typed(shop: Shop, visit: Visit) -> None:
    load, panel, coupons, _ = shop.panel_in_load()
    visit.sign_in("mara")
    answer = _unwrap(visit, load, panel, coupons, **(FIND | {"act": "more finds"}))
    assert answer.status_code == 200
    assert 'name="find_kind_5"' in answer.text
    assert 'value="shallow"' in answer.text
    assert 'data-spot="find 1"' in answer.text


@pytest.mark.parametrize(
    ("who", "address", "status"),
    [
        ("olek", "start", 200),
        ("ines", "start", 200),
        ("tomas", "end", 403),
        ("mara", "end", 200),
        ("olek", "cancel", 403),
        ("tomas", "cancel", 200),
        ("olek", "sensor-map", 200),
    ],
)
def test_each_page_is_for_its_roles(
    shop: Shop, visit: Visit, who: str, address: str, status: int
) -> None:
    load, *_ = shop.panel_in_load()
    visit.sign_in(who)
    page = visit.get(f"/loads/{load.code}/{address}")
    assert page.status_code == status
    may_start = "The door is closed and the cycle started" in words(page.text)
    assert may_start == (who == "ines")
    assert visit.get(f"/loads/L-9999/{address}").status_code in (403, 404)


def test_the_start_page_shows_the_gates_as_they_stood(shop: Shop, visit: Visit) -> None:
    load, panel, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    _check_bag(visit, load.code, panel.code)
    visit.post(f"/loads/{load.code}/start", started_at="2026-03-02 06:00")
    page = visit.get(f"/loads/{load.code}/start")
    assert "Below stand the gates as they were then." in words(page.text)
    with shop.database.read() as session:
        assert run_queries.load_start(session, queries.load(session, load.code).id) is not None


def test_today_leads_to_the_next_thing_at_the_furnace(shop: Shop, visit: Visit) -> None:
    now = datetime.now(UTC)
    soon, *_ = shop.panel_in_load(start=now + timedelta(hours=20))
    late, *_ = shop.panel_in_load(start=now + timedelta(days=3))
    visit.sign_in("mara")
    page = visit.get("/")
    assert f"/loads/{soon.code}/leak-check" in page.text
    assert f"/loads/{late.code}/" not in page.text
    visit.sign_in("tomas")
    visit.post(f"/loads/{soon.code}/cancel", reason="fan")
    visit.sign_in("mara")
    assert f"/loads/{soon.code}/" not in visit.get("/").text
