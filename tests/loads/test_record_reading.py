"""How a record is read: by a mapping, by hand, from several files; and who confirms it."""

import io
import random
from datetime import UTC, timedelta
from decimal import Decimal
from typing import Any

import pytest
import xlsxwriter
from sqlalchemy import func, select

from app.audit.actor import Actor
from app.database import Database
from app.documents.logger.logger_mapping import mapping_from_json
from app.errors import BadFile, Conflict, NotAllowed, Refusal
from app.loads import queries
from app.loads.errors import FileInUse
from app.loads.evidence import furnace_findings
from app.loads.importing.record_wanted import Chosen
from app.loads.importing.sources import Source
from app.loads.record_queries import came_in, files_of, last_mapping, summary_of
from app.loads.records import (
    FurnaceRecord,
    Load,
    RecordFile,
    RecordSummary,
    StoredFile,
    TraceMark,
)
from app.loads.service import confirm_layout, exclude_sensor, import_record, note_doubts
from app.loads.service.doubts import loads_not_looked_over
from app.loads.trace_store import unpack_trace
from app.requirements.records import RequirementKind
from tests.loads.logger_files import START, columns, level, run, sources
from tests.makers import NOW, Shop
from tests.visits import PASSWORD

AT = NOW + timedelta(hours=8)

PAPER: dict[str, Any] = {
    "name": "Invented hall logger",
    "kind": "csv",
    "encoding": "latin-1",
    "delimiter": "semicolon",
    "decimal_mark": "comma",
    "header": "by names",
    "unit_row": True,
    "time": {
        "columns": ["Date", "Clock"],
        "kind": "pattern",
        "order": "day-month-year",
        "date_mark": ".",
        "zone": "+01:00",
    },
    "temperature_unit": "C",
    "channels": [
        {"channel": "TC1", "column": "K 1"},
        {"channel": "TC2", "column": "K 2"},
    ],
    "vacuum": {"channel": "VAC", "column": "P", "unit": "mbar", "sense": "gauge"},
    "ignored": "everything else",
    "files": "one after the other",
}
MAPPING = mapping_from_json(PAPER, filename="LM-1")


def export(rows: slice = slice(None), *, spoilt: dict[int, str] | None = None) -> bytes:
    """The plain run of ``logger_files``, as the invented hall logger writes it."""
    lines = ["Hall logger", "Written by nobody", "", "Date;Clock;K 1;K 2;P", ";;°C;°C;mbar"]
    for row in range(271)[rows]:
        at = START + timedelta(minutes=row, hours=1)
        warm = f"{level(row * 60.0):.1f}".replace(".", ",")
        warm = (spoilt or {}).get(row, warm)
        lines.append(f"{at:%d.%m.%Y};{at:%H:%M:%S};{warm};{warm};-880,0")
    return ("\r\n".join(lines) + "\r\n").encode("latin-1")


def sheet() -> bytes:
    """The plain run as a spreadsheet with date cells."""
    kept = io.BytesIO()
    book = xlsxwriter.Workbook(kept, {"in_memory": True, "remove_timezone": True})
    page = book.add_worksheet("Run")
    page.write_row(0, 0, ["Moment", "TC1", "TC2", "VAC"])
    style = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    for row in range(271):
        page.write_datetime(row + 1, 0, START + timedelta(minutes=row), style)
        warm = float(f"{level(row * 60.0):.1f}")
        page.write_row(row + 1, 1, [warm, warm, 88.0])
    book.close()
    return kept.getvalue()


def approved(shop: Shop, paper: dict[str, Any] = PAPER, code: str = "LM-1") -> int:
    """Key of a mapping's revision that is in force."""
    with shop.database.write() as session:
        kind = RequirementKind.LOGGER_MAPPING
        return shop._requirement(session, code, kind, paper, {})  # noqa: SLF001 - as its own


