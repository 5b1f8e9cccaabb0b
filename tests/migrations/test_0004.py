"""Migration 0004 on rows that are there already: nothing recorded moves, and nothing can."""

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from alembic import command
from sqlalchemy import Engine, create_engine, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from app.cli.migrate import alembic_config

_ROWS = {
    "reading": {
        "id": 1,
        "session_id": 4,
        "coupon_id": 6,
        "quantity": "hardness",
        "unit": "HRB",
        "value": "84.50",
        "spacing_confirmed": True,
        "submission": "form-1",
        "taken_by_id": 1,
        "taken_at": "2026-03-02 06:00:00+00:00",
        "entered_at": "2026-03-02 06:01:00+00:00",
    },
    "reference_block": {
        "id": 1,
        "code": "RB-1",
        "quantity": "hardness",
        "unit": "HRB",
        "certified_value": "85.0",
        "permitted_error": "1.0",
        "expires_on": "2027-01-01",
        "certificate": "C-1",
        "registered_by_id": 1,
        "registered_at": "2026-03-02 06:00:00+00:00",
    },
    "hold": {
        "id": 1,
        "panel_id": 5,
        "reason": "a scratch",
        "placed_by_id": 1,
        "placed_at": "2026-03-02 06:00:00+00:00",
    },
    "report_review": {
        "id": 1,
        "furnace_check_id": 3,
        "accepted": True,
        "remark": "",
        "reviewed_by_id": 2,
        "reviewed_at": "2026-03-02 06:00:00+00:00",
        "signature_id": 7,
    },
}


@pytest.fixture(params=["sqlite", "postgresql"])
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, Engine]]:
    """A database as migration 0003 left it, with a row in tables that 0004 changes."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'older.sqlite'}"
        engine = create_engine(url)
    else:
        address = request.getfixturevalue("migrated_postgresql")
        name = f"older_{uuid4().hex[:8]}"
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}".encode())
        parsed = make_url(address).set(database=name)
        url = parsed.render_as_string(hide_password=False)
        engine = create_engine(parsed.set(drivername="postgresql+psycopg"))
    command.upgrade(alembic_config(url), "0003")
    with engine.begin() as connection:
        if request.param == "postgresql":
            # The rows' parents do not matter here.
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        for table, row in _ROWS.items():
            names = ", ".join(row)
            marks = ", ".join(f":{name}" for name in row)
            connection.execute(text(f"INSERT INTO {table} ({names}) VALUES ({marks})"), row)
    yield url, engine
    engine.dispose()


def _found(engine: Engine, table: str) -> list[dict[str, object]]:
    with engine.connect() as connection:
        return [dict(row) for row in connection.execute(text(f"SELECT * FROM {table}")).mappings()]


def _is_refused(engine: Engine, statement: str) -> bool:
    try:
        with engine.begin() as connection:
            connection.execute(text(statement))
    except DBAPIError as refusal:
        return "never changed or removed" in str(refusal)
    return False


def test_rows_and_triggers_outlive_both_ways(older: tuple[str, Engine]) -> None:
    url, engine = older
    before = {table: _found(engine, table) for table in _ROWS}
    for revision in ("0004", "0003", "0004"):
        move = command.downgrade if revision == "0003" else command.upgrade
        move(alembic_config(url), revision)
        for table in _ROWS:
            (row,) = _found(engine, table)
            (was,) = before[table]
            assert {name: row[name] for name in was} == was, (table, revision)
            assert all(value is None for name, value in row.items() if name not in was)
            assert _is_refused(engine, f"UPDATE {table} SET id = 2"), (table, revision)
            assert _is_refused(engine, f"DELETE FROM {table}"), (table, revision)


def test_new_tables_are_kept_and_drafts_are_not(older: tuple[str, Engine]) -> None:
    url, engine = older
    command.upgrade(alembic_config(url), "0004")
    lift = (
        "INSERT INTO quarantine_lift (id, quarantine_id, reason, signature_id, lifted_by_id, "
        "lifted_at) VALUES (1, 4, 'r', 7, 1, '2026-03-02 06:00:00+00:00')"
    )
    draft = (
        "INSERT INTO entry_draft (id, session_id, coupon_id, fields, saved_at) "
        "VALUES (1, 4, 6, '{}', '2026-03-02 06:00:00+00:00')"
    )
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        connection.execute(text(lift))
        connection.execute(text(draft))
    assert _is_refused(engine, "UPDATE quarantine_lift SET reason = 'x'")
    assert _is_refused(engine, "DELETE FROM quarantine_lift")
    assert not _is_refused(engine, "DELETE FROM entry_draft")


def test_a_report_has_one_review(older: tuple[str, Engine]) -> None:
    url, engine = older
    command.upgrade(alembic_config(url), "0004")
    unique = {
        tuple(one["column_names"])
        for one in inspect(engine).get_indexes("report_review")
        if one["unique"]
    }
    assert {("tester_certificate_id",), ("block_id",), ("thermometer_certificate_id",)} <= unique
