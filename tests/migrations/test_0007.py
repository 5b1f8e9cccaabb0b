"""Migration 0007 on a lot and a coupon that are there already: they become what was approved."""

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

_AT = "2026-03-02 06:00:00+00:00"
_LOT = (
    "INSERT INTO material_lot (id, code, alloy, incoming_temper, form, thickness_mm, surface, "
    "\"cast\", certificate, received_on, entered_by_id, entered_at) VALUES (1, 'LOT-1', 'Q-77', "
    f"'W', 'plate', '12.5', 'bare', 'CAST-1', 'MC-1', '2026-03-01', 1, '{_AT}')"
)
_COUPON = (
    "INSERT INTO coupon (id, code, lot_id, thickness_mm, surface, registered_by_id, registered_at) "
    f"VALUES (1, 'C-1', 1, '12.5', 'bare', 1, '{_AT}')"
)
_FIGURES = (
    '{{"alloy":"Q-77","cast":"CAST-1","certificate":"MC-1","form":"plate","incoming_temper":"W",'
    '"surface":"{}","thickness_mm":"12.5"}}'
)
_ASKED = (
    'INSERT INTO lot_correction (id, lot_id, "before", "after", reason, evidence, '
    "upstream_hold_id, asked_by_id, asked_at) "
    f"VALUES (:id, 1, :before, :after, 'seen', 'seen', 1, 1, '{_AT}')"
)
_ANSWERED = (
    "INSERT INTO lot_correction_answer (id, correction_id, approved, reason, coupons, "
    "signature_id, answered_by_id, answered_at) "
    f"VALUES (:id, :id, :approved, 'seen', '[]', 1, 2, '{_AT}')"
)
_TABLES = ("material_lot", "coupon")


@pytest.fixture(params=["sqlite", "postgresql"])
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, Engine]]:
    """A database as migration 0006 left it, with a lot and a coupon of it."""
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
    command.upgrade(alembic_config(url), "0006")
    _put(engine, _LOT, _COUPON)
    yield url, engine
    engine.dispose()


def _put(engine: Engine, *statements: str, **values: object) -> None:
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            # The rows' parents do not matter here, and neither do their triggers.
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        for statement in statements:
            connection.execute(text(statement), values)


def _is_refused(engine: Engine, statement: str) -> bool:
    try:
        with engine.begin() as connection:
            connection.execute(text(statement))
    except DBAPIError as refusal:
        return "never changed or removed" in str(refusal)
    return False


def _stays_as_it_is(engine: Engine) -> bool:
    return all(
        _is_refused(engine, f"UPDATE {table} SET surface = 'clad'")
        and _is_refused(engine, f"UPDATE {table} SET code = 'X'")
        and _is_refused(engine, f"DELETE FROM {table}")
        for table in _TABLES
    )


def test_rows_become_what_an_approved_correction_says_and_nothing_else(
    older: tuple[str, Engine],
) -> None:
    url, engine = older
    assert _stays_as_it_is(engine)
    command.upgrade(alembic_config(url), "0007")
    assert _stays_as_it_is(engine)
    figures = {name: _FIGURES.format(name) for name in ("bare", "clad")}
    for key, approved in ((1, False), (2, True)):
        _put(engine, _ASKED, id=key, before=figures["bare"], after=figures["clad"])
        assert _stays_as_it_is(engine)
        _put(engine, _ANSWERED, id=key, approved=approved)
    assert _is_refused(engine, "UPDATE lot_correction SET reason = 'x'")
    assert _is_refused(engine, "DELETE FROM lot_correction_answer")
    for table in _TABLES:
        assert _is_refused(engine, f"UPDATE {table} SET surface = 'clad removed'")
        assert _is_refused(engine, f"UPDATE {table} SET surface = 'clad', thickness_mm = '13.0'")
        assert not _is_refused(engine, f"UPDATE {table} SET surface = 'clad'")
        assert _is_refused(engine, f"UPDATE {table} SET surface = 'bare'")
    command.downgrade(alembic_config(url), "0006")
    with engine.connect() as connection:
        for table in _TABLES:
            # What was corrected stays corrected.
            found = connection.execute(text(f"SELECT surface FROM {table}")).scalars().all()
            assert found == ["clad"]
    assert _stays_as_it_is(engine)
