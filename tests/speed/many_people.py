"""Fifty people logging coupons at once: how long a save takes, and what share of the bare rate.

The bare rate is that of plain SQLAlchemy sessions, one after the other, that add and commit the
very same rows to a copy of the same database under the same settings: nothing read, nothing
judged, nothing checked, and nobody to wait for.
"""

import random
import shutil
import sqlite3
import statistics
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import func, inspect, select
from sqlalchemy.engine import make_url
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.bench import service
from app.bench.records import CouponVerdict
from app.bench.records import Reading as ReadingRow
from app.bench.service import ReadingsTaken
from app.cli.migrate import migrate
from app.database import Base, Database
from app.panels.records import Coupon, CustodyStep
from tests.speed.crowd import ZONE, AtWork, make_crowd
from tests.speed.pages_served import readings_form
from tests.speed.postgresql import new_database, postgresql
from tests.speed.serving import Caller, Server
from tests.visits import words

PEOPLE = 50
COUPONS = 6
"""Saves that are timed for each person. One before them is not: a server just started opens its
connections to the database with it, and reads its templates."""
PAUSE_S = 10.0
"""From one save to the next, from half to one and a half of it. The keystroke-level model of
tests/browser/test_bench_keys.py gives 18 s of keying for a coupon, besides fetching and placing it:
nobody is as quick as this. At 5 s each, as a hundred quick people would, the slowest saves on
PostgreSQL take longer than the limit."""
THREADS = 4
ROUNDS = 5
A_ROUND = 40
"""Saves by each thread in a round."""
VALUES = ("84.5", "85.0", "85.5")


@dataclass(frozen=True, slots=True)
class Place:
    """A kind of database: how to make an empty one with its tables, and a copy of one."""

    kind: str
    fresh: Callable[[str], str]
    copy: Callable[[str, str], str]


@contextmanager
def places(folder: Path) -> Iterator[tuple[Place, Place]]:
    """SQLite files in the folder, and a PostgreSQL server for as long as the block runs."""

    def file_url(name: str) -> str:
        return f"sqlite:///{folder / f'{name}.sqlite'}"

    def fresh_file(name: str) -> str:
        migrate(file_url(name))
        return file_url(name)

    def copied_file(url: str, name: str) -> str:
        path = make_url(url).database
        assert path is not None
        connection = sqlite3.connect(path)
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.close()
        shutil.copy(path, folder / f"{name}.sqlite")
        return file_url(name)

    with postgresql() as address:

        def fresh_database(name: str) -> str:
            url = new_database(address, name)
            migrate(url)
            return url

        def copied_database(url: str, name: str) -> str:
            return new_database(address, name, like=make_url(url).database or "")

        yield (
            Place("SQLite", fresh_file, copied_file),
            Place("PostgreSQL", fresh_database, copied_database),
        )


@dataclass(frozen=True, slots=True)
class Saves:
    """Seconds of each save, and of each with the page shown again after it, shortest first."""

    save_s: list[float]
    shown_s: list[float]

    @property
    def slowest(self) -> float:
        """The ninety-ninth of a hundred saves."""
        return self.save_s[int(len(self.save_s) * 0.99)]


def saves_at_once(place: Place) -> Saves:
    """Everybody saves coupons for as long as they have any, over HTTP, each at their own pace."""
    url = place.fresh("people")
    database = Database(url)
    crowd = make_crowd(database, people=PEOPLE, coupons=COUPONS + 1)
    database.close()
    taken: list[tuple[float, float]] = []
    faults: list[BaseException] = []
    with Server(url) as server:
        callers = [_signed_in(server, one) for one in crowd]
        gate = threading.Barrier(len(crowd))

        def work(one: AtWork, caller: Caller) -> None:
            gate.wait(timeout=60)
            try:
                _log(one, caller, taken)
            except BaseException as fault:  # noqa: BLE001 - told to the benchmark's own thread
                faults.append(fault)

        _all(work, list(zip(crowd, callers, strict=True)))
        for caller in callers:
            caller.close()
    if faults:
        raise faults[0]
    assert len(taken) == PEOPLE * COUPONS, "a save was lost"
    return Saves(sorted(save for save, _ in taken), sorted(shown for _, shown in taken))


def _signed_in(server: Server, one: AtWork) -> Caller:
    caller = Caller(server.port)
    caller.sign_in(one.by.username)
    return caller


