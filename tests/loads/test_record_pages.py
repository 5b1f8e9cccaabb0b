"""Bringing a record in over HTTP: mappings offered, layouts stated by hand, a second person."""

import json
import re
from urllib.parse import parse_qs, urlsplit

from app.database import Database
from app.loads import queries
from app.loads.records import Load
from tests.loads.logger_files import run
from tests.loads.test_record_reading import PAPER, approved, export, sheet
from tests.makers import Shop
from tests.speed.serving import form_of
from tests.visits import PASSWORD, Visit, words


def _look(visit: Visit, load: Load, *files: tuple[str, bytes]) -> str:
    """The preview of files as the page shows it."""
    sent = visit.post(
        f"/loads/{load.code}/record",
        files=[("file", (name, content, "text/csv")) for name, content in files],
    )
    page = visit.follow(sent)
    assert page.status_code == 200, words(page.text)
    text: str = page.text
    return text


def _form(text: str, load: Load) -> dict[str, str]:
    return form_of(text, f"/loads/{load.code}/record/keep")


def _send(visit: Visit, load: Load, form: dict[str, str], **changed: str) -> object:
    return visit.post(f"/loads/{load.code}/record/keep", **(form | changed))


def test_the_mapping_that_reads_the_file_is_offered_first_and_keeps_it(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    approved(shop, {**PAPER, "delimiter": "tab"}, "LM-0")
    approved(shop)
    visit.sign_in("mara")
    text = _look(visit, load, ("hall.csv", export()))
    shown = words(text)
    assert "LM-1 revision A" in shown
    assert "It reads these files." in shown
    assert shown.index("LM-1 revision A") < shown.index("LM-0 revision A")
    form = _form(text, load)
    assert form["by"] == "LM-1"
    # The hall's clock is an hour ahead of UTC, which is this shop's.
    assert "2026-03-02 06:00:00+00:00" in shown
    page = visit.follow(_send(visit, load, form))
    assert "it conforms" in words(page.text)
    assert "Read by the approved mapping LM-1 revision A" in words(page.text)


def test_the_mapping_last_used_for_the_furnace_is_taken_where_it_fits(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    first, *_ = shop.panel_in_load()
    second, *_ = shop.panel_in_load()
    approved(shop, PAPER, "LM-1")
    approved(shop, PAPER, "LM-2")
    visit.sign_in("mara")
    text = _look(visit, first, ("hall.csv", export()))
    visit.follow(_send(visit, first, _form(text, first), by="LM-2"))
    text = _look(visit, second, ("other.csv", export(slice(0, 270))))
    assert _form(text, second)["by"] == "LM-2"
    assert "used last for this furnace" in words(text)


def test_two_files_are_looked_at_and_kept_together(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    approved(shop)
    visit.sign_in("mara")
    halves = ("one.csv", export(slice(0, 140))), ("two.csv", export(slice(140, None)))
    text = _look(visit, load, *halves)
    tokens = re.findall(r'name="upload" value="([^"]+)"', text)
    assert len(tokens) == 2
    form = _form(text, load)
    answer = visit.client.post(
        f"/loads/{load.code}/record/keep",
        data={**form, "csrf": visit.csrf(), "upload": tokens},
    )
    page = visit.follow(answer)
    assert "Read together with two.csv" in words(page.text)
    digest = re.search(r"record/original\?sha256=([0-9a-f]{64})", page.text)
    assert digest
    original = visit.get(f"/loads/{load.code}/record/original?sha256={digest[1]}")
    assert original.content == halves[1][1]


def test_a_layout_is_looked_at_before_it_is_kept_and_stays_typed(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    text = _look(visit, load, ("hall.csv", export()))
    form = _form(text, load)
    assert form["by"] == "hand"
    assert form["delimiter"] == "semicolon"
    assert form["decimal_mark"] == "comma"
    chosen = {
        "column:TC1": "K 1",
        "column:TC2": "K 2",
        "column:VAC": "P",
        "vacuum_unit": "mbar",
        "vacuum_sense": "gauge",
        "order": "day-month-year",
        "zone": "+01:00",
    }
    looked = _send(visit, load, form, act="look", **chosen)
    assert looked.status_code == 200
    assert "2026-03-02 06:00:00+00:00" in words(looked.text), words(looked.text)
    again = _form(looked.text, load)
    assert {name: again[name] for name in chosen} == chosen
    with database.read() as session:
        assert queries.current_record(session, load.id) is None
    page = visit.follow(_send(visit, load, again))
    assert "The layout was stated by hand and the file does not bear it out" in words(page.text)


def test_a_layout_stated_by_hand_becomes_a_mapping_to_be_written(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    visit.sign_in("tomas")
    form = _form(_look(visit, load, ("run.csv", run())), load)
    answer = _send(visit, load, form, act="mapping")
    address = urlsplit(answer.headers["location"])
    assert address.path == "/register/mapping"
    paper = json.loads(parse_qs(address.query)["paper"][0])
    assert [part["channel"] for part in paper["channels"]] == ["TC1", "TC2"]
    page = visit.get(answer.headers["location"])
    assert page.status_code == 200
    assert 'value="TC2"' in page.text


def test_a_spreadsheet_is_looked_at_and_kept_as_it_seems_to_be(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    text = _look(visit, load, ("run.xlsx", sheet()))
    form = _form(text, load)
    assert form["kind"] == "xlsx"
    assert form["time_kind"] == "date cell"
    page = visit.follow(_send(visit, load, form))
    assert "it conforms" in words(page.text)


def test_a_second_person_compares_the_columns_and_signs(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    text = _look(visit, load, ("run.csv", run(sensors=("A", "B"))))
    _send(visit, load, _form(text, load), **{"column:TC1": "A", "column:TC2": "B"})
    layout = f"/loads/{load.code}/record/layout"
    own = visit.get(layout)
    assert "You brought this record in" in words(own.text)
    assert 'name="password"' not in own.text
    visit.sign_in("ines")
    page = visit.get(layout)
    assert "TC1 is read from column A" in words(page.text)
    assert "time,A,B,VAC" in page.text
    number = re.search(r'name="record" value="(\d+)"', page.text)
    assert number
    wrong = visit.post(layout, record=number[1], password="wrong")
    assert wrong.status_code == 422
    done = visit.follow(visit.post(layout, record=number[1], password=PASSWORD))
    assert "Ines Valcourt compared it with the file" in words(done.text)


def test_a_reason_typed_stays_where_a_mapping_is_not_in_force(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    visit.sign_in("mara")
    visit.follow(_send(visit, load, _form(_look(visit, load, ("a.csv", run())), load)))
    form = _form(_look(visit, load, ("b.csv", run(offset=0.1))), load)
    answer = _send(visit, load, form, by="LM-9", reason="the clock was wrong")
    assert answer.status_code == 422
    assert "The mapping LM-9 is not in force" in words(answer.text)
    assert "the clock was wrong" in answer.text
