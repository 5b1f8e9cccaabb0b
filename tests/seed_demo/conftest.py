"""A demonstration filled once for the tests that look at it."""

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from app.database import Database
from app.main import create_app
from app.settings import Settings
from seed_demo.scenario import SHOP, SHOP_ZONE
from seed_demo.seeding import seed
from tests.visits import Visit


def settings_over(path: Path) -> Settings:
    return Settings(
        database_url=f"sqlite:///{path}", shop_name=SHOP, time_zone=SHOP_ZONE, demo=True
    )


@pytest.fixture(scope="session")
def demonstration(migrated_sqlite: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demonstration filled once, on SQLite (the slow part); nothing is entered in it later."""
    path = tmp_path_factory.mktemp("demo") / "temperbook.sqlite"
    shutil.copy(migrated_sqlite, path)
    made = settings_over(path)
    database = Database(made.database_url)
    with pytest.MonkeyPatch.context() as patch:
        # Passwords hashed slowly on purpose are what takes longest; that is tested elsewhere.
        patch.setattr("app.people.service.passwords._hasher", PasswordHasher(1, 8, 1))
        seed(database, made, datetime.now(UTC))
    database.close()
    return path


@pytest.fixture
def settings(demonstration: Path, tmp_path: Path) -> Settings:
    """A copy of it for each test."""
    return settings_over(Path(shutil.copy(demonstration, tmp_path / "temperbook.sqlite")))


@pytest.fixture
def filled(settings: Settings) -> Iterator[Database]:
    """Its records."""
    database = Database(settings.database_url)
    yield database
    database.close()


@pytest.fixture
def visit(settings: Settings) -> Iterator[Visit]:
    """Somebody at a browser."""
    with Visit(create_app(settings)) as opened:
        yield opened
