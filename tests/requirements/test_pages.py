"""The pages of acceptance tables and cycles, on both databases."""

import json
import re
from typing import Any

import pytest

from app.database import Database
from app.documents.table import load_table
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from tests.equipment.test_pages import counted
from tests.makers import CYCLE_PAPER, TABLE_PAPER, Shop
from tests.requirements.papers import keyed
from tests.visits import PASSWORD, Visit, words

TABLE = Named(RequirementKind.ACCEPTANCE_TABLE, "AT-1", "B")
TABLE_B = json.dumps({**TABLE_PAPER, "revision": "B"}, indent=1)
CYCLE_FIELDS = {
    "code": "CY-9",
    "revision": "A",
    "source_document": "invented document 3",
    "sensors_per_panel": "8",
    "coupons_per_panel": "3",
    "leak_limit_kpa": "2.0",
    "leak_minutes": "5",
}
ENTRY_FIELDS = {
    "code": "AT-9",
    "name": "One entry",
    "revision": "A",
    "source_document": "invented document 4",
    "source": "table 2",
    "obtained": "invented",
    "alloy": "Q-77",
    "temper": "K1",
    "product_form": "plate",
    "thickness_from": "6.0",
    "thickness_to": "12,5",
    "readings_min": "3",
    "hardness_scale": "HRB",
    "hardness_min": "83.0",
    "conductivity_unit": "%IACS",
    "conductivity_min": "38.0",
    "conductivity_max": "42.0",
}


def _text(answer: Any) -> str:
    return words(answer.text).replace("&#39;", "'").replace("&#34;", '"')


def _anchors(html: str) -> list[str]:
    return re.findall(r'name="compared" value="([^"]+)"', html)


