"""Migration 0006 on a record that was replaced before: nothing recorded moves, the trail holds."""

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
import pytest
from alembic import command
from sqlalchemy import Engine, create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from app.audit import writer
from app.audit.actor import Actor
from app.audit.facts import row_facts
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.cli.migrate import alembic_config
from app.database import Database
from app.loads.records import FurnaceRecord

_NEW = {"reason", "signature_id"}
_AT = datetime(2026, 3, 2, 6, tzinfo=UTC)


def _row(key: int, replaces: int | None) -> dict[str, Any]:
    return {
        "id": key,
        "load_id": 4,
        "file_sha256": f"{key}" * 64,
        "file_name": f"run-{key}.csv",
        "layout": {},
        "starts_at": None,
        "length_s": Decimal("16200.0"),
        "samples": 271,
        "trace_sha256": "0" * 64,
        "replaces_id": replaces,
        "imported_by_id": 1,
        "imported_at": _AT,
    }


@pytest.fixture(params=["sqlite", "postgresql"])
def older(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[str, Engine]]:
    """A database as migration 0005 left it, with a record and the one that replaced it, bound."""
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
    command.upgrade(alembic_config(url), "0005")
    rows = [_row(1, None), _row(2, 1)]
    with engine.begin() as connection:
        if request.param == "postgresql":
            # The rows' parents do not matter here.
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        for row in rows:
            typed = row | {"layout": "{}", "length_s": "16200.0", "imported_at": f"{_AT}"}
            marks = ", ".join(f":{name}" for name in typed)
            names = ", ".join(typed)
            connection.execute(
                text(f"INSERT INTO furnace_record ({names}) VALUES ({marks})"), typed
            )

    def as_it_was(row: Any) -> dict[str, Any]:
        facts = row_facts(row)
        columns = {name: at for name, at in facts["columns"].items() if name not in _NEW}
        return facts | {"columns": columns}

    monkeypatch.setattr(writer, "row_facts", as_it_was)
    database = Database(url)
    with database.write() as session:
        writer.append(
            session,
            Tag.RECORD_IMPORTED,
            by=Actor(1, "mara", "Mara Quill", frozenset()),
            at=_AT,
            about=("load", "L-1"),
            rows=[FurnaceRecord(**row) for row in rows],
            note="run-2.csv: conforms; replaces run-1.csv: its clock was wrong",
        )
    database.close()
    yield url, engine
    engine.dispose()


def _found(engine: Engine) -> list[dict[str, object]]:
    with engine.connect() as connection:
        asked = text("SELECT * FROM furnace_record ORDER BY id")
        return [dict(row) for row in connection.execute(asked).mappings()]


def _is_refused(engine: Engine, statement: str) -> bool:
    try:
        with engine.begin() as connection:
            connection.execute(text(statement))
    except DBAPIError as refusal:
        return "never changed or removed" in str(refusal)
    return False


def test_a_replaced_record_and_its_trail_outlive_both_ways(older: tuple[str, Engine]) -> None:
    url, engine = older
    before = _found(engine)
    for revision in ("0006", "0005", "head"):
        move = command.downgrade if revision == "0005" else command.upgrade
        move(alembic_config(url), revision)
        for row, was in zip(_found(engine), before, strict=True):
            assert {name: row[name] for name in was} == was, revision
            new = {name: row[name] for name in row.keys() - was.keys()}
            assert new == ({} if revision == "0005" else dict.fromkeys(_NEW)), revision
        assert _is_refused(engine, "UPDATE furnace_record SET id = id"), revision
        assert _is_refused(engine, "DELETE FROM furnace_record"), revision
    database = Database(url)
    with database.read() as session:
        report = verify_trail(session)
    database.close()
    assert report.holds, report.problems
    assert report.rows == len(before)
