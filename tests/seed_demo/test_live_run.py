"""The growing record of the demonstration: there once it is filled, and followed up later."""

import shutil
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from app.audit.verify import verify_trail
from app.database import Database
from app.loads import queries
from app.loads.live import live_queries
from app.loads.live.live_state import live_state
from app.loads.live.live_watch import Watch
from app.settings import Settings
from seed_demo.live_run import (
    DRIFTING,
    LIVE_LOAD,
    TOKEN_FILE,
    go_on_sending,
    growing_run,
    write_run_to_come,
)
from seed_demo.scenario import SHOP, SHOP_ZONE
from seed_demo.seeding import seed
from tests.speed.serving import Server

BEHIND = timedelta(minutes=10)


@pytest.fixture(scope="module")
def demonstration(migrated_sqlite: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demonstration filled ten minutes ago; its folder with the sender's two files."""
    folder = tmp_path_factory.mktemp("growing")
    shutil.copy(migrated_sqlite, folder / "temperbook.sqlite")
    database, now = (
        Database(f"sqlite:///{folder / 'temperbook.sqlite'}"),
        datetime.now(UTC) - BEHIND,
    )
    settings = Settings(database_url=database.url, shop_name=SHOP, time_zone=SHOP_ZONE)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("app.people.service.passwords._hasher", PasswordHasher(1, 8, 1))
        seed(database, settings, now, token_file=folder / TOKEN_FILE)
    write_run_to_come(folder, now)
    database.close()
    return folder


def test_the_run_goes_on_by_itself_and_its_drift_is_warned_of(demonstration: Path) -> None:
    database = Database(f"sqlite:///{demonstration / 'temperbook.sqlite'}")
    assert (demonstration / TOKEN_FILE).stat().st_mode & 0o077 == 0
    with database.read() as session:
        load = queries.load(session, LIVE_LOAD)
        live = live_queries.live_of(session, load.id)
        assert live is not None
        rows = live_queries.row_count(session, live.id)
        now = datetime.now(UTC) - BEHIND
        state = live_state(
            session, load, watch=Watch(), now=now, zone=Settings(time_zone=SHOP_ZONE).zone
        )
        assert live_queries.broken_chains(session) == []
        assert verify_trail(session).holds
    assert state is not None
    assert [one.key for one in state.alerts] == [f"drift:{DRIFTING}:above"]
    assert state.notes == ()
    # Ten minutes at a row every half minute have come since.
    with Server(database.url) as server:
        sender = go_on_sending(demonstration, server.port)
        assert sender is not None
        until = time.monotonic() + 30
        try:
            while True:
                with database.read() as session:
                    known = live_queries.row_count(session, live.id)
                if known >= rows + 19:
                    break
                assert time.monotonic() < until, (rows, known)
                time.sleep(0.1)
        finally:
            sender.terminate()
            assert sender.wait(10) is not None
    database.close()


def test_without_its_files_nothing_is_sent(tmp_path: Path) -> None:
    assert go_on_sending(tmp_path, 1) is None


def test_the_same_filling_gives_the_same_run() -> None:
    now = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    first, again = growing_run(now), growing_run(now)
    assert first.channels[DRIFTING].tolist() == again.channels[DRIFTING].tolist()
