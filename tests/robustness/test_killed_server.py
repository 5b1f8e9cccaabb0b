"""The server is killed in the middle of work, again and again.

What it had acknowledged is there; what it had not is there whole or not at all.
"""

import random
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select

from app.audit.verify import verify_trail
from app.bench.records import CheckMoment, CouponVerdict, Reading
from app.cli.migrate import tables_are_current
from app.database import Database
from app.loads.records import FurnaceRecord, RecordTrace, RecordVerdict, StoredFile
from app.panels.records import Coupon, Custody, Hold
from tests.loads.logger_files import run
from tests.makers import NOW, Shop
from tests.speed.pages_served import check_now, open_now, papers_for_long, readings_form
from tests.speed.serving import Caller, Server, form_of, multipart
from tests.visits import words

ROUNDS = 10
SEED = 20_260_302
LONGEST_WAIT_S = 0.25
"""The kill comes up to this long after each kind of work was acknowledged once more."""
COUPONS, LOADS, PANELS = 240, 60, 6
VALUES = ("84.5", "85.0", "85.5")


@dataclass
class Told:
    """What the clients asked for, and which of it the server said was recorded."""

    asked: set[str] = field(default_factory=set)
    acknowledged: set[str] = field(default_factory=set)
    waiting: list[str] = field(default_factory=list)
    """Addresses of previews of files that were sent and not yet kept."""


@dataclass
class Work:
    """One kind of work, done over and over until the server is gone."""

    username: str
    step: Callable[[Caller, int], None]
    numbers: Iterator[int]
    faults: list[BaseException] = field(default_factory=list)

    def go_on(self, port: int) -> None:
        caller = Caller(port)
        try:
            caller.sign_in(self.username)
            for number in self.numbers:
                self.step(caller, number)
        except OSError:
            pass  # The server is gone, as it should be.
        except BaseException as fault:  # noqa: BLE001 - told to the test's own thread
            self.faults.append(fault)
        finally:
            caller.close()


