"""Exports that cannot be taken, over HTTP: spreadsheets that bite, too many files, two at once."""

import io
import threading
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
import xlsxwriter

from app.database import Database
from app.loads.records import FurnaceRecord, StoredFile
from app.main import create_app
from app.settings import Settings
from tests.loads.logger_files import run
from tests.loads.test_record_reading import PAPER, approved, export, sheet
from tests.makers import Shop
from tests.robustness.whole_record import contents, moved
from tests.speed.serving import form_of
from tests.visits import Visit, words


@pytest.fixture
def uploads(tmp_path: Path) -> Path:
    return tmp_path / "uploads"


@pytest.fixture
def visit(uploads: Path, database_url: str, database: Database) -> Iterator[Visit]:
    with Visit(create_app(Settings(database_url=database_url, upload_folder=uploads))) as opened:
        yield opened


def _repacked(name: str, content: bytes) -> bytes:
    """The good spreadsheet with one part added or replaced."""
    kept = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(sheet())) as good,
        zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as package,
    ):
        for each in good.namelist():
            if each != name:
                package.writestr(each, good.read(each))
        package.writestr(name, content)
    return kept.getvalue()


def _with_formula() -> bytes:
    kept = io.BytesIO()
    book = xlsxwriter.Workbook(kept, {"in_memory": True})
    page = book.add_worksheet("Run")
    page.write_row(0, 0, ["time_s", "TC1", "TC2", "VAC"])
    for row in range(1, 80):
        page.write_row(row, 0, [row * 60.0, 150.0, 150.0, 88.0])
    page.write_formula(40, 1, "=B40+1", value=151.0)
    book.close()
    return kept.getvalue()


def _with_entity() -> bytes:
    nested = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    return _repacked(
        "xl/worksheets/sheet1.xml",
        (
            f'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a0 "lol">{nested}]>'
            "<worksheet><sheetData><row><c><v>&a9;</v></c></row></sheetData></worksheet>"
        ).encode(),
    )


BITING = {
    "macro": lambda: _repacked("xl/vbaProject.bin", b"\0" * 200),
    "bomb": lambda: _repacked("xl/worksheets/sheet1.xml", b"0" * 400_000_000),
    "formula": _with_formula,
    "entities": _with_entity,
}


@pytest.mark.parametrize("kind", BITING)
def test_a_spreadsheet_that_bites_is_refused_in_one_sentence(
    database: Database, visit: Visit, uploads: Path, kind: str
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    before = contents(database)
    record = f"/loads/{load.code}/record"
    sent = visit.post(record, files={"file": ("run.xlsx", BITING[kind](), "application/zip")})
    if sent.status_code == 303:
        sent = visit.post(f"{record}/keep", **form_of(visit.follow(sent).text, f"{record}/keep"))
    assert sent.status_code == 422, kind
    assert "run.xlsx" in words(sent.text)
    assert moved(before, contents(database)) == []


def test_ten_files_are_taken_and_an_eleventh_refuses_them_all(
    database: Database, visit: Visit, uploads: Path
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    approved(shop, {**PAPER, "sort": True})
    visit.sign_in("mara")
    record = f"/loads/{load.code}/record"
    pieces = [
        ("file", (f"{number:02}.csv", export(slice(number * 25, number * 25 + 25)), "text/csv"))
        for number in range(11)
    ]
    refused = visit.post(record, files=pieces)
    assert refused.status_code == 422
    assert "At most 10 files of one run are taken" in words(refused.text)
    assert not uploads.exists() or list(uploads.iterdir()) == []
    pieces[9] = ("file", ("09.csv", export(slice(225, None)), "text/csv"))
    preview = visit.follow(visit.post(record, files=pieces[:10]))
    form = form_of(preview.text, f"{record}/keep")
    tokens = [piece.split('"')[0] for piece in preview.text.split('name="upload" value="')[1:]]
    kept = visit.client.post(
        f"{record}/keep", data={**form, "csrf": visit.csrf(), "upload": tokens}
    )
    assert kept.status_code == 303, words(kept.text)
    with database.read() as session:
        assert session.query(StoredFile).count() == 10
        assert session.query(FurnaceRecord).one().samples == 271
    assert list(uploads.iterdir()) == [], "what is kept waits no more"


def test_two_people_keep_a_record_at_once_and_one_of_them_is_told(
    database: Database, visit: Visit, uploads: Path, database_url: str
) -> None:
    load, *_ = Shop(database).panel_in_load()
    record = f"/loads/{load.code}/record"
    settings = Settings(database_url=database_url, upload_folder=uploads)
    answers: dict[str, tuple[int, str]] = {}
    ready = threading.Barrier(2)

    def keep(who: str, own: Visit, form: dict[str, str]) -> None:
        ready.wait(timeout=30)
        answer = own.post(f"{record}/keep", **form)
        answers[who] = answer.status_code, words(answer.text)

    with ExitStack() as desks:
        both = []
        for who, offset in (("mara", 0.0), ("deniz", 0.1)):
            own = desks.enter_context(Visit(create_app(settings)))
            own.sign_in(who)
            sent = own.post(record, files={"file": ("run.csv", run(offset=offset), "text/csv")})
            form = form_of(own.follow(sent).text, f"{record}/keep")
            both.append(threading.Thread(target=keep, args=(who, own, form)))
        for one in both:
            one.start()
        for one in both:
            one.join(timeout=60)
    assert min(status for status, _ in answers.values()) == 303
    told = next(text for status, text in answers.values() if status != 303)
    assert "Somebody else changed this load" in told or "Say why this one replaces it" in told
    with database.read() as session:
        assert session.query(FurnaceRecord).count() == 1
        assert session.query(StoredFile).count() == 1


def test_a_mapping_for_another_export_is_refused_with_file_and_row(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    approved(shop)
    visit.sign_in("mara")
    record = f"/loads/{load.code}/record"
    spoilt = export(spoilt={200: "12o,5"})
    sent = visit.post(record, files={"file": ("hall.csv", spoilt, "text/csv")})
    form = form_of(visit.follow(sent).text, f"{record}/keep")
    assert form["by"] == "LM-1"
    before = contents(database)
    refused = visit.post(f"{record}/keep", **form)
    assert refused.status_code == 422
    said = words(refused.text)
    assert "hall.csv, row 206" in said
    assert "12o,5" in said
    assert form_of(refused.text, f"{record}/keep") == form
    assert moved(before, contents(database)) == []
