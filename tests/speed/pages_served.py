"""The dossier's throughput beside a bare page's, queries of lists, and a save at the bench."""

import re
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import event
from starlette.testclient import TestClient

from app.bench import service as bench
from app.bench.records import CheckMoment
from app.bench.service import CheckTaken
from app.database import Database
from app.main import create_app
from app.panels.records import Custody
from app.release import service as release
from app.settings import Settings
from tests.bench.bench_makers import Bench
from tests.makers import Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.speed.serving import Caller, Server, free_port, wait_for
from tests.visits import PASSWORD, words

REQUESTS = 300
ROUNDS = 3
ANEW = 80
SAVES = 60
FAR = date(2126, 1, 1)
LISTS = ("/", "/panels", "/loads", "/bench", "/lots", "/shop")
_ZONE = ZoneInfo("UTC")


def make_released_panel(database: Database) -> tuple[Shop, str]:
    """A released panel: four coupons of six readings, leak check, record, unwrapping, decision."""
    at_work = Bench(database)
    evidence = Evidence(database, at_work.shop)
    load, panel, coupons, _ = at_work.shop.panel_in_load(coupons=4)
    with database.write() as session:
        evidence.fill(session, load, panel, coupons, recovered=False, verdicts=False)
        for coupon in coupons:
            at_work.shop.custody(session, coupon, Custody.RECOVERED)
    for tester, values in (("HT-1", ("84.5", "85.0", "85.5")), ("CM-1", ("39.0", "39.1", "38.9"))):
        number = at_work.open(tester)
        for coupon in coupons:
            at_work.read(number, coupon, *values)
        at_work.check(number, tester, "closing")
    release.release_panel(
        database,
        panel.code,
        seen=case(database, panel).seen,
        password=PASSWORD,
        by=at_work.shop.second,
        at=LATER,
        zone=_ZONE,
    )
    return at_work.shop, panel.code


def dossier_rate(server: Server, code: str) -> float:
    """Dossiers a second."""
    caller = Caller(server.port)
    caller.sign_in("olek")
    page = caller.get(f"/panels/{code}")
    shown = words(page.text)
    assert page.status == 200
    assert "released" in shown, shown[:600]
    assert shown.count("85.5") >= 4, "the dossier shows every reading"
    cookie = caller.cookie
    caller.close()
    return _rate(server.port, f"/panels/{code}", cookie)


@contextmanager
def bare_page(folder: Path) -> Iterator[int]:
    """The bare page's server; hands over its port."""
    port = free_port()
    command = [sys.executable, "-m", "tests.speed.bare_app", str(folder), str(port)]
    served = subprocess.Popen(command)
    try:
        wait_for(port, served)
        yield port
    finally:
        served.kill()
        served.wait()


def bare_rate(port: int) -> float:
    """Bare pages a second."""
    return _rate(port, "/", "")


def opened_anew(server: Server, shop: Shop, code: str, bare_port: int) -> tuple[float, float]:
    """Seconds of a dossier right after an act elsewhere in the shop, and of a bare page; medians.

    One at a time and by turns, so that both see the same machine.
    """
    caller = Caller(server.port)
    caller.sign_in("olek")
    bare = Caller(bare_port)
    taken: list[tuple[float, float]] = []
    other = shop.panel_in_load()[1].code
    for number in range(ANEW):
        reason = f"hold number {number}"
        release.place_hold(shop.database, other, reason=reason, by=shop.second, at=LATER)
        taken.append((_one(caller, f"/panels/{code}"), _one(bare, "/")))
    caller.close()
    bare.close()
    dossier_s, bare_s = (statistics.median(times) for times in zip(*taken, strict=True))
    return dossier_s, bare_s


def _one(caller: Caller, address: str) -> float:
    began = time.perf_counter()
    answer = caller.get(address)
    taken = time.perf_counter() - began
    assert answer.status == 200, address
    return taken


def _rate(port: int, path: str, cookie: str) -> float:
    command = [sys.executable, "-m", "tests.speed.requests_per_second"]
    command += [str(port), path, cookie, str(REQUESTS)]
    answer = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(answer.stdout)


