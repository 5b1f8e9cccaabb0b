"""One Chromium for all browser tests of a test process, and the filled demonstration to visit."""

import fcntl
import os
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, StorageState, sync_playwright

from app.database import Database
from app.settings import Settings
from seed_demo.scenario import SHOP, SHOP_ZONE
from seed_demo.seeding import seed
from seed_demo.waiting_files import write_waiting_files
from tests.browser.desks import Desk, Served, people_of, sign_in
from tests.conftest import chromium

DATABASE = "temperbook.sqlite"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The browser; each test opens and closes its own pages in it."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path=chromium(),
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield opened
        opened.close()


def settings_over(folder: Path) -> Settings:
    """The demonstration's settings over the database in ``folder``."""
    return Settings(
        database_url=f"sqlite:///{folder / DATABASE}",
        shop_name=SHOP,
        time_zone=SHOP_ZONE,
        demo=True,
    )


@pytest.fixture(scope="session")
def filled(migrated_sqlite: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a filled demonstration, made once for all test processes; never entered in."""
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent
    folder = root / "filled"
    with (root / "filled.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "files").is_dir():
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            shutil.copy(migrated_sqlite, folder / DATABASE)
            settings, now = settings_over(folder), datetime.now(UTC)
            database = Database(settings.database_url)
            seed(database, settings, now)
            database.close()
            write_waiting_files(folder / "being-written", now)
            (folder / "being-written").rename(folder / "files")
    return folder


@pytest.fixture(scope="session")
def served(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demonstration on a port of its own; tests only read from it."""
    folder = tmp_path_factory.mktemp("read")
    shutil.copy(filled / DATABASE, folder / DATABASE)
    with Served(settings_over(folder)) as opened:
        yield opened


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Iterator[Served]:
    """A demonstration of the test's own, in which it may enter what it likes."""
    shutil.copy(filled / DATABASE, tmp_path / DATABASE)
    with Served(settings_over(tmp_path)) as opened:
        yield opened


@pytest.fixture(scope="session")
def passes(browser: Browser, served: Served) -> Callable[[str | None], StorageState | None]:
    """Sign somebody in to ``served``, once each: what to open a desk with as that person."""
    kept: dict[str, StorageState] = {}

    def pass_of(username: str | None) -> StorageState | None:
        if username is None:
            return None
        if username not in kept:
            context = browser.new_context(base_url=served.address)
            sign_in(context.new_page(), username)
            kept[username] = context.storage_state()
            context.close()
        return kept[username]

    return pass_of


@pytest.fixture
def seat(browser: Browser, own: Served) -> Iterator[Callable[..., Desk]]:
    """Seat somebody, signed in, at a browser of their own before ``own``."""
    desks: list[Desk] = []

    def seated(username: str, *, script: bool = True) -> Desk:
        desk = Desk(browser, own, script=script)
        desks.append(desk)
        sign_in(desk.page, username)
        desk.person = people_of(username)
        return desk

    yield seated
    for desk in desks:
        desk.close()
