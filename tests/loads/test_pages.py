"""The loads' pages over HTTP: what a person sees, and what stays typed when it is refused."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event

from app.database import Database
from app.loads import queries
from app.loads.records import Load
from tests.loads.logger_files import START, run
from tests.loads.plans import make_material, plan_fields
from tests.makers import NOW, Shop
from tests.speed.serving import form_of
from tests.visits import PASSWORD, Visit, words


def _upload(visit: Visit, load: Load, content: bytes, name: str = "run.csv") -> Any:
    return visit.post(f"/loads/{load.code}/record", files={"file": (name, content, "text/csv")})


def _waiting(visit: Visit, load: Load, content: bytes) -> str:
    """Upload, and hand back the waiting file's name from the preview."""
    preview = visit.follow(_upload(visit, load, content))
    assert preview.status_code == 200, words(preview.text)
    found = re.search(r'name="upload" value="([^"]+)"', preview.text)
    assert found, words(preview.text)
    return found[1]


def _keep(visit: Visit, load: Load, token: str, **changed: str) -> Any:
    """Send the preview's form as the page filled it in, but for what is changed."""
    record = f"/loads/{load.code}/record"
    form = form_of(visit.get(f"{record}?upload={token}").text, f"{record}/keep")
    return visit.post(f"{record}/keep", **(form | changed))