def list_queries(folder_url: str) -> dict[str, tuple[int, int]]:
    """Statements that each list needs with ten rows and with twenty."""
    database = Database(folder_url)
    shop = Shop(database)
    _ten_more(database, shop)
    app = create_app(Settings(database_url=folder_url))
    with TestClient(app, follow_redirects=False) as client:
        client.post("/sign-in", data={"username": "mara", "password": PASSWORD})
        at_ten = {address: statements(client, app, address) for address in LISTS}
        _ten_more(database, shop)
        at_twenty = {address: statements(client, app, address) for address in LISTS}
    database.close()
    return {address: (at_ten[address], at_twenty[address]) for address in LISTS}


def _ten_more(database: Database, shop: Shop) -> None:
    """Ten loads, panels and lots more, coupons at hand for the bench."""
    for _ in range(10):
        _, _, coupons, _ = shop.panel_in_load()
        with database.write() as session:
            shop.lot(session, f"LOT-OF-{coupons[0].code}")
            for coupon in coupons:
                shop.custody(session, coupon, Custody.RECOVERED)


def statements(client: TestClient, app: Any, address: str) -> int:
    """How many statements the page needs when it is asked for a second time."""
    assert client.get(address).status_code == 200, address
    told: list[str] = []

    def note(*given: Any) -> None:
        told.append(given[2])

    engine = app.state.database.engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        assert client.get(address).status_code == 200
    finally:
        event.remove(engine, "before_cursor_execute", note)
    return len([statement for statement in told if not statement.startswith("BEGIN")])


def make_bench(database: Database) -> tuple[int, list[str]]:
    """An open session of mara's at a tester in date, and coupons at hand to be measured."""
    shop = Shop(database)
    papers_for_long(database, shop)
    _, _, coupons, _ = shop.panel_in_load(coupons=SAVES)
    with database.write() as session:
        for coupon in coupons:
            shop.custody(session, coupon, Custody.RECOVERED)
    return open_now(database, shop), [coupon.code for coupon in coupons]


def papers_for_long(database: Database, shop: Shop) -> None:
    """Certificates that hold whatever day the server's clock shows."""
    with database.write() as session:
        for tester_id, code, quantity, unit, value, error in (
            (shop.hardness_tester_id, "RB-LONG-HT", "hardness", "HRB", "85.0", "1.0"),
            (shop.meter_id, "RB-LONG-CM", "conductivity", "%IACS", "38.9", "0.5"),
        ):
            shop.tester_certificate(session, tester_id, "C-LONG", due_on=FAR)
            shop.block(session, code, quantity, unit, value, error, expires_on=FAR)


def open_now(database: Database, shop: Shop, tester: str = "HT-1") -> int:
    """A session of mara's at the tester, its opening check conforming, by today's clock."""
    at = datetime.now(UTC)
    number = bench.open_session(database, tester_code=tester, by=shop.inspector, at=at, zone=_ZONE)
    check_now(database, shop, number, tester, CheckMoment.OPENING)
    return number


def check_now(
    database: Database, shop: Shop, number: int, tester: str, moment: CheckMoment
) -> None:
    """A conforming check on the block, by today's clock."""
    kind = tester.removesuffix("-1")
    readings = {"HT": ("85.2", "84.8"), "CM": ("38.9",)}[kind]
    taken = CheckTaken(
        moment=moment,
        block_code=f"RB-LONG-{kind}",
        readings=tuple(Decimal(one) for one in readings),
        block_c=None,
    )
    at = datetime.now(UTC)
    bench.record_check(database, taken, session_id=number, by=shop.inspector, at=at, zone=_ZONE)


def saves(server: Server, number: int, coupons: list[str]) -> list[float]:
    """Seconds of each save of three readings, form sent to page shown again, shortest first."""
    caller = Caller(server.port)
    caller.sign_in("mara")
    taken = []
    for coupon in coupons:
        fields = readings_form(coupon, f"save-{coupon}", ("84.5", "85.0", "85.5"))
        began = time.perf_counter()
        answer = caller.send(f"/bench/sessions/{number}/readings", fields)
        assert answer.status == 303, words(answer.text)[:800]
        page = caller.get(answer.location)
        taken.append(time.perf_counter() - began)
        assert re.search("provisional", page.text), "the verdict is on the page"
    caller.close()
    return sorted(taken)


def readings_form(coupon: str, submission: str, values: tuple[str, ...]) -> dict[str, str]:
    """A form of hardness readings as the session's page sends it."""
    figures = {f"reading_{number}": value for number, value in enumerate(values, start=1)}
    return {
        "coupon": coupon,
        "submission": submission,
        "fields": str(len(values)),
        "spacing_confirmed": "yes",
        **figures,
    }