def test_a_table_is_written_verified_by_a_second_person_and_then_in_force(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    visit.sign_in("tomas")
    assert visit.get("/register/table?code=AT-1").status_code == 200
    answer = visit.post(
        "/register/table", code="AT-1", source_document="invented document 2", paper=TABLE_B
    )
    assert answer.headers["location"] == "/tables/AT-1?revision=B"
    page = visit.follow(answer)
    assert "AT-1 revision B is on record." in _text(page)
    assert "Nothing may be judged by this revision" in _text(page)
    assert 'name="compared"' not in page.text
    keyed(database, TABLE, shop.second)
    visit.sign_in("ines")
    page = visit.get("/tables/AT-1?revision=B")
    answer = visit.post(
        "/tables/AT-1/verify", revision="B", compared=_anchors(page.text), password=PASSWORD
    )
    page = visit.follow(answer)
    assert "You have verified AT-1 revision B." in _text(page)
    assert "Entries of revision B" in _text(page)
    assert "Verified by Ines Valcourt" in _text(page)
    assert 'id="entry-1"' in page.text
    assert "invented: fit for no real use" in _text(page)
    assert 'href="/tables/AT-1?revision=A"' in page.text


def test_a_file_is_taken_and_when_refused_its_text_can_be_corrected_on_the_page(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    fields = {"code": "AT-1", "source_document": "as typed"}
    wrong = TABLE_B.replace('"83.0"', '"eighty"').encode()
    refused = visit.post("/register/table", files={"file": ("new.json", wrong)}, **fields)
    assert refused.status_code == 422
    assert "new.json: entries[0].criteria[0].min: expected a number" in _text(refused)
    assert "&#34;eighty&#34;" in refused.text
    assert 'value="as typed"' in refused.text
    good = visit.post("/register/table", files={"file": ("new.json", TABLE_B.encode())}, **fields)
    assert good.status_code == 303


@pytest.mark.parametrize(
    ("fields", "files", "says"),
    [
        ({}, None, "The paper is missing"),
        ({"paper": TABLE_B}, {"file": ("a.json", b"{}")}, "send one of the two"),
        ({}, {"file": ("a.json", b"\x00\xff\x00")}, "a.json: it is not UTF-8 text"),
        ({}, {"file": ("a.json", b"[" * 100_000)}, "a.json"),
        ({}, {"file": ("a.json", b" " * 5_000_001)}, "a.json: it is larger than"),
    ],
)
def test_a_paper_that_is_none_is_refused_in_one_sentence(
    database: Database, visit: Visit, fields: dict[str, str], files: Any, says: str
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post(
        "/register/table", files=files, code="AT-1", source_document="kept", **fields
    )
    assert answer.status_code == 422
    assert says in _text(answer)
    assert 'value="kept"' in answer.text


def test_a_cycle_is_written_and_its_page_says_it_in_words(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post("/register/cycle", paper=json.dumps(CYCLE_PAPER), **CYCLE_FIELDS)
    page = _text(visit.follow(answer))
    assert "Band 147 to 153 °C, both included" in page
    assert "Load sensors at least 8" in page
    assert "draft, not keyed again yet" in page


def test_a_refused_cycle_keeps_paper_and_fields(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    paper = json.dumps({**CYCLE_PAPER, "sensors": ["TC1"]})
    answer = visit.post("/register/cycle", paper=paper, **CYCLE_FIELDS)
    assert answer.status_code == 422
    assert "typed paper: sensors: they belong to each load" in _text(answer)
    assert "&#34;TC1&#34;" in answer.text
    assert 'value="invented document 3"' in answer.text
    again = visit.post(
        "/register/cycle", paper=json.dumps(CYCLE_PAPER), **{**CYCLE_FIELDS, "code": "CY-1"}
    )
    assert again.status_code == 409
    assert "CY-1 has a revision A already" in _text(again)


def test_a_table_of_one_entry_is_filled_in_by_hand(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    page = _text(visit.follow(visit.post("/register/table-entry", **ENTRY_FIELDS)))
    assert "at least 83.0 HRB" in page
    assert "38.0 to 42.0 %IACS, both included" in page
    assert "from 6.0 to 12.5 mm" in page


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"hardness_min": ""}, "HRB is chosen, but no hardness limit is given"),
        ({"hardness_scale": ""}, "The hardness limit has no scale"),
        ({"conductivity_min": "43"}, "is above max"),
        ({"thickness_from": "13"}, "no thickness lies"),
        ({"readings_min": "0"}, "Least number of readings"),
        ({"alloy": ""}, "Alloy is missing."),
        (
            {
                "hardness_scale": "",
                "hardness_min": "",
                "conductivity_unit": "",
                "conductivity_min": "",
                "conductivity_max": "",
            },
            "criteria: there are none",
        ),
    ],
)
def test_an_entry_that_cannot_judge_is_refused_and_kept_as_typed(
    database: Database, visit: Visit, changed: dict[str, str], says: str
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post("/register/table-entry", **{**ENTRY_FIELDS, **changed})
    assert answer.status_code == 422
    assert says in _text(answer)
    assert 'value="One entry"' in answer.text
    assert 'value="12,5"' in answer.text


def test_a_refused_verification_keeps_the_ticks_and_forgets_the_password(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/cycle", paper=json.dumps(CYCLE_PAPER), **CYCLE_FIELDS)
    keyed(database, Named(RequirementKind.CYCLE, "CY-9", "A"), shop.second)
    visit.sign_in("ines")
    answer = visit.post(
        "/cycles/CY-9/verify",
        revision="A",
        compared=["stage-1", "vacuum"],
        in_force_from="tomorrow",
        password=PASSWORD,
    )
    assert answer.status_code == 422
    assert "'tomorrow' is not a time" in _text(answer)
    assert 'value="tomorrow"' in answer.text
    assert 'value="vacuum" checked' in answer.text
    assert 'value="record" checked' not in answer.text
    assert PASSWORD not in answer.text
    answer = visit.post(
        "/cycles/CY-9/verify", revision="A", compared=["stage-1"], password=PASSWORD
    )
    assert "Not ticked as compared with the source: The record, Excursions" in _text(answer)
    wrong = visit.post(
        "/cycles/CY-9/verify",
        revision="A",
        compared=_anchors(answer.text),
        password="not this one at all",
    )
    assert "The signature was not made" in _text(wrong)


def test_whoever_wrote_a_revision_is_told_that_somebody_else_verifies_it(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/table", code="AT-1", source_document="d", paper=TABLE_B)
    page = visit.get("/tables/AT-1?revision=B")
    assert "You wrote it, so somebody else has to." in _text(page)
    answer = visit.post("/tables/AT-1/verify", revision="B", compared="entry-1", password=PASSWORD)
    assert answer.status_code == 403


def test_a_revision_verified_meanwhile_is_said_to_the_second_one(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("ines")
    answer = visit.post("/tables/AT-1/verify", revision="A", compared="entry-1", password=PASSWORD)
    assert answer.status_code == 409
    assert "Ines Valcourt has verified AT-1 revision A already." in _text(answer)


def test_a_withdrawal_asks_for_its_reason_and_shows_on_the_page(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    short = visit.post("/cycles/CY-1/withdraw", revision="A", reason="no")
    assert short.status_code == 422
    assert "no</textarea>" in short.text
    done = visit.post("/cycles/CY-1/withdraw", revision="A", reason="replaced by another cycle")
    page = _text(visit.follow(done))
    assert "No new load may use this revision." in page
    assert "revision A: replaced by another cycle" in page


@pytest.mark.parametrize("username", ["mara", "olek", "rune"])
def test_whoever_neither_writes_nor_verifies_only_reads(
    database: Database, visit: Visit, username: str
) -> None:
    Shop(database)
    visit.sign_in(username)
    for thing in ("table", "table-entry", "cycle"):
        assert visit.get(f"/register/{thing}").status_code == 403
        assert visit.post(f"/register/{thing}", code="X-1").status_code == 403
    for address in ("/tables/AT-1", "/cycles/CY-1"):
        for act in ("verify", "withdraw"):
            assert visit.post(f"{address}/{act}", revision="A").status_code == 403
        page = visit.get(address)
        assert page.status_code == 200
        assert "<form" not in page.text.split('<main class="sheet"')[1]


@pytest.mark.parametrize(
    "address",
    [
        "/tables/NOBODY",
        "/cycles/NOBODY",
        "/tables/CY-1",
        "/tables/AT-1?revision=Z",
        "/cycles/CY-1/paper?revision=Z",
    ],
)
def test_what_is_not_on_record_is_not_found(database: Database, visit: Visit, address: str) -> None:
    Shop(database)
    visit.sign_in("mara")
    assert visit.get(address).status_code == 404


def test_a_revisions_paper_can_be_taken_away_and_judges_the_same(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("olek")
    answer = visit.get("/tables/AT-1/paper?revision=A")
    assert "AT-1-A.json" in answer.headers["content-disposition"]
    assert load_table(answer.content) == load_table(json.dumps(TABLE_PAPER))


def test_more_revisions_need_no_more_queries(database: Database, visit: Visit, app: Any) -> None:
    Shop(database)
    visit.sign_in("tomas")

    def write(first: int, last: int) -> None:
        for number in range(first, last):
            paper = json.dumps({**TABLE_PAPER, "revision": f"R{number}"})
            visit.post("/register/table", code="AT-1", source_document="d", paper=paper)

    write(0, 2)
    with counted(app) as few:
        visit.get("/tables/AT-1")
    write(2, 6)
    with counted(app) as more:
        visit.get("/tables/AT-1")
    assert len(few) == len(more)
