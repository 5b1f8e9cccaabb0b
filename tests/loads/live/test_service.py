"""Growing records on both databases: nothing lost, nothing doubled, nothing changed unseen."""

import threading
from datetime import timedelta
from hashlib import sha256

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text

from app.audit.records import TrailEntry
from app.cli.verify import verify_command
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.loads import queries, service
from app.loads.errors import RowsOutOfStep
from app.loads.importing.sources import Source
from app.loads.live import live_queries
from app.loads.live.live_records import LiveAnchor, LiveClosing
from app.loads.live.live_rows import CLOCK_AHEAD, Opening
from app.loads.records import FurnaceRecord
from app.loads.trace_store import unpack_file
from app.main import create_app
from app.settings import Settings
from tests.loads.live.live_makers import (
    CHANNELS,
    OPENING,
    WHOLE,
    Sending,
    at_row,
    lines_as_kept,
    rows_of,
)
from tests.loads.logger_files import STEP_S, columns, run
from tests.makers import NOW
from tests.visits import Visit, words


@pytest.fixture
def sending(database: Database) -> Sending:
    return Sending(database)


def tags(database: Database) -> list[str]:
    with database.read() as session:
        order = select(TrailEntry.tag).order_by(TrailEntry.number)
        return [tag for tag in session.scalars(order) if ":live_record:" in tag]


def test_rows_are_kept_as_they_were_sent(sending: Sending) -> None:
    assert sending.open() == 0
    assert sending.send(rows_of(0, 3)) == 3
    assert sending.send([[*rows_of(3, 4)[0][:2], None, 88.0]], first=3) == 4
    assert sending.kept_lines() == [
        "2026-03-02T06:00:00+00:00,20.0,19.7,88.0",
        "2026-03-02T06:01:00+00:00,22.2,21.9,88.0",
        "2026-03-02T06:02:00+00:00,24.3,24.0,88.0",
        "2026-03-02T06:03:00+00:00,26.5,,88.0",
    ]
    assert tags(sending.database) == ["loads:live_record:opened"]


def test_opening_again_in_the_same_way_changes_nothing(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 5))
    assert sending.open() == 5
    with pytest.raises(Conflict, match="opened with other channels"):
        sending.open(Opening(CHANNELS, "F"))
    assert tags(sending.database) == ["loads:live_record:opened"]


@pytest.mark.parametrize(
    ("channels", "says"),
    [
        (("TC1", "VAC"), "TC2 decides"),
        (("TC1", "TC2"), "VAC decides"),
        ((*CHANNELS, "TC9"), "has no channel TC9; it is planned with TC1, TC2, VAC"),
    ],
)
def test_the_channels_are_the_planned_ones(
    sending: Sending, channels: tuple[str, ...], says: str
) -> None:
    with pytest.raises(Refusal, match=says):
        sending.open(Opening(channels, "C"))


def test_an_unknown_load_a_load_not_opened_and_another_furnace_s_token_are_refused(
    sending: Sending,
) -> None:
    with pytest.raises(Conflict, match="not opened yet"):
        sending.send(rows_of(0, 1))
    with pytest.raises(NotFound, match="No load L-NONE"):
        service.open_live(sending.database, "L-NONE", OPENING, logger=sending.logger, at=NOW)
    elsewhere = live_queries.Logger(1, "other", sending.logger.furnace_id + 1, "FN-2", 1)
    with pytest.raises(NotAllowed, match="is for furnace FN-2"):
        service.open_live(sending.database, sending.code, OPENING, logger=elsewhere, at=NOW)


def test_a_gap_is_refused_with_the_number_expected(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 3))
    with pytest.raises(RowsOutOfStep, match="Row 3 is expected next") as found:
        sending.send(rows_of(5, 6), first=5)
    assert found.value.next_row == 3


def test_a_row_that_is_there_and_different_is_refused_with_its_number(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 6))
    changed = rows_of(2, 8)
    changed[2][1] = "99.9"
    with pytest.raises(RowsOutOfStep, match=r"Row 4 is on record as .*,28.7,.* sent as .*,99.9,"):
        sending.send(changed, first=2)
    assert len(sending.kept_lines()) == 6


def test_times_rise_from_batch_to_batch_and_never_lie_ahead(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 3))
    with pytest.raises(Refusal, match="Row 3 is not later than the row before"):
        sending.send(rows_of(2, 3), first=3)
    late = at_row(3) - timedelta(seconds=5) - CLOCK_AHEAD
    assert sending.send(rows_of(3, 4), first=3, at=late) == 4
    with pytest.raises(Refusal, match="set the logger's clock"):
        sending.send(rows_of(4, 5), first=4, at=late)


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(plan=st.data())
def test_whatever_is_sent_again_cut_or_out_of_turn_the_rows_are_the_rows(
    database: Database, plan: st.DataObject
) -> None:
    sending = database.__dict__.setdefault("sending", None) or Sending(database)
    database.__dict__["sending"] = sending
    sending.load, sending.panel, *_ = sending.shop.panel_in_load()
    sending.code = sending.load.code
    sending.open()
    rows = rows_of(0, plan.draw(st.integers(1, 40)))
    known = 0
    for _ in range(plan.draw(st.integers(0, 7))):
        first = plan.draw(st.integers(0, min(known + 3, len(rows) - 1)))
        last = plan.draw(st.integers(first + 1, len(rows)))
        if first > known:
            with pytest.raises(RowsOutOfStep) as found:
                sending.send(rows[first:last], first=first, at=at_row(100))
            assert found.value.next_row == known
        else:
            known = max(known, last)
            assert sending.send(rows[first:last], first=first, at=at_row(100)) == known
    assert sending.send(rows, at=at_row(100)) == len(rows)
    assert sending.kept_lines() == lines_as_kept(rows)


