"""The pages of procedures and mappings, on both databases."""

import io
import json
import re
from datetime import datetime
from typing import Any

import pytest
import xlsxwriter

from app.database import Database
from app.documents.logger.logger_mapping import load_mapping
from app.documents.pyrometry import load_procedure
from app.requirements.forms.mapping import typed_mapping
from app.requirements.forms.procedure_again import typed_procedure
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from tests.equipment.test_pages import counted
from tests.makers import Shop
from tests.requirements.papers import EXPORT, PROCEDURE, keyed_if_asked, mapping, procedure
from tests.visits import PASSWORD, Visit, words

DOCUMENT = "invented document 7"
FILE = {"sample": ("export.csv", EXPORT)}


def _text(answer: Any) -> str:
    return words(answer.text).replace("&#39;", "'").replace("&#34;", '"')


def _procedure_fields(**changed: str) -> dict[str, str]:
    fields = typed_procedure("PY-9", DOCUMENT, json.loads(procedure()))
    return {**fields, "revision": "A", "act": "write", **changed}


def _mapping_fields(**changed: str) -> dict[str, str]:
    paper = load_mapping(mapping(), filename="m").model_dump(mode="json")
    fields = typed_mapping("LM-9", DOCUMENT, paper)
    return {**fields, "revision": "A", "act": "write", **changed}


def _anchors(html: str) -> list[str]:
    return re.findall(r'name="compared" value="([^"]+)"', html)


def _sheet() -> bytes:
    kept = io.BytesIO()
    with xlsxwriter.Workbook(kept) as book:
        sheet = book.add_worksheet()
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        sheet.write_row(0, 0, ["Moment", "Left", "Right", "Bag"])
        for row, second in ((1, 0), (2, 10)):
            sheet.write_datetime(row, 0, datetime(2026, 4, 3, 8, 0, second), moment)  # noqa: DTZ001
            sheet.write_number(row, 1, 20.3)
            sheet.write_number(row, 3, 80.1)
    return kept.getvalue()


def _hidden(html: str, name: str) -> list[str]:
    return re.findall(rf'name="{name}" value="([^"]+)"', html)