class Floor:
    """The invented shop with much to do, and three people who do it."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.shop = Shop(database)
        papers_for_long(database, self.shop)
        _, _, coupons, _ = self.shop.panel_in_load(coupons=COUPONS)
        with database.write() as session:
            for coupon in coupons:
                self.shop.custody(session, coupon, Custody.RECOVERED)
        self.coupons = [coupon.code for coupon in coupons]
        placed = [self.shop.panel_in_load(coupons=0) for _ in range(LOADS)]
        self.loads = [load.code for load, *_ in placed]
        self.panels = [panel.code for _, panel, *_ in placed[:PANELS]]
        self.session = open_now(database, self.shop)
        self.readings, self.holds, self.imports = Told(), Told(), Told()
        self.works = [
            Work("mara", self._save, iter(range(COUPONS))),
            Work("deniz", self._hold, iter(range(10_000))),
            Work("deniz", self._import, iter(range(LOADS))),
        ]

    def _save(self, caller: Caller, number: int) -> None:
        submission = f"save-{number}"
        form = readings_form(self.coupons[number], submission, VALUES)
        self.readings.asked.add(submission)
        answer = caller.send(f"/bench/sessions/{self.session}/readings", form)
        assert answer.status == 303, words(answer.text)[:800]
        self.readings.acknowledged.add(submission)

    def _hold(self, caller: Caller, number: int) -> None:
        reason = f"hold number {number} of this test"
        self.holds.asked.add(reason)
        answer = caller.post(f"/panels/{self.panels[number % PANELS]}/hold", reason=reason)
        assert answer.status == 303, words(answer.text)[:800]
        self.holds.acknowledged.add(reason)

    def _import(self, caller: Caller, number: int) -> None:
        code = self.loads[number]
        content = run(start=NOW + timedelta(days=number))
        sent = caller.upload(
            f"/loads/{code}/record", multipart(caller.csrf, f"{code}.csv", content)
        )
        assert sent.status == 303, words(sent.text)[:800]
        self.imports.waiting.append(sent.location)
        keep = f"/loads/{code}/record/keep"
        form = form_of(caller.get(sent.location).text, keep)
        self.imports.asked.add(code)
        self.imports.waiting.remove(sent.location)
        kept = caller.send(keep, form)
        assert kept.status == 303, words(kept.text)[:800]
        self.imports.acknowledged.add(code)

    def work(self, port: int) -> list[threading.Thread]:
        """Everybody at work; returns when each has been told "recorded" once more."""
        before = self._acknowledged()
        threads = [threading.Thread(target=work.go_on, args=(port,)) for work in self.works]
        for thread in threads:
            thread.start()
        until = time.monotonic() + 30
        while any(now <= then for now, then in zip(self._acknowledged(), before, strict=True)):
            assert time.monotonic() < until, "the server records nothing"
            if not all(thread.is_alive() for thread in threads):
                break  # Its work is done, or it failed: the test looks at the faults.
            time.sleep(0.005)
        return threads

    def _acknowledged(self) -> list[int]:
        return [len(told.acknowledged) for told in (self.readings, self.holds, self.imports)]

    def check(self) -> None:
        """All that was acknowledged is on record, all else whole or absent, and the trail holds."""
        assert tables_are_current(self.database.url)
        with self.database.read() as session:
            told = session.execute(
                select(Reading.submission, func.count(), func.count(CouponVerdict.id))
                .join(Coupon, Coupon.id == Reading.coupon_id)
                .outerjoin(CouponVerdict, CouponVerdict.coupon_id == Coupon.id)
                .group_by(Reading.submission)
            ).all()
            holds = session.scalars(select(Hold.reason)).all()
            records = session.execute(
                select(StoredFile.load_id, FurnaceRecord.file_name, RecordTrace.record_id)
                .outerjoin(FurnaceRecord, FurnaceRecord.file_sha256 == StoredFile.sha256)
                .outerjoin(RecordTrace, RecordTrace.record_id == FurnaceRecord.id)
                .outerjoin(RecordVerdict, RecordVerdict.record_id == FurnaceRecord.id)
                .add_columns(RecordVerdict.verdict)
            ).all()
            trail = verify_trail(session)
        for submission, count_of_readings, verdicts in told:
            assert (count_of_readings, verdicts) == (len(VALUES), len(VALUES)), submission
        _compare(self.readings, [row[0] for row in told])
        _compare(self.holds, list(holds))
        for row in records:
            assert None not in row, f"half a record: {row}"
        _compare(self.imports, [str(row.file_name).removesuffix(".csv") for row in records])
        assert trail.holds, trail.problems

    def check_waiting(self, port: int) -> None:
        """A file that was taken for a look is still there to be kept."""
        caller = Caller(port)
        caller.sign_in("deniz")
        for address in self.imports.waiting:
            page = caller.get(address)
            assert page.status == 200, words(page.text)[:400]
            assert "SHA-256" in page.text
        caller.close()


def _compare(told: Told, found: list[str]) -> None:
    assert len(found) == len(set(found)), "something was recorded twice"
    assert told.acknowledged <= set(found), told.acknowledged - set(found)
    assert set(found) <= told.asked, set(found) - told.asked


@pytest.fixture
def floor(sqlite_url: str) -> Floor:
    return Floor(Database(sqlite_url))


def test_what_was_acknowledged_survives_the_kill_and_the_rest_is_whole_or_absent(
    floor: Floor, tmp_path: Path
) -> None:
    moments = random.Random(SEED)  # noqa: S311 - the same moments each time, nothing secret
    server = Server(floor.database.url, upload_folder=str(tmp_path / "uploads"))
    for _ in range(ROUNDS):
        server.start()
        try:
            floor.check_waiting(server.port)
            threads = floor.work(server.port)
            time.sleep(moments.uniform(0, LONGEST_WAIT_S))
        finally:
            server.kill()
        for thread in threads:
            thread.join(timeout=30)
            assert not thread.is_alive()
        assert [work.faults for work in floor.works] == [[], [], []]
        floor.check()
        check_now(floor.database, floor.shop, floor.session, "HT-1", CheckMoment.INTERIM)
    unanswered = [told.asked - told.acknowledged for told in (floor.readings, floor.holds)]
    assert any(unanswered), "no kill came in the middle of an act"
    floor.database.close()