def test_two_senders_of_the_same_run_make_one_record(sending: Sending) -> None:
    sending.open()
    rows, faults = rows_of(), []

    def go(step: int) -> None:
        try:
            for first in range(0, WHOLE, step):
                sending.send(rows[first : first + step], first=first, at=at_row(WHOLE))
        except Exception as fault:  # noqa: BLE001 - told to the test's own thread
            faults.append(fault)

    threads = [threading.Thread(target=go, args=(step,)) for step in (7, 11)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    # One may run ahead of the other; what it sends is then there already.
    assert all(isinstance(fault, RowsOutOfStep) for fault in faults)
    sending.send(rows, at=at_row(WHOLE))
    assert sending.kept_lines() == lines_as_kept(rows)


def test_the_chain_goes_on_the_trail_about_hourly(sending: Sending) -> None:
    sending.open()
    for first in range(0, 180, 20):
        sending.send(rows_of(first, first + 20), first=first)
    assert (
        tags(sending.database) == ["loads:live_record:opened"] + ["loads:live_record:anchored"] * 3
    )
    with sending.database.read() as session:
        assert list(session.scalars(select(LiveAnchor.rows))) == [60, 120, 180]
        assert live_queries.broken_chains(session) == []


def test_a_closed_record_is_the_file_of_its_rows_judged_like_any_other(sending: Sending) -> None:
    sending.open()
    rows = rows_of()
    sending.send(rows)
    closed = sending.close()
    assert (closed.rows, closed.verdict, closed.why_not) == (WHOLE, "conforms", None)
    with sending.database.read() as session:
        record = queries.current_record(session, sending.load.id)
        assert record is not None
        content = unpack_file(
            *queries.stored_file(session, record.file_sha256)[:1],
            size_bytes=queries.stored_file(session, record.file_sha256)[1],
        )
        closing = session.scalars(select(LiveClosing)).one()
    assert content.decode().splitlines() == ["time,TC1,TC2,VAC", *lines_as_kept(rows)]
    assert record.file_name == f"live-{sending.code}.csv"
    assert record.imported_by_id == sending.shop.inspector.id
    assert record.starts_at == NOW
    assert closing.file_sha256 == record.file_sha256 == sha256(content).hexdigest()
    assert closing.closed_by_id is None
    assert tags(sending.database)[-1] == "loads:live_record:closed"


def test_closing_again_changes_nothing_and_no_row_is_taken_afterwards(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of())
    first = sending.close()
    assert sending.close() == first
    with pytest.raises(Conflict, match="has its furnace record already"):
        sending.send(rows_of(), at=at_row(WHOLE))
    with pytest.raises(Conflict, match="has its furnace record already"):
        sending.open()


def test_closing_says_how_many_rows_there_were(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 100))
    with pytest.raises(RowsOutOfStep, match="100 rows are here, and the run is said to have 271"):
        sending.close(WHOLE)
    assert sending.send(rows_of(100, WHOLE), first=100) == WHOLE
    assert sending.close().verdict == "conforms"


def test_a_person_closes_with_a_reason(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of())
    shop, at = sending.shop, at_row(WHOLE)

    def close(reason: str, by: object) -> service.Closed:
        return service.close_by_hand(
            sending.database,
            sending.code,
            reason=reason,
            by=by,  # type: ignore[arg-type]
            at=at,
            zone=NOW.tzinfo,  # type: ignore[arg-type]
        )

    with pytest.raises(NotAllowed):
        close("the logger was switched off", shop.auditor)
    with pytest.raises(Refusal, match="Say how you know") as refusal:
        close("  ", shop.second)
    assert "reason" in refusal.value.fields
    closed = close("the logger was switched off", shop.second)
    assert closed.verdict == "conforms"
    with sending.database.read() as session:
        closing = session.scalars(select(LiveClosing)).one()
        record = session.scalars(select(FurnaceRecord)).one()
    assert (closing.closed_by_id, closing.reason) == (
        shop.second.id,
        "the logger was switched off",
    )
    assert record.imported_by_id == shop.second.id


def test_an_import_that_was_broken_off_after_the_closing_is_made_up_for(
    sending: Sending, monkeypatch: pytest.MonkeyPatch
) -> None:
    sending.open()
    sending.send(rows_of())

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("app.loads.service.live_closing.import_record", stopped)
        with pytest.raises(KeyboardInterrupt):
            sending.close()
    with pytest.raises(Conflict, match="was closed at"):
        sending.send(rows_of(), at=at_row(WHOLE))
    assert sending.close().verdict == "conforms"


