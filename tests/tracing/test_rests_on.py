"""What rests on a verified paper, on both databases."""

from datetime import timedelta
from decimal import Decimal

import pytest

from app.database import Database
from app.equipment.records import FurnaceQualification, ReportReview
from app.loads.records import FurnaceRecord, StoredFile
from app.people.records import Meaning, Signature
from app.requirements import service
from app.requirements.queries import find_requirement, revisions
from tests.makers import NOW, Shop, bind, digest
from tests.requirements.papers import mapping, procedure
from tests.visits import Visit, words


def test_tables_and_cycles_name_the_panels_and_loads(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    visit.sign_in("olek")
    table = words(visit.get("/rests-on/at-1").text)
    assert f"{panel.code} panel in load {load.code}, by revision A" in table
    cycle = visit.get("/rests-on/CY-1")
    assert f"{load.code} load in furnace FN-1, to revision A" in words(cycle.text)
    assert f'href="/loads/{load.code}"' in cycle.text
    assert 'href="/rests-on/AT-1"' in visit.get("/tables/AT-1").text


def test_a_procedure_names_the_furnaces_and_their_review(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    service.write_procedure(
        database,
        code="PY-9",
        paper=procedure(),
        filename="p",
        source_document="d",
        by=shop.engineer,
        at=NOW,
    )
    visit.sign_in("olek")
    assert "Nothing has used it yet." in visit.get("/rests-on/PY-9").text
    with database.write() as session:
        requirement = find_requirement(session, "PY-9")
        assert requirement is not None
        kept = FurnaceQualification(
            furnace_id=shop.furnace_id,
            procedure_id=requirement.id,
            furnace_class="2",
            instrumentation_type="D",
            in_force_from=NOW.date(),
            note="",
            entered_by_id=shop.engineer.id,
            entered_at=NOW,
        )
        bind(session, kept)
        kept_id = kept.id
    shown = words(visit.get("/rests-on/PY-9").text)
    assert f"FN-1 furnace class 2, type D, from {NOW.date()}: not yet reviewed" in shown
    with database.write() as session:
        signature = Signature(
            person_id=shop.supervisor.id,
            printed_name=shop.supervisor.full_name,
            meaning=Meaning.REVIEWED_REPORT,
            signed_at=NOW,
            content_sha256=digest("x"),
        )
        bind(session, signature)
        review = ReportReview(
            qualification_id=kept_id,
            accepted=False,
            remark="wrong type",
            reviewed_by_id=shop.supervisor.id,
            reviewed_at=NOW,
            signature_id=signature.id,
        )
        bind(session, review)
    assert "type D, from 2026-" in words(visit.get("/rests-on/PY-9").text)
    assert "rejected" in words(visit.get("/rests-on/PY-9").text)


def test_a_mapping_names_the_loads_whose_record_it_read(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    service.write_mapping(
        database,
        code="LM-9",
        revision="A",
        paper=mapping(),
        filename="m",
        source_document="d",
        by=shop.engineer,
        at=NOW,
    )
    with database.write() as session:
        (read_by,) = revisions(session, code="LM-9")
        file = StoredFile(
            sha256="ab" * 32,
            load_id=load.id,
            size_bytes=1,
            compression="none",
            content=b"x",
            stored_at=NOW,
        )
        record = FurnaceRecord(
            load_id=load.id,
            file_sha256=file.sha256,
            file_name="run.csv",
            layout={},
            starts_at=NOW,
            length_s=Decimal(10),
            samples=2,
            trace_sha256="cd" * 32,
            imported_by_id=shop.inspector.id,
            imported_at=NOW + timedelta(hours=1),
            mapping_revision_id=read_by.id,
        )
        bind(session, file, record)
    visit.sign_in("olek")
    shown = words(visit.get("/rests-on/LM-9").text)
    assert f"{load.code} load run.csv, by revision A" in shown


@pytest.mark.parametrize("code", ["NOBODY", "FN-1"])
def test_what_is_no_paper_is_not_found(database: Database, visit: Visit, code: str) -> None:
    Shop(database)
    visit.sign_in("olek")
    assert visit.get(f"/rests-on/{code}").status_code == 404