def test_a_procedure_filled_in_by_hand_is_the_paper_it_says(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    assert visit.get("/register/procedure").status_code == 200
    looked = visit.post("/register/procedure", **_procedure_fields(act="look"))
    assert looked.status_code == 200
    assert "So the procedure reads; nothing is on record yet" in _text(looked)
    assert visit.get("/procedures/PY-9").status_code == 404
    page = visit.follow(visit.post("/register/procedure", **_procedure_fields()))
    assert "No furnace is governed by this revision until another person" in _text(page)
    taken = visit.get("/procedures/PY-9/paper?revision=A")
    assert load_procedure(taken.content) == load_procedure(procedure())


def test_a_further_revision_begins_with_the_last_one_and_says_what_it_changes(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/procedure", **_procedure_fields())
    form = visit.get("/register/procedure?code=py-9")
    assert 'name="interval_count_3" type="text" value="90"' in form.text
    assert 'name="revision" type="text" value=""' in form.text
    fields = _procedure_fields(
        revision="B", interval_count_3="60", work_name_2="", work_source_2=""
    )
    page = visit.follow(visit.post("/register/procedure", **fields))
    text = _text(page)
    assert "What revision B changes" in text
    assert "Interval 3: recorder calibration, any, D every, how many 90 60 changed" in text
    assert "painted outside all of it work: painted outside" in text
    assert "What revision A changes" not in _text(visit.get("/procedures/PY-9?revision=A"))


def test_more_rows_keep_what_was_typed(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    fields = _procedure_fields(act="more interval", name="Half a name")
    page = visit.post("/register/procedure", **fields)
    assert 'name="interval_check_10"' in page.text
    assert 'name="interval_check_11"' not in page.text
    assert 'value="Half a name"' in page.text
    page = visit.post("/register/mapping", **_mapping_fields(act="more channel"))
    assert 'name="channel_11"' in page.text
    assert 'value="Right"' in page.text


@pytest.mark.parametrize(
    ("changed", "says", "field"),
    [
        ({"class_uniformity_2": "six"}, "Furnace classes, row 2: Uniformity: 'six'", None),
        ({"class_name_1": ""}, "Furnace classes, row 1: its first field is empty", None),
        ({"types": "B"}, "type 'D' is not among instrumentation_types", "interval_check_3"),
        ({"class_uniformity_1": "0"}, "Furnace classes, row 1: expected more", None),
        (
            {"interval_class_1": "7"},
            "Intervals, row 1: class '7' is not among",
            "interval_check_1",
        ),
        (
            {"interval_check_3": "uniformity survey", "interval_type_3": ""},
            "and intervals, row 3 (",
            "interval_check_1",
        ),
        ({"recorder_class_2": "1"}, "Recorder has two rows for class 1", "form"),
        ({"early_warning_days": "soon"}, "Early warning: 'soon' is not a whole number", None),
        ({"revision": ""}, "Revision is missing.", None),
        ({"life_count": "-1"}, "Longest time in use", None),
        ({"zone_up_to_2": "3"}, "give the areas in rising order", "zone_least_1"),
    ],
)
def test_a_procedure_that_cannot_stand_is_refused_beside_its_field_and_kept(
    database: Database, visit: Visit, changed: dict[str, str], says: str, field: str | None
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post("/register/procedure", **_procedure_fields(**changed))
    assert answer.status_code == 422
    assert says in _text(answer)
    assert f'value="{PROCEDURE["name"]}"' in answer.text
    beside = field or next(iter(changed))
    if beside != "form":
        assert f'id="f-{beside}-problem"' in answer.text or f'href="#f-{beside}"' in answer.text
    for name, typed in changed.items():
        assert not typed or f'value="{typed}"' in answer.text, name


@pytest.mark.parametrize(
    ("changed", "says", "field"),
    [
        ({"zone": "Mars/Olympus"}, "there is no zone Mars/Olympus", "zone"),
        ({"zone": ""}, "zone is missing", "zone"),
        ({"elapsed_unit": "", "time_kind": "elapsed"}, "elapsed_unit is missing", "elapsed_unit"),
        ({"channel_2": "TC1"}, "Channels names TC1 twice", "form"),
        ({"column_2": ""}, "Temperature channels, row 2: Column is missing.", "column_2"),
        ({"header": "row"}, "Which row is the header is missing", "header_row"),
        ({"footer": "marker"}, "begins with is missing", "footer_marker"),
        ({"vacuum_unit": ""}, "Vacuum unit is missing", "vacuum_unit"),
        ({"encoding": ""}, "Encoding and delimiter are both needed", "form"),
        ({"date_mark": ""}, "date_mark is missing", "date_mark"),
        ({"ambient_kpa": "a lot"}, "'a lot' is not a number", "ambient_kpa"),
        ({"kind": "xlsx", "time_kind": "date cell", "zone": "in the file"}, "carry none", "zone"),
    ],
)
def test_a_mapping_that_leaves_something_open_is_refused_and_kept(
    database: Database, visit: Visit, changed: dict[str, str], says: str, field: str
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    answer = visit.post("/register/mapping", **_mapping_fields(**changed))
    assert answer.status_code == 422
    assert says in _text(answer)
    assert 'value="Invented logger"' in answer.text
    if field != "form":
        assert f'href="#f-{field}"' in answer.text
        assert f'id="f-{field}"' in answer.text


def test_a_mapping_filled_in_by_hand_is_the_paper_it_says(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("rune")
    assert visit.get("/register/mapping").status_code == 200
    looked = visit.post("/register/mapping", **_mapping_fields(act="look"))
    assert "So the mapping reads; nothing is on record yet" in _text(looked)
    page = visit.follow(visit.post("/register/mapping", **_mapping_fields()))
    assert "No record is read by this revision until a supervisor who did not write it" in _text(
        page
    )
    assert "day-month-year with '.' between, 24 h clock" in _text(page)
    taken = visit.get("/mappings/LM-9/paper?revision=A").content
    assert load_mapping(taken, filename="m") == load_mapping(mapping(), filename="m")


def test_a_stated_layout_fills_in_the_form(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    page = visit.client.get("/register/mapping", params={"paper": mapping()})
    assert page.status_code == 200
    assert 'name="column_2" type="text" value="Right"' in page.text
    refused = visit.client.get("/register/mapping", params={"paper": "[]"})
    assert refused.status_code == 422
    assert "expected an object in braces" in _text(refused)


def test_a_mapping_is_tried_compared_and_verified_by_a_second_person(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/mapping", **_mapping_fields())
    visit.sign_in("ines")
    page = visit.get("/mappings/LM-9")
    assert "Try it on an export first" in _text(page)
    assert _anchors(page.text) == []
    tried = visit.post("/mappings/LM-9/try", files=FILE, revision="A")
    text = _text(tried)
    assert tried.status_code == 200
    assert "This mapping reads 3 rows over 20 s." in text
    assert "2026-04-03 08:00:10+01:00 20.3 missing 80.1" in text
    assert "03.04.2026;08:00:10;20,3;;80,1" in text
    assert "the rows as read agree with the rows as written" in text
    sent = {
        "revision": "A",
        "sample_name": _hidden(tried.text, "sample_name"),
        "sample_sha256": _hidden(tried.text, "sample_sha256"),
        "password": PASSWORD,
    }
    anchors = _anchors(tried.text)
    without = visit.post(
        "/mappings/LM-9/verify", **sent, compared=[one for one in anchors if one != "sample"]
    )
    assert "Not ticked as compared with the source: The rows of the export" in _text(without)
    assert _hidden(without.text, "sample_sha256") == sent["sample_sha256"]
    page = visit.follow(visit.post("/mappings/LM-9/verify", **sent, compared=anchors))
    assert "You have verified LM-9 revision A." in _text(page)
    assert "Tried before it was verified on export.csv" in _text(page)


def test_a_spreadsheet_is_shown_as_written_beside_what_is_read(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    paper = mapping(
        kind="xlsx",
        encoding=None,
        delimiter=None,
        decimal_mark="point",
        unit_row=False,
        time={"columns": ["Moment"], "kind": "date cell", "zone": "UTC"},
    )
    given = {"code": "LM-9", "revision": "A", "source_document": DOCUMENT, "paper": paper}
    assert visit.post("/register/mapping-paper", **given).status_code == 303
    tried = visit.post("/mappings/LM-9/try", files={"sample": ("run.xlsx", _sheet())}, revision="A")
    assert "Moment | Left | Right | Bag" in tried.text
    assert "2026-04-03 08:00:10 | 20.3 |  | 80.1" in tried.text
    assert "This mapping reads 2 rows over 10 s." in _text(tried)
    assert "2026-04-03 09:00:10+01:00 20.3 missing 80.1" in _text(tried)
    broken = visit.post("/mappings/LM-9/try", files={"sample": ("run.xlsx", b"PK")}, revision="A")
    assert broken.status_code == 200
    assert 'role="alert"' in broken.text


def test_an_export_that_cannot_be_read_so_is_refused_with_its_row(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/mapping", **_mapping_fields())
    wrong = EXPORT.replace(b"20,3", b"warm")
    tried = visit.post("/mappings/LM-9/try", files={"sample": ("a.csv", wrong)}, revision="A")
    assert "a.csv, row 5" in _text(tried)
    assert "This mapping reads" not in _text(tried)
    assert "03.04.2026;08:00:10;warm" in tried.text
    visit.sign_in("ines")
    tried = visit.post("/mappings/LM-9/try", files={"sample": ("a.csv", wrong)}, revision="A")
    assert _anchors(tried.text) == []
    none = visit.post("/mappings/LM-9/try", revision="A")
    assert none.status_code == 422
    assert "No export was chosen" in _text(none)


@pytest.mark.parametrize(("kind", "paper"), [("procedure", procedure()), ("mapping", mapping())])
def test_either_is_taken_as_its_json_paper(
    database: Database, visit: Visit, kind: str, paper: str
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    address = f"/register/{kind}-paper"
    assert visit.get(f"{address}?code=XX-9").status_code == 200
    fields = {"code": "XX-9", "revision": "A", "source_document": "as typed"}
    wrong = paper.replace('"name"', '"title"', 1).encode()
    refused = visit.post(address, files={"file": ("x.json", wrong)}, **fields)
    assert refused.status_code == 422
    assert "x.json: name: is missing" in _text(refused)
    assert "&#34;title&#34;" in refused.text
    assert (
        visit.post(address, files={"file": ("x.json", paper.encode())}, **fields).status_code == 303
    )


def test_a_procedures_page_shows_tables_with_the_source_of_every_value(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/procedure", **_procedure_fields())
    page = visit.get("/procedures/py-9")
    text = _text(page)
    assert "uniformity survey 1 B 3 months invented document 7, clause 2 invented: fit for" in text
    assert "recorder calibration any D 90 days invented document 8 common practice" in text
    assert "nobody yet" in text
    assert "{" not in page.text.split('<main class="sheet"')[1].split("</main>")[0]
    keyed_if_asked(database, Named(RequirementKind.PYROMETRY_PROCEDURE, "PY-9", "A"))
    visit.sign_in("ines")
    page = visit.get("/procedures/PY-9")
    answer = visit.post(
        "/procedures/PY-9/verify", revision="A", compared=_anchors(page.text), password=PASSWORD
    )
    assert "You have verified PY-9 revision A." in _text(visit.follow(answer))


@pytest.mark.parametrize("username", ["mara", "olek", "ines"])
@pytest.mark.parametrize("kind", ["procedure", "mapping"])
def test_whoever_may_not_write_is_refused(
    database: Database, visit: Visit, username: str, kind: str
) -> None:
    Shop(database)
    visit.sign_in(username)
    for address in (f"/register/{kind}", f"/register/{kind}-paper"):
        assert visit.get(address).status_code == 403
        assert visit.post(address, code="XX-1").status_code == 403


def test_the_shop_and_find_lead_to_them(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("tomas")
    visit.post("/register/procedure", **_procedure_fields())
    visit.post("/register/mapping", **_mapping_fields())
    shop = visit.get("/shop").text
    assert 'href="/procedures/PY-9"' in shop
    assert 'href="/mappings/LM-9"' in shop
    assert visit.get("/find?q=py-9").headers["location"] == "/procedures/PY-9"
    assert visit.get("/find?q=lm-9").headers["location"] == "/mappings/LM-9"
    visit.sign_in("ines")
    today = _text(visit.get("/"))
    assert "Pyrometry procedure PY-9 revision A by Tomas Brandl: key its values a second" in today
    assert "Logger mapping LM-9 revision A by Tomas Brandl waits" in today


def test_more_revisions_need_no_more_queries(database: Database, visit: Visit, app: Any) -> None:
    Shop(database)
    visit.sign_in("tomas")

    def write(first: int, last: int) -> None:
        for number in range(first, last):
            visit.post("/register/mapping", **_mapping_fields(revision=f"R{number}"))

    write(0, 2)
    with counted(app) as few:
        visit.get("/mappings/LM-9")
    write(2, 6)
    with counted(app) as more:
        visit.get("/mappings/LM-9")
    assert len(few) == len(more)
