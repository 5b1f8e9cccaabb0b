"""Migration 0005 on rows that are there already: nothing recorded moves, and nothing can."""

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from alembic import command
from sqlalchemy import Engine, create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from app.cli.migrate import alembic_config

_ROWS = {
    "hold": {
        "id": 1,
        "panel_id": 5,
        "reason": "a scratch",
        "placed_by_id": 1,
        "placed_at": "2026-03-02 06:00:00+00:00",
    },
    "decision": {
        "id": 1,
        "panel_id": 5,
        "number": 1,
        "kind": "released",
        "reason": "",
        "evidence": "{}",
        "evidence_sha256": "0" * 64,
        "signature_id": 7,
        "decided_by_id": 1,
        "decided_at": "2026-03-02 06:00:00+00:00",
    },
    "unwrapping": {
        "id": 1,
        "load_id": 2,
        "panel_id": 5,
        "bag_intact": True,
        "surface_clear": True,
        "findings": "",
        "by_id": 1,
        "taken_at": "2026-03-02 06:00:00+00:00",
        "entered_at": "2026-03-02 06:00:00+00:00",
    },
    "load_panel": {
        "id": 1,
        "load_id": 2,
        "panel_id": 5,
        "table_revision_id": 1,
        "former": "F-1",
        "treatment_number": 1,
    },
    "requirement_revision": {
        "id": 1,
        "requirement_id": 9,
        "revision": "A",
        "paper": "{}",
        "paper_sha256": "0" * 64,
        "shop_rules": "{}",
        "source_document": "an invented document",
        "written_by_id": 1,
        "written_at": "2026-03-02 06:00:00+00:00",
    },
    "person": {
        "id": 1,
        "username": "mara",
        "full_name": "Mara Quill",
        "roles": "[]",
        "password_hash": "-",
        "active": True,
        "added_at": "2026-03-02 06:00:00+00:00",
    },
}
_MAY_CHANGE = {"person"}
_ATTEMPT = (
    "INSERT INTO requirement_revision (id, requirement_id, revision, paper, paper_sha256, "
    "shop_rules, source_document, written_by_id, written_at, attempt) VALUES "
    "(:id, 9, 'A', '{}', '-', '{}', '-', 1, '2026-03-02 06:00:00+00:00', :attempt)"
)


@pytest.fixture(params=["sqlite", "postgresql"])
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, Engine]]:
    """A database as migration 0004 left it, with a row in tables that 0005 changes."""
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
    command.upgrade(alembic_config(url), "0004")
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
    for revision in ("0005", "0004", "0005"):
        move = command.downgrade if revision == "0004" else command.upgrade
        move(alembic_config(url), revision)
        for table in _ROWS:
            (row,) = _found(engine, table)
            (was,) = before[table]
            assert {name: row[name] for name in was} == was, (table, revision)
            new = {name: value for name, value in row.items() if name not in was}
            assert new.pop("attempt", 1) == 1
            assert all(value is None for value in new.values())
            kept = table not in _MAY_CHANGE
            assert _is_refused(engine, f"UPDATE {table} SET id = id") is kept, (table, revision)
            assert not kept or _is_refused(engine, f"DELETE FROM {table}"), (table, revision)


def test_a_revision_has_one_row_for_each_attempt(older: tuple[str, Engine]) -> None:
    url, engine = older
    command.upgrade(alembic_config(url), "0005")

    def written(key: int, attempt: int) -> bool:
        try:
            with engine.begin() as connection:
                if engine.dialect.name == "postgresql":
                    connection.execute(text("SET LOCAL session_replication_role = replica"))
                connection.execute(text(_ATTEMPT), {"id": key, "attempt": attempt})
        except DBAPIError:
            return False
        return True

    assert not written(2, 1)
    assert written(2, 2)
    assert not written(3, 2)
    assert _is_refused(engine, "UPDATE requirement_revision SET attempt = 3")


def test_new_tables_are_kept_and_tries_are_not(older: tuple[str, Engine]) -> None:
    url, engine = older
    command.upgrade(alembic_config(url), "0005")
    rows = (
        (
            "INSERT INTO trail_review_line (id, review_id, entry_number, kind, remark) "
            "VALUES (1, 1, 1, 'late', 'seen')"
        ),
        (
            "INSERT INTO sign_in_try (id, username, browser, at) "
            "VALUES (1, 'mara', '', '2026-03-02 06:00:00+00:00')"
        ),
    )
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        for row in rows:
            connection.execute(text(row))
    assert _is_refused(engine, "UPDATE trail_review_line SET remark = 'x'")
    assert _is_refused(engine, "DELETE FROM trail_review_line")
    assert not _is_refused(engine, "DELETE FROM sign_in_try")
