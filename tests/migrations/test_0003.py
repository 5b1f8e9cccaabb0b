"""Migration 0003 on rows that are there already: nothing recorded moves, and nothing can."""

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
    "load_coupon": {
        "id": 1,
        "load_id": 4,
        "panel_id": 5,
        "coupon_id": 6,
        "station": "NE",
        "x": "0.250",
        "y": "0.50",
    },
    "leak_check": {
        "id": 1,
        "load_id": 4,
        "panel_id": 5,
        "start_kpa": "91.0",
        "end_kpa": "90.50",
        "minutes": "5",
        "limit_kpa": "2.0",
        "outcome": "conforms",
        "by_id": 1,
        "taken_at": "2026-03-02 06:00:00+00:00",
        "entered_at": "2026-03-02 06:01:00+00:00",
    },
}


@pytest.fixture(params=["sqlite", "postgresql"])
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, Engine]]:
    """A database as migration 0002 left it, with a row in two tables that 0003 changes."""
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
    command.upgrade(alembic_config(url), "0002")
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
    for revision in ("0003", "0002", "0003"):
        move = command.downgrade if revision == "0002" else command.upgrade
        move(alembic_config(url), revision)
        for table in _ROWS:
            (row,) = _found(engine, table)
            (was,) = before[table]
            assert {name: row[name] for name in was} == was, (table, revision)
            assert all(value is None for name, value in row.items() if name not in was)
            assert _is_refused(engine, f"UPDATE {table} SET id = 2"), (table, revision)
            assert _is_refused(engine, f"DELETE FROM {table}"), (table, revision)
        uniques = inspect(engine).get_unique_constraints("load_coupon")
        alone = [one for one in uniques if one["column_names"] == ["coupon_id"]]
        assert bool(alone) == (revision == "0002")


def test_new_tables_are_kept_too(older: tuple[str, Engine]) -> None:
    url, engine = older
    command.upgrade(alembic_config(url), "0003")
    row = "(id, load_id, reason, by_id, at) VALUES (1, 4, 'r', 1, '2026-03-02 06:00:00+00:00')"
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        connection.execute(text(f"INSERT INTO load_cancellation {row}"))
    assert _is_refused(engine, "UPDATE load_cancellation SET reason = 'x'")
    assert _is_refused(engine, "DELETE FROM load_cancellation")
