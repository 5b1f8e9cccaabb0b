"""Furnace records through the service, on both databases."""

import hashlib
from datetime import UTC, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import func, select

from app.audit.actor import Actor
from app.database import Database, paper_sha256
from app.equipment.records import SensorCertificate
from app.errors import BadFile, Conflict, NotAllowed, NotFound, NotSigned, Refusal
from app.loads import queries
from app.loads.errors import FileInUse
from app.loads.evidence import furnace_findings
from app.loads.records import FurnaceRecord, Load, RecordTrace, RecordVerdict, StoredFile
from app.loads.replacements import replacements
from app.loads.service import exclude_sensor, import_record
from app.loads.service import record as record_service
from app.loads.trace_store import unpack_file, unpack_trace
from app.people.records import Meaning, Signature
from tests.loads.logger_files import SOAK_S, START, columns, run, sources
from tests.makers import NOW, Shop, bind
from tests.visits import PASSWORD

AT = NOW + timedelta(hours=8)


def _import(database: Database, load: Load, by: Actor, content: bytes, **given: Any) -> Any:
    chosen = given.pop("chosen", columns())
    given = {"at": AT, "zone": UTC, "password": PASSWORD, **given}
    return import_record(database, load.code, sources(content), chosen, by=by, **given)


def _counts(database: Database) -> list[int]:
    with database.read() as session:
        return [
            session.scalar(select(func.count()).select_from(table)) or 0
            for table in (StoredFile, FurnaceRecord, RecordTrace, RecordVerdict)
        ]