def test_an_inspector_imports_a_record_and_reads_its_verdict(
    database: Database, visit: Visit
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    assert "Import the furnace record" in visit.get(f"/loads/{load.code}").text
    preview = visit.follow(_upload(visit, load, run()))
    said = words(preview.text)
    assert "Nothing of it is on record yet" in said
    assert "run.csv" in said
    assert re.search(r'name="column:TC2" type="text" list="columns" value="TC2"', preview.text)
    with database.read() as session:
        assert queries.current_record(session, load.id) is None
    token = re.search(r'name="upload" value="([^"]+)"', preview.text)
    assert token
    page = visit.follow(_keep(visit, load, token[1]))
    said = words(page.text)
    assert "The record run.csv is kept; it conforms." in said
    assert "record in" in said
    assert "Working" in said
    assert "Sensors that decide the soak" in said
    assert "T1" in said


def test_the_original_comes_back_byte_for_byte_under_its_name(
    database: Database, visit: Visit
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    content = run()
    _keep(visit, load, _waiting(visit, load, content))
    answer = visit.get(f"/loads/{load.code}/record/original")
    assert answer.content == content
    assert "run.csv" in answer.headers["content-disposition"]
    replaced = visit.get(f"/loads/{load.code}/record/original?sha256={'0' * 64}")
    assert replaced.status_code == 404


def test_the_picture_has_points_and_a_still_that_may_carry_its_own_styles(
    database: Database, visit: Visit
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    assert visit.get(f"/loads/{load.code}/record/points").status_code == 404
    _keep(visit, load, _waiting(visit, load, run()))
    shown = visit.get(f"/loads/{load.code}/record/points?from=0&to=600&width=400").json()
    assert [series["name"] for series in shown["series"]] == ["TC1", "TC2"]
    assert shown["series"][0]["station"] == "T1"
    assert shown["stages"][0]["low"] == 147.0
    assert shown["vacuum"]["limit"] == 70.0
    assert visit.get(f"/loads/{load.code}/record/points?from=nan").status_code == 422
    still = visit.get(f"/loads/{load.code}/record.svg")
    assert still.headers["content-type"].startswith("image/svg+xml")
    assert still.headers["content-security-policy"] == (
        "default-src 'none'; style-src 'unsafe-inline'"
    )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "run.csv: the file is empty"),
        (b"\x00\x01\x02", "run.csv: it is a binary file"),
        (b"time,TC1\n", "run.csv, row 1: no row of readings follows it (time, TC1); export"),
        (b"a,b\nx,1\n", "none of its columns (a, b) looks like the time"),
    ],
)
def test_a_file_that_is_no_record_is_refused_at_once(
    database: Database, visit: Visit, content: bytes, said: str
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    answer = _upload(visit, load, content)
    assert answer.status_code == 422
    assert said in words(answer.text)


def test_dates_that_could_be_two_must_be_stated(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    days = re.sub(rb"2026-03-02T(\d\d:\d\d:\d\d)\+00:00", rb"02/03/2026 \1", run())
    token = _waiting(visit, load, days)
    shown = words(visit.get(f"/loads/{load.code}/record?upload={token}").text)
    assert "To be stated by you" in shown
    assert "may be day-month-year or month-day-year" in shown
    refused = _keep(visit, load, token)
    assert refused.status_code == 422
    assert "order" in words(refused.text)
    kept = _keep(visit, load, token, order="day-month-year")
    assert kept.status_code == 303, words(kept.text)
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.starts_at == START


def test_no_file_chosen_is_said_so(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    answer = visit.post(f"/loads/{load.code}/record")
    assert answer.status_code == 422
    assert "Choose the logger's file first." in answer.text.replace("&#39;", "'")


def test_a_refusal_on_keeping_names_row_and_column_and_leaves_the_choices(
    database: Database, visit: Visit
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    token = _waiting(visit, load, run(changed={"TC2": {200: "warm"}}))
    answer = _keep(visit, load, token, temperature_unit="F", reason="kept words")
    assert answer.status_code == 422
    said = words(answer.text)
    assert "run.csv, row 202" in said
    assert "TC2" in said
    assert re.search(r'value="F" checked', answer.text)
    assert token in answer.text
    with database.read() as session:
        assert queries.current_record(session, load.id) is None
    # The file still waits: another unit and an excluded cell later it can be kept.
    assert visit.get(f"/loads/{load.code}/record?upload={token}").status_code == 200


def test_decreasing_times_and_unread_fields_are_refused_in_words(
    database: Database, visit: Visit
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    lines = run().decode().splitlines()
    lines[10], lines[11] = lines[11], lines[10]
    token = _waiting(visit, load, "\n".join(lines).encode())
    answer = _keep(visit, load, token)
    assert answer.status_code == 422
    assert "row 12" in words(answer.text)
    answer = _keep(visit, load, token, **{"time_kind": "", "column:TC1": ""})
    assert answer.status_code == 422
    assert "Form of the time" in words(answer.text)


def test_the_same_file_for_another_load_links_to_the_first(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    first, *_ = shop.panel_in_load()
    second, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    _keep(visit, first, _waiting(visit, first, run()))
    answer = _upload(visit, second, run())
    assert answer.status_code == 409
    assert f'href="/loads/{first.code}"' in answer.text
    assert "a file belongs to one load" in words(answer.text)


def test_a_replaced_record_stays_visible_struck_through(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    _keep(visit, load, _waiting(visit, load, run()))
    token = _waiting(visit, load, run(offset=0.1))
    answer = _keep(visit, load, token)
    assert answer.status_code == 422
    assert "Say why this one replaces it" in words(answer.text)
    why = "the first was of the morning's test"
    answer = _keep(visit, load, token, reason=why, password="typed wrongly")
    assert answer.status_code == 422
    assert "the first was of the morning" in answer.text
    assert "typed wrongly" not in answer.text
    # Showing rows in another way needs no signature; a load's first record asks for none.
    assert _keep(visit, load, token, act="look", reason="").status_code == 200
    page = visit.follow(_keep(visit, load, token, reason=why, password=PASSWORD))
    assert "<s>run.csv</s>" in page.text
    said = words(page.text)
    assert "Mara Quill run.csv, by run.csv no change: conforms the first was of the morn" in said


def test_a_waiting_file_is_nobody_elses(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    token = _waiting(visit, load, run())
    visit.sign_in("deniz")
    answer = visit.post(f"/loads/{load.code}/record/keep", upload=token)
    assert answer.status_code == 404
    assert "Choose the file again" in words(answer.text)
    assert visit.get(f"/loads/{load.code}/record?upload={token}").status_code == 404


@pytest.mark.parametrize(
    ("who", "address", "status"),
    [
        ("olek", "/loads/plan", 403),
        ("olek", "/loads/{}/record", 403),
        ("tomas", "/loads/{}/leak-check", 403),
        ("tomas", "/loads/{}/unwrapping", 403),
        ("mara", "/loads/{}/exclude-sensor", 403),
        ("olek", "/loads/{}", 200),
        ("olek", "/loads", 200),
        ("ines", "/loads/{}/exclude-sensor", 200),
        ("mara", "/loads/{}/unwrapping", 200),
    ],
)
def test_each_page_is_for_its_roles(
    database: Database, visit: Visit, who: str, address: str, status: int
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in(who)
    assert visit.get(address.format(load.code)).status_code == status


@pytest.mark.parametrize(
    "address",
    [
        "/loads/L-9999",
        "/loads/L-9999/record",
        "/loads/L-9999/record/points",
        "/loads/L-9999/record.svg",
        "/loads/L-9999/record/original",
        "/loads/L-9999/leak-check",
        "/loads/L-9999/unwrapping",
        "/loads/L-9999/exclude-sensor",
    ],
)
def test_an_unknown_load_is_not_found(database: Database, visit: Visit, address: str) -> None:
    Shop(database)
    visit.sign_in("ines" if "exclude" in address else "mara")
    answer = visit.get(address)
    assert answer.status_code == 404
    assert "No load L-9999 is on record" in words(answer.text)


def test_a_plan_goes_from_the_form_to_the_loads_page(database: Database, visit: Visit) -> None:
    make_material(Shop(database))
    visit.sign_in("mara")
    form = visit.get("/loads/plan?panel=P-1")
    assert 'value="P-1"' in form.text
    assert "CY-1, Invented ageing, 150 degC, revision A" in form.text
    page = visit.follow(visit.post("/loads/plan", **plan_fields()))
    said = words(page.text)
    assert "Load L-1 is planned." in said
    assert "Before the door closes, check the bag of P-1." in said
    assert "C-1" in said


def test_checking_a_plan_keeps_nothing_and_shows_each_finding(
    database: Database, visit: Visit
) -> None:
    make_material(Shop(database))
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="check", coupon_2=""))
    assert "Row 2 of the coupons has no coupon" in words(answer.text)
    cleared = {f"coupon_{name}_2": "" for name in ("panel", "station", "x", "y")}
    answer = visit.post("/loads/plan", **plan_fields(act="check", coupon_2="", **cleared))
    assert answer.status_code == 200
    said = words(answer.text)
    assert "1 thing stands against this plan" in said
    assert "Panel P-1 has 1 coupon; at least 2 are asked." in said
    assert 'value="0,1"' in answer.text
    assert visit.get("/loads/L-1").status_code == 404


def test_a_plan_that_cannot_be_read_says_which_field_and_keeps_what_was_typed(
    database: Database, visit: Visit
) -> None:
    make_material(Shop(database))
    visit.sign_in("mara")
    answer = visit.post(
        "/loads/plan",
        **plan_fields(planned_start="tomorrow", coupon_x_1="1.2", sensor_y_2="left"),
    )
    assert answer.status_code == 422
    said = words(answer.text)
    assert "'tomorrow' is not a time" in said.replace("&#39;", "'")
    assert "Coupon row 1: Along the length: 1.2 is not on the panel" in said
    assert "Sensor row 2: Across the width" in said
    for typed in ("tomorrow", "1.2", "left"):
        assert f'value="{typed}"' in answer.text


def test_more_rows_keep_what_was_typed(database: Database, visit: Visit) -> None:
    make_material(Shop(database))
    visit.sign_in("mara")
    answer = visit.post("/loads/plan", **plan_fields(act="more coupons"))
    assert answer.status_code == 200
    assert 'name="coupon_7"' in answer.text
    assert 'name="coupon_rows" value="7"' in answer.text
    assert 'name="coupon_1" type="text" value="C-1"' in answer.text


def test_a_leak_check_shows_its_outcome_and_keeps_what_was_typed(
    database: Database, visit: Visit
) -> None:
    load, panel, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    address = f"/loads/{load.code}/leak-check"
    assert "at most 2.0 kPa" in words(visit.get(address).text)
    answer = visit.post(address, panel=panel.code, gauge="VG-1", start="88,0", end="x", minutes="5")
    assert answer.status_code == 422
    assert 'value="88,0"' in answer.text
    assert "is not a number" in words(answer.text)
    page = visit.follow(
        visit.post(address, panel=panel.code, gauge="VG-1", start="88,0", end="87.0", minutes="5")
    )
    said = words(page.text)
    assert "The bag holds" in said
    assert "bag checked" in said


def test_an_unwrapping_asks_for_every_coupon_and_leads_to_the_bench(
    database: Database, visit: Visit
) -> None:
    load, panel, (one, two), _ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    _keep(visit, load, _waiting(visit, load, run()))
    address = f"/loads/{load.code}/unwrapping"
    form = visit.get(f"{address}?panel={panel.code}")
    assert f"coupon:{one.code}" in form.text
    fields = {"panel": panel.code, "bag": "intact", "surface": "clear"}
    answer = visit.post(address, **fields, **{f"coupon:{one.code}": "recovered"})
    assert answer.status_code == 422
    assert f"whether coupon {two.code}" in words(answer.text)
    assert re.search(r'name="bag" value="intact" checked', answer.text)
    page = visit.follow(
        visit.post(
            address,
            **fields,
            **{f"coupon:{one.code}": "recovered", f"coupon:{two.code}": "missing"},
            searched="Not in the bag, not under the former.",
        )
    )
    said = words(page.text)
    assert "unwrapped" in said
    assert "Go to the bench" in said
    assert f"Coupon {two.code}: missing" in said


def test_a_supervisor_excludes_a_sensor_with_a_signature(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load(sensors=3)
    visit.sign_in("ines")
    content = run(
        sensors=("TC1", "TC2", "TC3"), changed={"TC3": dict.fromkeys(range(90, 100), "OPEN")}
    )
    kept = _keep(visit, load, _waiting(visit, load, content), **{"column:TC3": "TC3"})
    assert "it is not proven" in words(visit.follow(kept).text)
    address = f"/loads/{load.code}/exclude-sensor"
    answer = visit.post(address, channel="TC3", reason="wire broken", password="not mine at all")
    assert answer.status_code == 422
    assert "wire broken" in answer.text
    assert "not mine at all" not in answer.text
    page = visit.follow(visit.post(address, channel="TC3", reason="wire broken", password=PASSWORD))
    said = words(page.text)
    assert "The record was judged again: conforms." in said
    assert "excluded by Ines Valcourt" in said
    shown = visit.get(f"/loads/{load.code}/record/points").json()
    assert [series["name"] for series in shown["series"]] == ["TC1", "TC2", "TC3"]


@contextmanager
def _counted(engine: Any) -> Iterator[list[str]]:
    said: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        said.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield said
    event.remove(engine, "before_cursor_execute", note)


def test_twice_the_loads_need_no_more_queries(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    visit.sign_in("mara")
    engine = visit.client.app.state.database.engine  # type: ignore[attr-defined]

    def queries_of_the_list() -> int:
        with _counted(engine) as said:
            assert visit.get("/loads").status_code == 200
        return len(said)

    for day in range(10):
        load, *_ = shop.panel_in_load(start=NOW + timedelta(days=day))
        _keep(visit, load, _waiting(visit, load, run(offset=day / 10)))
        # Its page waits for the notes, which would else be counted.
        assert visit.get(f"/loads/{load.code}").status_code == 200
    ten = queries_of_the_list()
    for day in range(10):
        shop.panel_in_load(start=NOW + timedelta(days=day))
    assert queries_of_the_list() == ten


def test_the_list_goes_on_where_it_ended(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    for day in range(32):
        shop.panel_in_load(start=NOW + timedelta(days=day), coupons=0, sensors=1)
    visit.sign_in("olek")
    first = visit.get("/loads").text
    onward = re.search(r'href="(/loads\?before=\d+)"', first)
    assert onward
    second = visit.get(onward[1]).text
    listed = [re.findall(r'href="/loads/(L-\d+)"', page) for page in (first, second)]
    assert [len(codes) for codes in listed] == [30, 2]
    assert set(listed[0]).isdisjoint(listed[1])
    assert "before=" not in second


def test_more_coupons_and_sensors_on_a_load_need_no_more_queries(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    small, *_ = shop.panel_in_load(coupons=2, sensors=2)
    large, *_ = shop.panel_in_load(coupons=6, sensors=6)
    visit.sign_in("mara")
    engine = visit.client.app.state.database.engine  # type: ignore[attr-defined]
    counts = []
    for load in (small, large):
        with _counted(engine) as said:
            assert visit.get(f"/loads/{load.code}").status_code == 200
        counts.append(len(said))
    assert counts[0] == counts[1]


def test_points_are_plain_json_without_nan(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    content = run(changed={"TC1": dict.fromkeys(range(40, 60), "")})
    _keep(visit, load, _waiting(visit, load, content))
    text = visit.get(f"/loads/{load.code}/record/points").text
    shown = json.loads(text, parse_constant=pytest.fail)
    assert None in shown["series"][0]["values"]