def _log(one: AtWork, caller: Caller, taken: list[tuple[float, float]]) -> None:
    """One person's coupons: send the form, look at the page, fetch the next coupon."""
    pace = random.Random(one.session_id)  # noqa: S311 - not for anything secret
    _pause(caller, pace.uniform(0, PAUSE_S))
    for number, code in enumerate(one.coupons):
        began = time.perf_counter()
        form = readings_form(code, f"save-{code}", VALUES)
        answer = caller.send(f"/bench/sessions/{one.session_id}/readings", form)
        saved = time.perf_counter() - began
        assert answer.status == 303, words(answer.text)[:800]
        page = caller.get(answer.location)
        if number:
            taken.append((saved, time.perf_counter() - began))
        assert "provisional" in page.text, "the verdict is on the page"
        _pause(caller, pace.uniform(0.5, 1.5) * PAUSE_S)


def _pause(caller: Caller, seconds: float) -> None:
    """Wait, without a connection: the server closes one that rests, as the browser knows."""
    caller.close()
    time.sleep(seconds)


def _all(work: Callable[..., None], parts: Sequence[tuple[Any, ...]]) -> float:
    """Do every part in a thread of its own; the seconds until the last has ended."""
    threads = [threading.Thread(target=work, args=part) for part in parts]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.perf_counter() - began


@dataclass(frozen=True, slots=True)
class Commits:
    """Saves committed a second by the program, and bare by the database; a median of rounds."""

    own: float
    bare: float
    share: float


_Row = tuple[type[Base], dict[str, Any]]
_KINDS = (CustodyStep, ReadingRow, CouponVerdict, TrailEntry)


def commits(place: Place) -> Commits:
    """The program's saves by several threads, by turns with the same rows added bare."""
    url = place.fresh("own")
    database = Database(url)
    crowd = make_crowd(database, people=THREADS, coupons=ROUNDS * A_ROUND + 1)
    database.close()
    bare = Database(place.copy(url, "bare"))
    database = Database(url)
    own_s, bare_s, shares = [], [], []
    for number in range(-1, ROUNDS):
        # The first round, of one save each, warms both up and is not counted.
        first, last = (0, 1) if number < 0 else (1 + number * A_ROUND, 1 + (number + 1) * A_ROUND)
        before = _last_keys(database)
        parts = [(database, one, one.coupons[first:last]) for one in crowd]
        own = _all(_save, parts)
        rows = _rows_since(database, before)
        alone = _all(_add, [(bare, [rows[code] for _, _, codes in parts for code in codes])])
        if number >= 0:
            own_s.append(own)
            bare_s.append(alone)
            shares.append(alone / own)
    database.close()
    bare.close()
    saves = THREADS * A_ROUND
    return Commits(
        saves / statistics.median(own_s),
        saves / statistics.median(bare_s),
        statistics.median(shares),
    )


def _save(database: Database, one: AtWork, codes: Sequence[str]) -> None:
    for code in codes:
        taken = ReadingsTaken(
            code, tuple(map(Decimal, VALUES)), f"save-{code}", spacing_confirmed=True
        )
        at = datetime.now(UTC)
        service.record_readings(
            database, taken, session_id=one.session_id, by=one.by, at=at, zone=ZONE
        )


def _add(database: Database, saves: Sequence[Sequence[_Row]]) -> None:
    for rows in saves:
        with Session(database.engine) as session:
            session.add_all([kind(**columns) for kind, columns in rows])
            session.commit()


def _last_keys(database: Database) -> dict[type[Base], int]:
    with database.read() as session:
        return {
            kind: session.scalar(select(func.max(inspect(kind).primary_key[0]))) or 0
            for kind in _KINDS
        }


def _rows_since(database: Database, before: dict[type[Base], int]) -> dict[str, list[_Row]]:
    """The rows of each save, by coupon, without the keys that a database gives by itself."""
    found: dict[str, list[_Row]] = {}
    with database.read() as session:
        codes = dict(session.execute(select(Coupon.id, Coupon.code)).tuples().all())
        for kind in _KINDS:
            key = inspect(kind).primary_key[0]
            for row in session.scalars(select(kind).where(key > before[kind]).order_by(key)):
                columns = {
                    one.key: getattr(row, one.key)
                    for one in inspect(kind).column_attrs
                    if isinstance(row, TrailEntry) or one.key != "id"
                }
                code = (
                    row.about_code if isinstance(row, TrailEntry) else codes[columns["coupon_id"]]
                )
                found.setdefault(code, []).append((kind, columns))
    return found