def bring(
    database: Database, load: Load, by: Actor, files: list[Source], chosen: Chosen, **given: Any
) -> Any:
    given = {"at": AT, "zone": UTC, "password": PASSWORD, **given}
    return import_record(database, load.code, files, chosen, by=by, **given)


def layout_of(database: Database, load: Load) -> str:
    with database.read() as session:
        found = {f.code: f.outcome.value for f in furnace_findings(session, load)}
    return found["record.layout"]


def test_an_export_is_read_by_the_approved_mapping_and_names_it(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    key = approved(shop)
    chosen = Chosen(MAPPING, key)
    judged = bring(database, load, shop.inspector, [Source("hall.csv", export())], chosen)
    assert judged.verdict == "conforms"
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.mapping_revision_id == key
        assert record.starts_at == START
        trace = unpack_trace(queries.trace_content(session, record.id))
        assert list(trace.channels) == ["TC1", "TC2", "VAC"]
        assert trace.channels["VAC"][0] == pytest.approx(88.0)
        came = came_in(session, [load.id])[load.id]
        assert came.mapping == ("LM-1", "A")
        assert last_mapping(session, shop.furnace_id, before=AT) == "LM-1"
    assert layout_of(database, load) == "conforms"


def test_two_files_of_one_run_are_one_record_and_both_are_kept(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    chosen = Chosen(MAPPING, approved(shop))
    # The second one first: the mapping says that it is put into order.
    halves = [
        Source("first.csv", export(slice(0, 140))),
        Source("second.csv", export(slice(140, None))),
    ]
    judged = bring(database, load, shop.inspector, halves, chosen)
    assert judged.verdict == "conforms"
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.samples == 271
        assert [name for name, _ in files_of(session, record)] == ["first.csv", "second.csv"]
        assert session.scalar(select(func.count()).select_from(StoredFile)) == 2
        assert session.scalar(select(func.count()).select_from(RecordFile)) == 1
    other, *_ = shop.panel_in_load()
    with pytest.raises(FileInUse, match=f"furnace record of load {load.code}"):
        bring(database, other, shop.inspector, [halves[1]], chosen)
    with pytest.raises(FileInUse, match="read in the same way"):
        bring(database, load, shop.inspector, halves, chosen, reason="again")


def test_a_fault_in_the_second_file_keeps_nothing_of_the_first(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    chosen = Chosen(MAPPING, approved(shop))
    halves = [
        Source("first.csv", export(slice(0, 140))),
        Source("second.csv", export(slice(140, None), spoilt={150: "warm"})),
    ]
    with pytest.raises(BadFile, match=r"second\.csv, row 16.*warm"):
        bring(database, load, shop.inspector, halves, chosen)
    with database.read() as session:
        assert queries.current_record(session, load.id) is None
        assert session.scalar(select(func.count()).select_from(StoredFile)) == 0


def test_a_spreadsheet_is_read_as_the_text_is(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    paper = {
        "name": "Invented sheet",
        "kind": "xlsx",
        "header": "by names",
        "time": {"columns": ["Moment"], "kind": "date cell", "zone": "UTC"},
        "temperature_unit": "C",
        "channels": [{"channel": name, "column": name} for name in ("TC1", "TC2")],
        "vacuum": {"channel": "VAC", "column": "VAC", "unit": "kPa", "sense": "below ambient"},
    }
    chosen = Chosen(mapping_from_json(paper, filename="LM-2"), approved(shop, paper, "LM-2"))
    judged = bring(database, load, shop.inspector, [Source("run.xlsx", sheet())], chosen)
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.starts_at == START
        kept = unpack_trace(queries.trace_content(session, record.id))
    other, *_ = shop.panel_in_load()
    beside = bring(database, other, shop.inspector, sources(run()), columns())
    assert judged.paper["stages"] == beside.paper["stages"]
    assert kept.channels["TC1"][30] == float(f"{level(1800.0):.1f}")


def test_a_mapping_that_does_not_read_what_the_load_needs_is_refused(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load(sensors=3)
    chosen = Chosen(MAPPING, approved(shop))
    with pytest.raises(Refusal, match=r"LM-1 revision A does not read what the load needs \(TC3\)"):
        bring(database, load, shop.inspector, [Source("hall.csv", export())], chosen)


def test_a_mapping_is_used_only_while_it_is_in_force(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    chosen = Chosen(MAPPING, approved(shop))
    early = NOW - timedelta(days=31)
    with pytest.raises(Refusal, match="LM-1 revision A is not in force"):
        bring(database, load, shop.inspector, [Source("x.csv", export())], chosen, at=early)
    cycle = Chosen(MAPPING, shop.cycle_revision_id)
    with pytest.raises(Refusal, match="is not in force"):
        bring(database, load, shop.inspector, [Source("x.csv", export())], cycle)


def test_the_wrong_mapping_is_refused_with_the_file_named(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    chosen = Chosen(MAPPING, approved(shop))
    with pytest.raises(BadFile, match=r"^run\.csv"):
        bring(database, load, shop.inspector, sources(run()), chosen)


def test_a_plain_file_needs_nobody_else_and_other_columns_do(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    bring(database, load, shop.inspector, sources(run()), columns())
    assert layout_of(database, load) == "conforms"
    other, *_ = shop.panel_in_load()
    content = run(sensors=("A", "B"), offset=0.1)
    chosen = columns("VAC", TC1="A", TC2="B")
    bring(database, other, shop.inspector, sources(content), chosen)
    assert layout_of(database, other) == "not_proven"


@pytest.fixture
def by_hand(database: Database) -> tuple[Shop, Load, int]:
    """A load whose record an inspector read from columns of other names."""
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    content = run(sensors=("A", "B"))
    bring(database, load, shop.inspector, sources(content), columns("VAC", TC1="A", TC2="B"))
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        return shop, load, record.id


def _confirm(database: Database, load: Load, record_id: int, by: Actor, **given: Any) -> None:
    given = {"password": PASSWORD, "at": AT, **given}
    confirm_layout(database, load.code, record_id=record_id, by=by, **given)


def test_a_second_person_confirms_the_layout_once(
    database: Database, by_hand: tuple[Shop, Load, int]
) -> None:
    shop, load, record_id = by_hand
    _confirm(database, load, record_id, shop.supervisor)
    assert layout_of(database, load) == "conforms"
    with pytest.raises(Refusal, match="confirmed already"):
        _confirm(database, load, record_id, shop.engineer)


def test_nobody_confirms_what_they_brought_in_themselves(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    chosen = columns("VAC", TC1="A", TC2="B")
    bring(database, load, shop.engineer, sources(run(sensors=("A", "B"))), chosen)
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
    with pytest.raises(NotAllowed, match="You brought this record in"):
        _confirm(database, load, record.id, shop.engineer)
    assert layout_of(database, load) == "not_proven"


def test_confirming_asks_for_right_and_password_and_the_record_that_stands(
    database: Database, by_hand: tuple[Shop, Load, int]
) -> None:
    shop, load, record_id = by_hand
    with pytest.raises(NotAllowed, match="Only a supervisor or engineer"):
        _confirm(database, load, record_id, shop.second)
    with pytest.raises(Refusal, match="the password is not yours"):
        _confirm(database, load, record_id, shop.supervisor, password="no")
    again = columns("VAC", TC1="B", TC2="A")
    content = run(sensors=("A", "B"))
    bring(database, load, shop.inspector, sources(content), again, reason="columns were exchanged")
    with pytest.raises(Conflict, match="Another record stands"):
        _confirm(database, load, record_id, shop.supervisor)
    assert layout_of(database, load) == "not_proven"


def test_a_record_read_again_by_a_mapping_is_proven_without_a_second_person(
    database: Database,
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    files = [Source("hall.csv", export())]
    bring(database, load, shop.inspector, files, Chosen(MAPPING))
    assert layout_of(database, load) == "not_proven"
    key = approved(shop)
    bring(database, load, shop.inspector, files, Chosen(MAPPING, key), reason="LM-1 is approved")
    assert layout_of(database, load) == "conforms"
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(StoredFile)) == 1


def test_what_each_sensor_saw_is_kept_with_every_verdict(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load(sensors=3)
    content = run(sensors=("TC1", "TC2", "TC3"))
    chosen = columns("TC1", "TC2", "TC3", "VAC")
    bring(database, load, shop.inspector, sources(content), chosen)
    exclude_sensor(
        database,
        load.code,
        "TC2",
        reason="broken",
        password=PASSWORD,
        by=shop.supervisor,
        at=AT,
        zone=UTC,
    )
    with database.read() as session:
        kept = session.scalars(select(RecordSummary).order_by(RecordSummary.verdict_id)).all()
        assert [[one["channel"] for one in row.paper] for row in kept] == [
            ["TC1", "TC2", "TC3"],
            ["TC1", "TC3"],
        ]
        first = kept[0].paper[0]
        assert first["highest_c"] == pytest.approx(150.0)
        assert first["lowest_c"] == pytest.approx(147.0)
        assert 147.0 < first["mean_c"] < 150.0
        record = queries.current_record(session, load.id)
        assert record is not None
        verdict = queries.latest_verdict(session, record.id)
        assert verdict is not None
        assert summary_of(session, verdict) == kept[1].paper


def _lively(seed: int) -> bytes:
    """A run whose last digits are its own."""
    chance = random.Random(seed)  # noqa: S311 - noise
    names = ("TC1", "TC2")
    cells = {
        name: {row: f"{level(row * 60.0) + chance.uniform(-0.9, 0.9):.2f}" for row in range(271)}
        for name in names
    }
    return run(changed=cells)


def test_a_trace_that_an_earlier_load_had_is_noted_and_named(database: Database) -> None:
    shop = Shop(database)
    first, *_ = shop.panel_in_load()
    second, *_ = shop.panel_in_load()
    third, *_ = shop.panel_in_load()
    bring(database, first, shop.inspector, sources(_lively(1)), columns())
    # The same readings a day later, the file's bytes being others.
    copied = _lively(1).replace(b"2026-03-02", b"2026-03-03")
    judged = bring(database, second, shop.inspector, sources(copied), columns())
    bring(database, third, shop.inspector, sources(_lively(2)), columns())
    assert judged.verdict == "conforms", "a doubt decides nothing"
    assert loads_not_looked_over(database, since=AT) == [first.code, second.code, third.code]
    for load in (first, second, third, second):
        note_doubts(database, load.code, at=AT)
    assert loads_not_looked_over(database, since=AT) == []
    with database.read() as session:
        came = came_in(session, [first.id, second.id, third.id])
        assert session.scalar(select(func.count()).select_from(TraceMark))
    codes = {key: [one.code for one in found.doubts or ()] for key, found in came.items()}
    assert "doubt.seen_before" in codes[second.id]
    noted = next(one for one in came[second.id].doubts or () if one.code == "doubt.seen_before")
    assert f"load {first.code}" in noted.text
    assert noted.outcome.value == "note"
    assert "doubt.seen_before" not in codes[first.id] + codes[third.id]


def test_the_load_itself_read_again_is_no_earlier_trace(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    bring(database, load, shop.inspector, sources(_lively(1)), columns())
    note_doubts(database, load.code, at=AT)
    bring(database, load, shop.inspector, sources(_lively(1)), columns(unit="F"), reason="degF")
    note_doubts(database, load.code, at=AT)
    with database.read() as session:
        doubts = came_in(session, [load.id])[load.id].doubts
        assert session.scalar(select(func.count()).select_from(FurnaceRecord)) == 2
    assert doubts is not None
    assert "doubt.seen_before" not in [one.code for one in doubts]


def test_a_length_is_kept_to_the_figure(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    chosen = Chosen(MAPPING, approved(shop))
    bring(database, load, shop.inspector, [Source("hall.csv", export())], chosen)
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.length_s == Decimal("16200.0")