def test_where_nobody_answers_any_more_a_person_takes_it_in(
    sending: Sending, monkeypatch: pytest.MonkeyPatch
) -> None:
    sending.open()
    sending.send(rows_of())
    with monkeypatch.context() as patched:
        patched.setattr(live_queries, "actor_of", lambda *_: None)
        closed = sending.close()
    assert (closed.verdict, closed.why_not) == (
        None,
        "Nobody with an open account answers for this logger.",
    )
    by_hand = service.close_by_hand(
        sending.database,
        sending.code,
        reason="",
        by=sending.shop.second,
        at=at_row(WHOLE),
        zone=NOW.tzinfo,  # type: ignore[arg-type]
    )
    assert by_hand.verdict == "conforms"


def test_a_record_without_a_row_is_closed_without_a_furnace_record(sending: Sending) -> None:
    sending.open()
    closed = sending.close(0)
    assert (closed.verdict, closed.why_not) == (
        None,
        "No row ever came, so there is nothing to judge.",
    )


def test_a_load_whose_file_was_imported_takes_no_rows(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 10))
    service.import_record(
        sending.database,
        sending.code,
        [Source("run.csv", run())],
        columns(),
        by=sending.shop.inspector,
        at=at_row(WHOLE),
        zone=NOW.tzinfo,  # type: ignore[arg-type]
    )
    with pytest.raises(Conflict, match="has its furnace record already"):
        sending.send(rows_of(10, 20), first=10)
    closed = service.close_by_hand(
        sending.database,
        sending.code,
        reason="the file was imported",
        by=sending.shop.inspector,
        at=at_row(WHOLE),
        zone=NOW.tzinfo,  # type: ignore[arg-type]
    )
    assert closed.why_not == "The load has another furnace record, run.csv."


TAMPERINGS = {
    "a row's figure": "UPDATE live_rows SET content = :other WHERE first_row = 60",
    "a batch and its digest": (
        "UPDATE live_rows SET content = :other, chain_sha256 = :digest WHERE first_row = 60"
    ),
    "a batch in the middle": "DELETE FROM live_rows WHERE first_row = 60",
    "the last batches": "DELETE FROM live_rows WHERE first_row >= 60",
    "a number": "UPDATE live_rows SET first_row = 61 WHERE first_row = 60",
}


@pytest.mark.parametrize("tampering", TAMPERINGS)
def test_rows_changed_from_outside_stop_the_closing_and_are_told(
    sending: Sending, tampering: str
) -> None:
    sending.open()
    for first in range(0, 240, 60):
        sending.send(rows_of(first, first + 60), first=first)
    changed = rows_of(60, 120)
    changed[5][1] = "149.9"
    with sending.database.engine.begin() as connection:
        for trigger in _triggers(sending.database):
            connection.execute(text(trigger))
        statement = text(TAMPERINGS[tampering])
        given = {
            "other": live_queries.packed("\n".join(lines_as_kept(changed))),
            "digest": "0" * 64,
        }
        names = {name for name in given if f":{name}" in TAMPERINGS[tampering]}
        connection.execute(statement, {name: given[name] for name in names})
    with sending.database.read() as session:
        told = live_queries.broken_chains(session)
        rows = live_queries.row_count(session, 1)
    assert told
    assert told[0].startswith(f"The growing record of load {sending.code} was changed")
    with pytest.raises(Conflict, match=r"changed from outside: .* It is not closed"):
        sending.close(rows)
    with sending.database.read() as session:
        assert queries.current_record(session, sending.load.id) is None


def _triggers(database: Database) -> list[str]:
    """What takes the protection off, as somebody with the file or the server in hand would."""
    if database.engine.dialect.name == "postgresql":
        return ["SET LOCAL session_replication_role = replica"]
    with database.engine.connect() as connection:
        names = connection.execute(
            text("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'live_rows'")
        ).scalars()
        return [f"DROP TRIGGER {name}" for name in names]


def test_a_time_step_of_the_run_is_a_minute() -> None:
    assert STEP_S == 60  # What the counts above rest on.


def test_the_check_of_the_trail_checks_the_growing_records_too(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TEMPERBOOK_DATABASE_URL", sqlite_url)
    sending = Sending(Database(sqlite_url))
    sending.open()
    sending.send(rows_of(0, 10))
    assert verify_command() == 0
    with sending.database.engine.begin() as connection:
        for trigger in _triggers(sending.database):
            connection.execute(text(trigger))
        connection.execute(text("UPDATE live_rows SET rows = 9"))
    assert verify_command() == 1
    assert "The growing record of load L-0001 was changed from outside" in capsys.readouterr().out
    with Visit(create_app(Settings(database_url=sqlite_url))) as visit:
        visit.sign_in("olek")
        assert "was changed from outside" in words(visit.get("/trail/check").text)
    sending.database.close()
