"""The equipment pages, on both databases."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import event

from app.database import Database
from app.equipment import service
from tests.makers import NOW, Shop
from tests.visits import Visit, words

FOREVER = "2099-12-31"


@contextmanager
def counted(app: Any) -> Iterator[list[str]]:
    """The statements that the application sends meanwhile."""
    sent: list[str] = []

    def note(_c: Any, _k: Any, statement: str, *_rest: Any) -> None:
        sent.append(statement)

    engine = app.state.database.engine
    event.listen(engine, "before_cursor_execute", note)
    yield sent
    event.remove(engine, "before_cursor_execute", note)


def test_an_engineer_registers_a_furnace_and_its_papers(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    assert visit.get("/register/furnace").status_code == 200
    answer = visit.post(
        "/register/furnace",
        code="fn-9",
        name="Furnace nine",
        furnace_class="2",
        uniformity_c="5.0",
        instrumentation_type="d",
    )
    page = words(visit.follow(answer).text)
    assert "Furnace FN-9 is registered." in page
    assert "no paper on record" in page
    assert "No verified pyrometry procedure governs this furnace today" in page
    answer = visit.post(
        "/furnaces/FN-9/checks",
        kind="uniformity survey",
        outcome="passed",
        done_on="2020-01-02",
        due_on=FOREVER,
        report="R-9",
        bare="yes",
    )
    page = words(visit.follow(answer).text)
    assert "Entered bare" in page
    assert "You entered it, so another supervisor or engineer has to review it." in page
    page = visit.get("/furnaces/FN-9").text
    assert "the one of 2020-01-02 waits for review" in page
    assert "Tomas Brandl furnace check recorded" in words(page)
    assert 'href="/trail?identity=FN-9"' in page


def test_a_refused_furnace_keeps_what_was_typed(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post("/register/furnace", code="?", name="Left <as> typed", uniformity_c="three")
    assert answer.status_code == 422
    assert 'value="Left &lt;as&gt; typed"' in answer.text
    assert 'value="three"' in answer.text
    page = words(answer.text)
    assert "is not a number" in page
    assert "cannot be an identity" in page
    assert "Class is missing." in page


def test_a_refused_check_keeps_what_was_typed(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post(
        "/furnaces/FN-1/checks",
        kind="recorder calibration",
        outcome="failed",
        done_on="2020-01-02",
        due_on="2020-01-01",
        report="R-KEPT",
        note="note kept",
        bare="yes",
    )
    assert answer.status_code == 422
    assert "2020-01-01 is before 2020-01-02" in words(answer.text)
    assert 'value="R-KEPT"' in answer.text
    assert "note kept</textarea>" in answer.text
    assert re.search(r'value="failed" checked', answer.text)


def test_a_sensor_and_its_certificate_line_by_line(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post("/register/sensor", code="tc/9", thermocouple_type="K")
    assert answer.headers["location"] == "/sensors/TC%2F9"
    assert visit.follow(answer).status_code == 200
    bad = visit.post(
        "/sensors/TC%2F9/certificates",
        certificate="SC-9",
        done_on="2026-06-01",
        corrections="100 0.1\n150 four",
    )
    assert bad.status_code == 422
    assert "Line 2: 'four' is not a number" in words(bad.text).replace("&#39;", "'")
    assert "100 0.1\n150 four</textarea>" in bad.text
    good = visit.post(
        "/sensors/TC%2F9/certificates",
        certificate="SC-9",
        done_on="2026-06-01",
        corrections="100 -0.1\n150 +0.40",
    )
    page = words(visit.follow(good).text)
    assert "at 100: -0.1 ; at 150: +0.40" in page
    # Left empty, the last day is what the procedure comes to: six months on.
    assert "2026-12-01" in page
    assert 'href="/sensors/TC/9"' in visit.get("/sensors").text


def test_a_tester_a_block_and_where_they_meet(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post(
        "/register/block",
        code="RB-9",
        quantity="hardness",
        unit="HRB",
        certified_value="84,10",
        permitted_error="1.0",
        expires_on=FOREVER,
        certificate="C-9",
    )
    assert "84.10 HRB" in words(visit.follow(answer).text)
    answer = visit.post(
        "/register/tester",
        code="HT-9",
        name="Bench nine",
        quantity="hardness",
        unit="HRB",
        build="fixed",
        resolution="0,1",
        accuracy="0.5",
        force_n="980.7",
    )
    page = visit.follow(answer).text
    assert 'href="/blocks/RB-9"' in page
    assert "no paper on record" in page
    answer = visit.post(
        "/testers/HT-9/certificates",
        certificate="C-10",
        done_on="2020-01-01",
        due_on=FOREVER,
        expanded_uncertainty="0.80",
    )
    assert "0.80" in words(visit.follow(answer).text)


@pytest.mark.parametrize("username", ["mara", "ines", "olek", "rune"])
def test_whoever_is_no_engineer_reads_and_registers_nothing(
    database: Database, visit: Visit, username: str
) -> None:
    Shop(database)
    visit.sign_in(username)
    for thing in ("furnace", "sensor", "thermometer", "tester", "block"):
        assert visit.get(f"/register/{thing}").status_code == 403
        assert visit.post(f"/register/{thing}", code="X-1").status_code == 403
    for address in ("/furnaces/FN-1/checks", "/testers/HT-1/certificates"):
        answer = visit.post(address)
        assert answer.status_code == 403
        assert "Only an engineer may" in words(answer.text)
    for address in ("/furnaces/FN-1", "/testers/HT-1", "/blocks/RB-HT-1", "/sensors"):
        page = visit.get(address)
        assert page.status_code == 200
        assert "/register/" not in page.text


@pytest.mark.parametrize("place", ["furnaces", "sensors", "thermometers", "testers", "blocks"])
def test_an_unknown_identity_is_not_found(database: Database, visit: Visit, place: str) -> None:
    Shop(database)
    visit.sign_in("mara")
    answer = visit.get(f"/{place}/NOBODY")
    assert answer.status_code == 404
    assert "NOBODY is on record" in words(answer.text)


def test_a_paper_for_an_unknown_furnace_is_not_found(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    assert visit.post("/furnaces/NOBODY/checks", kind="x").status_code == 404


def test_the_pages_ask_for_a_sign_in(database: Database, visit: Visit) -> None:
    Shop(database)
    answer = visit.get("/furnaces/FN-1")
    assert (answer.status_code, answer.headers["location"]) == (
        303,
        "/sign-in?next=/furnaces/FN-1",
    )


def test_the_list_of_sensors_goes_on_and_asks_no_more_for_more_rows(
    database: Database, visit: Visit, app: Any
) -> None:
    shop = Shop(database)

    def add(first: int, last: int) -> None:
        for number in range(first, last):
            service.register_sensor(
                database,
                code=f"TC-{number:03d}",
                thermocouple_type="K",
                by=shop.engineer,
                at=NOW,
            )

    add(0, 10)
    visit.sign_in("tomas")
    with counted(app) as ten:
        visit.get("/sensors")
    add(10, 20)
    with counted(app) as twenty:
        visit.get("/sensors")
    assert len(ten) == len(twenty)
    add(20, 51)
    page = visit.get("/sensors").text
    assert "TC-049" in page
    assert "TC-050" not in page
    assert "TC-050" in visit.get("/sensors?after=TC-049").text
    assert 'href="/sensors?after=TC-049"' in page