def test_a_run_within_its_band_conforms_and_everything_is_kept(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    content = run()
    judged = _import(database, load, shop.inspector, content)
    assert judged.verdict == "conforms"
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.starts_at == START
        assert record.length_s == Decimal("16200.0")
        assert record.file_sha256 == hashlib.sha256(content).hexdigest()
        packed, size = queries.stored_file(session, record.file_sha256)
        assert unpack_file(packed, size_bytes=size) == content
        trace = unpack_trace(queries.trace_content(session, record.id))
        assert trace.channels["TC1"][60] == 150.0
        verdict = queries.latest_verdict(session, record.id)
        assert verdict is not None
        assert verdict.cycle_as_judged["sensors"] == ["TC1", "TC2"]
        # Between 145.7 at row 58 and 147.8 at row 59 the line meets 147.0; row 60 reads 150.0.
        lead_s = 60 + 60 * (1 - 1.3 / 2.1)
        assert verdict.paper["stages"][0]["in_band_s"] == pytest.approx(
            SOAK_S + 2 * lead_s, abs=1e-6
        )
        assert all(finding["working"] is not None for finding in verdict.paper["findings"])
        assert verdict.paper["sensors"]["TC1"]["lowest_c"] == pytest.approx(147.0)


def test_the_same_file_is_refused_for_another_load_and_names_the_first(database: Database) -> None:
    shop = Shop(database)
    first, *_ = shop.panel_in_load()
    second, *_ = shop.panel_in_load()
    _import(database, first, shop.inspector, run())
    with pytest.raises(FileInUse, match=f"furnace record of load {first.code}") as caught:
        _import(database, second, shop.inspector, run())
    assert caught.value.load_code == first.code
    assert _counts(database) == [1, 1, 1, 1]


def test_the_same_file_read_in_the_same_way_is_refused_for_the_same_load(
    database: Database,
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    _import(database, load, shop.inspector, run())
    with pytest.raises(FileInUse, match="read in the same way"):
        _import(database, load, shop.inspector, run(), reason="again")


def test_the_same_file_read_in_another_way_replaces_the_record(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    _import(database, load, shop.inspector, run(), chosen=columns(unit="F"))
    judged = _import(database, load, shop.inspector, run(), reason="the file is in degC")
    assert judged.verdict == "conforms"
    assert _counts(database) == [1, 2, 2, 2]
    with database.read() as session:
        newest, oldest = queries.records(session, load.id)
        assert newest.replaces_id == oldest.id


def test_to_replace_a_record_needs_a_reason_and_a_signature_over_both(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    _import(database, load, shop.inspector, run(), chosen=columns(unit="F"), password="")
    with pytest.raises(Refusal, match="Say why this one replaces it"):
        _import(database, load, shop.inspector, run(offset=0.1))
    why = "its unit was read wrongly"
    with pytest.raises(Refusal, match="is signed") as caught:
        _import(database, load, shop.inspector, run(offset=0.1), reason=why, password="")
    assert set(caught.value.fields) == {"password"}
    with pytest.raises(NotSigned, match="the password is not yours"):
        _import(database, load, shop.inspector, run(offset=0.1), reason=why, password="not mine")
    assert _counts(database) == [1, 1, 1, 1]
    _import(database, load, shop.inspector, run(offset=0.1), reason=f" {why} ")
    _import(database, load, shop.second, run(offset=0.1), chosen=columns(unit="F"), reason="slip")
    assert _counts(database) == [2, 3, 3, 3]
    with database.read() as session:
        newest, middle, first = queries.records(session, load.id)
        assert (first.reason, first.signature_id) == (None, None)
        assert (middle.reason, newest.reason) == (why, "slip")
        signature = session.get_one(Signature, middle.signature_id)
        one, *rest = replacements(session, [load.id])[load.id]
    assert signature.meaning is Meaning.REPLACED_RECORD
    assert signature.person_id == shop.inspector.id
    content = {
        "load": load.code,
        "record": {
            "files": [hashlib.sha256(run(offset=0.1)).hexdigest()],
            "trace": middle.trace_sha256,
            "verdict": "conforms",
        },
        "replaces": {
            "files": [hashlib.sha256(run()).hexdigest()],
            "trace": first.trace_sha256,
            "verdict": "does_not_conform",
        },
        "reason": why,
    }
    assert signature.content_sha256 == paper_sha256(content)
    assert (one.signed_by, one.reason) == (shop.inspector.full_name, why)
    assert (one.before, one.after) == ("does_not_conform", "conforms")
    assert [(two.signed_by, two.before, two.after) for two in rest] == [
        (shop.second.full_name, "conforms", "does_not_conform")
    ]


def test_a_failure_inside_the_transaction_keeps_nothing(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()

    def fail(*args: object, **given: object) -> None:
        raise RuntimeError("power failed")

    monkeypatch.setattr(record_service, "append", fail)
    with pytest.raises(RuntimeError, match="power failed"):
        _import(database, load, shop.inspector, run())
    monkeypatch.undo()
    assert _counts(database) == [0, 0, 0, 0]
    assert _import(database, load, shop.inspector, run()).verdict == "conforms"


def test_text_in_a_number_is_refused_with_row_and_column(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with pytest.raises(BadFile, match=r"run\.csv, row 12.*TC2"):
        _import(database, load, shop.inspector, run(changed={"TC2": {10: "warm"}}))
    assert _counts(database) == [0, 0, 0, 0]


def test_a_required_channel_without_a_column_is_asked_for(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with pytest.raises(Refusal, match="which column holds TC2") as caught:
        _import(database, load, shop.inspector, run(), chosen=columns("TC1", "VAC"))
    assert set(caught.value.fields) == {"column:TC2"}


def test_one_column_cannot_serve_two_channels(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with pytest.raises(Refusal, match="TC2: column TC1 is read already"):
        _import(database, load, shop.inspector, run(), chosen=columns(TC2="TC1"))


@pytest.mark.parametrize("who", ["auditor", "administrator"])
def test_auditors_and_administrators_import_nothing(database: Database, who: str) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with pytest.raises(NotAllowed):
        _import(database, load, getattr(shop, who), run())


def test_an_unknown_load_is_said_so(database: Database) -> None:
    shop = Shop(database)
    load = Load(code="L-9999")
    with pytest.raises(NotFound, match="No load L-9999"):
        _import(database, load, shop.inspector, run())


def test_a_file_in_degf_is_judged_in_degc(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    lines = run().decode().splitlines()
    in_f = [lines[0]]
    for line in lines[1:]:
        at, *cells = line.split(",")
        warm = [f"{Decimal(cell) * 9 / 5 + 32:.2f}" for cell in cells[:-1]]
        in_f.append(",".join([at, *warm, cells[-1]]))
    content = ("\n".join(in_f) + "\n").encode()
    judged = _import(database, load, shop.inspector, content, chosen=columns(unit="F"))
    assert judged.verdict == "conforms"
    assert judged.paper["sensors"]["TC1"]["highest_c"] == pytest.approx(150.0)


def test_the_certificate_valid_on_the_day_corrects_its_sensor(database: Database) -> None:
    shop = Shop(database)
    load, _, _, fixed = shop.panel_in_load()
    with database.write() as session:
        certificate = SensorCertificate(
            sensor_id=fixed[0].sensor_id,
            done_on=NOW.date() - timedelta(days=3),
            due_on=NOW.date() + timedelta(days=90),
            certificate="SC-NEW",
            corrections=[["100", "4.0"], ["200", "4.0"]],
            entered_by_id=shop.engineer.id,
            entered_at=NOW,
        )
        bind(session, certificate)
        shop.reviewed(session, sensor_certificate_id=certificate.id)
    judged = _import(database, load, shop.inspector, run())
    # 150.0 read, 4.0 to add: 154.0 is 1.0 above the band's upper end.
    assert judged.verdict == "does_not_conform"
    assert judged.cycle_as_judged["corrections"] == {"TC1": [["100", "4.0"], ["200", "4.0"]]}
    assert judged.paper["sensors"]["TC1"]["highest_c"] == pytest.approx(154.0)


def test_a_certificate_that_comes_to_count_later_asks_for_the_record_anew(
    database: Database,
) -> None:
    shop = Shop(database)
    load, _, _, fixed = shop.panel_in_load()
    assert _import(database, load, shop.inspector, run()).verdict == "conforms"
    with database.write() as session:
        certificate = SensorCertificate(
            sensor_id=fixed[0].sensor_id,
            done_on=NOW.date() - timedelta(days=3),
            due_on=NOW.date() + timedelta(days=90),
            certificate="SC-LATE",
            corrections=[["100", "4.0"], ["200", "4.0"]],
            entered_by_id=shop.engineer.id,
            entered_at=NOW,
        )
        bind(session, certificate)
        key = certificate.id

    def said() -> dict[str, str]:
        with database.read() as session:
            return {one.code: one.outcome.value for one in furnace_findings(session, load)}

    # Nobody has accepted it: the older one still counts.
    assert "sensors.corrections" not in said()
    with pytest.raises(FileInUse):
        _import(database, load, shop.inspector, run(), reason="once more, please")
    with database.write() as session:
        shop.reviewed(session, sensor_certificate_id=key)
    assert said()["sensors.corrections"] == "not_proven"
    again = _import(database, load, shop.inspector, run(), reason="corrected by SC-LATE")
    assert again.verdict == "does_not_conform"
    assert "sensors.corrections" not in said()


def test_a_rejected_certificate_corrects_nothing(database: Database) -> None:
    shop = Shop(database)
    load, _, _, fixed = shop.panel_in_load()
    with database.write() as session:
        certificate = SensorCertificate(
            sensor_id=fixed[0].sensor_id,
            done_on=NOW.date() - timedelta(days=3),
            due_on=NOW.date() + timedelta(days=90),
            certificate="SC-BAD",
            corrections=[["100", "4.0"], ["200", "4.0"]],
            entered_by_id=shop.engineer.id,
            entered_at=NOW,
        )
        bind(session, certificate)
        shop.reviewed(session, sensor_certificate_id=certificate.id, accepted=False)
    judged = _import(database, load, shop.inspector, run())
    assert judged.cycle_as_judged["corrections"] == {}


def test_excluding_a_failed_sensor_judges_the_record_again(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load(sensors=3)
    content = run(
        sensors=("TC1", "TC2", "TC3"), changed={"TC2": dict.fromkeys(range(100, 110), "OPEN")}
    )
    before = _import(
        database, load, shop.inspector, content, chosen=columns("TC1", "TC2", "TC3", "VAC")
    )
    assert before.verdict == "not_proven"
    after = exclude_sensor(
        database,
        load.code,
        "TC2",
        reason="wire broken at the plug, seen on unwrapping",
        password=PASSWORD,
        by=shop.supervisor,
        at=AT,
        zone=UTC,
    )
    assert after is not None
    assert after.verdict == "conforms"
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        verdict = queries.latest_verdict(session, record.id)
        assert verdict is not None
        assert verdict.verdict == "conforms"
        assert verdict.cycle_as_judged["sensors"] == ["TC1", "TC3"]
        left = [f for f in furnace_findings(session, load) if f.code == "sensors.left"]
        assert [f.outcome.value for f in left] == ["conforms"]
    assert _counts(database) == [1, 1, 1, 2]


def _exclude(database: Database, load: Load, by: Actor, **given: Any) -> Any:
    given = {"reason": "broken", "password": PASSWORD, "at": AT, "zone": UTC, **given}
    return exclude_sensor(database, load.code, given.pop("channel", "TC2"), by=by, **given)


def test_too_few_sensors_left_is_not_proven(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load(sensors=2)
    assert _exclude(database, load, shop.supervisor) is None
    with database.read() as session:
        left = [f for f in furnace_findings(session, load) if f.code == "sensors.left"]
        assert [f.outcome.value for f in left] == ["not_proven"]


def test_a_load_whose_failed_sensor_is_excluded_needs_no_column_for_it(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    _exclude(database, load, shop.supervisor)
    judged = _import(database, load, shop.inspector, run(), chosen=columns("TC1", "VAC"))
    assert judged.cycle_as_judged["sensors"] == ["TC1"]


def test_only_a_supervisor_excludes_a_sensor_and_signs_for_it(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with pytest.raises(NotAllowed):
        _exclude(database, load, shop.inspector)
    with pytest.raises(Refusal, match="the password is not yours"):
        _exclude(database, load, shop.supervisor, password="something else")
    with pytest.raises(Refusal, match="Say how the sensor failed"):
        _exclude(database, load, shop.supervisor, reason="  ")
    with pytest.raises(Refusal, match="no load sensor on channel TC9"):
        _exclude(database, load, shop.supervisor, channel="TC9")


def test_the_last_sensor_and_an_excluded_one_stay(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    _exclude(database, load, shop.supervisor)
    with pytest.raises(Refusal, match="excluded already"):
        _exclude(database, load, shop.supervisor)
    with pytest.raises(Refusal, match="last sensor"):
        _exclude(database, load, shop.supervisor, channel="TC1")


def test_a_record_imported_meanwhile_is_told(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    judge = record_service.judge_for_load

    def overtaken(trace: Any, cycle: Any) -> Any:
        monkeypatch.setattr(record_service, "judge_for_load", judge)
        _import(database, load, shop.second, run(offset=0.2))
        return judge(trace, cycle)

    monkeypatch.setattr(record_service, "judge_for_load", overtaken)
    with pytest.raises(Conflict, match="Somebody else changed this load"):
        _import(database, load, shop.inspector, run())
    assert _counts(database) == [1, 1, 1, 1]


def test_a_furnace_overdue_on_the_day_of_the_record_does_not_conform(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    late = START + timedelta(days=90)
    _import(database, load, shop.inspector, run(start=late), at=late + timedelta(days=1))
    with database.read() as session:
        found = {f.code: f.outcome.value for f in furnace_findings(session, load)}
    assert found["furnace.survey"] == "does_not_conform"
    assert found["furnace.class"] == "conforms"
    assert found["sensors.calibration"] == "conforms"
    assert found["record.start"] == "note"
