"""The pages that enter, show and review reports, and what is due, on both databases."""

import re
from typing import Any

import pytest

from app.database import Database
from app.equipment import queries
from app.equipment.records import FurnaceCheckKind
from tests.makers import Shop
from tests.visits import PASSWORD, Visit, words

PNG = b"\x89PNG\r\n\x1a\n invented"
LINES = "\n".join(
    f"{at}\tU{number}\t{(number % 3) * 8000}\t{(number // 3) * 2000}\t{at - 1}\t{at + 1},5"
    for at in (100, 200)
    for number in range(9)
)


def _enter(visit: Visit, files: Any = None, **changed: str) -> Any:
    given = {
        "kind": "uniformity survey",
        "outcome": "passed",
        "done_on": "2026-10-05",
        "report": "R-5",
        "figures": LINES,
        "zone_length_mm": "16000",
        "zone_width_mm": "4000",
        **changed,
    }
    return visit.post("/furnaces/FN-1/checks", files=files, **given)


def _link(page: str, part: str) -> str:
    found = re.search(rf'href="(/[^"]*/{part}/\d+)"', page)
    assert found, words(page)
    return found[1]


def test_a_survey_goes_from_spreadsheet_to_second_person(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    form = words(visit.get("/furnaces/FN-1/checks/new?kind=uniformity+survey").text)
    assert "every 3 months in class 1, type B" in form
    looked = _enter(visit, act="look")
    assert looked.status_code == 200
    assert "Nothing is on record yet. It would be in date until 2027-01-05" in words(looked.text)
    assert "At 100 °C the coldest station" in words(looked.text)
    assert LINES.splitlines()[0] in looked.text
    with database.read() as session:
        assert queries.waiting_reports(session) == []
    answer = _enter(visit, files={"file": ("Survey 5.png", PNG, "text/html")})
    address = answer.headers["location"]
    page = visit.follow(answer)
    said = words(page.text)
    assert "waits for review" in said
    assert "You entered it, so another supervisor or engineer has to review it." in said
    assert "Sign the review" not in said
    assert "within 3 °C of the set temperature, as class 1 asks" in said
    link = re.search(r'href="(/report-files/[0-9a-f]{64})"', page.text)
    assert link
    file = visit.get(link[1])
    assert (file.content, file.headers["content-type"]) == (PNG, "image/png")
    assert file.headers["content-disposition"] == "attachment; filename*=UTF-8''Survey%205.png"
    assert "sandbox" in file.headers["content-security-policy"]
    assert file.headers["x-content-type-options"] == "nosniff"

    visit.sign_in("ines")
    listed = visit.get("/reviews").text
    assert _link(listed, "checks") == address
    assert "Sign the review" in words(visit.get(address).text)
    refused = visit.post(f"{address}/review", answer="reject", remark="bad", password=PASSWORD)
    assert refused.status_code == 422
    assert "Say why it is rejected" in words(refused.text)
    assert PASSWORD not in refused.text
    done = visit.post(f"{address}/review", answer="accept", remark="", password=PASSWORD)
    assert "is accepted." in words(visit.follow(done).text)
    assert "None waits." in words(visit.get("/reviews").text)
    said = words(visit.get(address).text)
    assert "accepted by Ines Valcourt" in said
    again = visit.post(f"{address}/review", answer="accept", remark="", password=PASSWORD)
    assert again.status_code == 409
    assert "in date until 2027-01-05" in words(visit.get("/furnaces/FN-1").text)


def test_a_line_that_cannot_be_read_is_named_and_everything_stays_typed(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = _enter(visit, figures="150 U1 0 0 148 151\n150 U2 0 0 warm 151", note="kept words")
    assert answer.status_code == 422
    assert "Line 2: lowest: &#39;warm&#39; is not a number" in answer.text
    assert "150 U2 0 0 warm 151</textarea>" in answer.text
    assert "kept words</textarea>" in answer.text
    assert 'value="16000"' in answer.text


def test_an_entry_without_figures_says_so_or_is_refused(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    assert "Type or paste the report" in words(_enter(visit, figures="").text)
    page = visit.follow(_enter(visit, figures="", bare="yes", report="R-BARE"))
    assert "Entered bare:" in words(page.text)
    assert "passed, entered bare" in words(visit.get("/furnaces/FN-1").text)


def test_nobody_reviews_their_own_or_without_the_role(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    address = _enter(visit).headers["location"]
    own = visit.post(f"{address}/review", answer="accept", remark="", password=PASSWORD)
    assert own.status_code == 403
    assert "You entered the uniformity survey R-5 of FN-1 yourself" in words(own.text)
    for username in ("mara", "olek", "rune"):
        visit.sign_in(username)
        assert "Sign the review" not in visit.get(address).text
        answer = visit.post(f"{address}/review", answer="accept", remark="", password=PASSWORD)
        assert answer.status_code == 403


def test_a_report_shows_under_its_own_thing_only(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    with database.write() as session:
        sensor = shop.sensor(
            session, "TC-9", done_on=shop_day(), due_on=shop_day(), review=False
        ).id
    with database.read() as session:
        certificate = queries.sensor_certificates(session, [sensor])[sensor][0].id
        check = queries.furnace_checks(session, shop.furnace_id)[0].id
    visit.sign_in("ines")
    assert visit.get(f"/furnaces/FN-1/checks/{check}").status_code == 200
    assert visit.get(f"/furnaces/FN-2/checks/{check}").status_code == 404
    assert visit.get(f"/sensors/TC-9/certificates/{certificate}").status_code == 200
    assert visit.get(f"/sensors/TC-8/certificates/{certificate}").status_code == 404
    assert visit.get(f"/report-files/{'0' * 64}").status_code == 404


def shop_day() -> Any:
    """A day of the invented shop."""
    from datetime import date  # noqa: PLC0415

    return date(2026, 2, 2)


def test_a_gauge_its_certificate_and_its_review(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    assert visit.get("/register/gauge").status_code == 200
    answer = visit.post("/register/gauge", code="vg/9", name="Dial nine")
    page = words(visit.follow(answer).text)
    assert "Vacuum gauge VG/9 is registered." in page
    assert "PY-T" not in page or "every 12 months" in page
    bad = visit.post("/gauges/VG%2F9/certificates", certificate="GC-9", done_on="2026-13-01")
    assert bad.status_code == 422
    assert 'value="GC-9"' in bad.text
    good = visit.post(
        "/gauges/VG%2F9/certificates",
        certificate="GC-9",
        done_on="2026-06-01",
        largest_error_kpa="0,40",
    )
    page = visit.follow(good).text
    assert "0.40" in page
    assert "2027-06-01" in page
    address = _link(page, "certificates")
    visit.sign_in("ines")
    done = visit.post(
        f"{address}/review", answer="reject", remark="of another gauge", password=PASSWORD
    )
    assert "is rejected." in words(visit.follow(done).text)
    said = words(visit.get("/gauges/VG%2F9").text)
    assert "the one of 2026-06-01 was rejected" in said
    assert "Remark: of another gauge" in words(visit.get(address).text)


def test_a_correction_beyond_the_types_tolerance_is_noted(database: Database, visit: Visit) -> None:
    """IEC 60584-1:2013, class 2 of type T: 1 degC or 0.75 % (as quoted by makers)."""
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/sensor", code="TC-9", thermocouple_type="T")
    visit.post(
        "/sensors/TC-9/certificates",
        certificate="SC-9",
        done_on="2026-06-01",
        corrections="100 +1.0\n150 +1.2",
    )
    address = _link(visit.get("/sensors/TC-9").text, "certificates")
    said = words(visit.get(address).text)
    assert "At 150 °C the correction of +1.2 °C is larger than the 1.125 °C" in said
    assert "At 100 °C the correction" not in said


def test_a_furnace_is_qualified_and_worked_on(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    refused = visit.post(
        "/furnaces/FN-1/qualifications",
        procedure="PY-T",
        furnace_class="7",
        instrumentation_type="B",
        in_force_from="2026-06-01",
    )
    assert refused.status_code == 422
    assert "has no class 7; choose one of 1, 2" in words(refused.text)
    assert 'value="7"' in refused.text
    visit.post(
        "/furnaces/FN-1/qualifications",
        procedure="PY-T",
        furnace_class="2",
        instrumentation_type="d",
        in_force_from="2026-06-01",
    )
    visit.sign_in("mara")
    assert "Enter to what it is kept" not in visit.get("/furnaces/FN-1").text
    nothing = visit.post("/furnaces/FN-1/maintenance", happened_on="2026-06-02", note="oiled")
    assert nothing.status_code == 422
    assert "Choose the work from the list" in words(nothing.text)
    assert "oiled</textarea>" in nothing.text
    page = visit.follow(
        visit.post(
            "/furnaces/FN-1/maintenance",
            event="door seal changed",
            happened_on="2026-06-02",
            asks_for="recorder calibration",
        )
    )
    assert "uniformity survey, recorder calibration" in words(page.text)
    visit.sign_in("ines")
    address = _link(visit.get("/furnaces/FN-1").text, "qualifications")
    assert "Class 2, instrumentation type D, by PY-T" in words(visit.get(address).text)
    visit.post(f"{address}/review", answer="accept", remark="", password=PASSWORD)
    said = words(visit.get("/furnaces/FN-1").text)
    assert "±6 °C" in said


def test_the_board_and_today_say_what_is_due(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    board = words(visit.get("/equipment/due").text)
    # The invented papers ran out long before any day on which these tests run.
    assert "furnace FN-1 uniformity survey overdue since 2026-05-01" in board
    assert "0 reports wait for a second person" in board
    _enter(visit)
    assert "1 report waits for a second person" in words(visit.get("/equipment/due").text)
    assert "waits for a second person" not in words(visit.get("/").text)
    visit.sign_in("ines")
    assert "The uniformity survey R-5 of FN-1 waits for a second person." in words(
        visit.get("/").text
    )
    shop = visit.get("/shop").text
    assert 'href="/equipment/due"' in shop
    assert "Reports that wait for a second person (1)" in words(shop)


@pytest.mark.parametrize("kind", list(FurnaceCheckKind))
def test_the_checks_of_the_maker_show_their_figures(
    database: Database, visit: Visit, kind: FurnaceCheckKind
) -> None:
    shop = Shop(database)
    with database.read() as session:
        found = queries.furnace_checks(session, shop.furnace_id)
        key = next(one.id for one in found if one.kind is kind)
    visit.sign_in("olek")
    said = words(visit.get(f"/furnaces/FN-1/checks/{key}").text)
    assert "What its figures show" in said
    assert "Working" in said
