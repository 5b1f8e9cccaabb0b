"""What pages take in a shop of many loads beside one of few, by turns on the same machine."""

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

from starlette.testclient import TestClient

from app.database import Database
from app.loads.service import import_record
from app.main import create_app
from app.release import service as release
from app.release.service.watching import recall_changed
from app.settings import Settings
from tests.loads.logger_files import columns, run, sources
from tests.makers import NOW, Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.speed.many_loads import copy_load
from tests.speed.pages_served import statements
from tests.speed.serving import Caller, Server
from tests.visits import PASSWORD

FEW, MANY = 100, 10_000
_CHANNELS = tuple(f"TC{number}" for number in range(1, 9))
_TURNS = 60
_SIGNED_IN = "mara"


@dataclass(frozen=True, slots=True)
class Beside:
    """One kind of page: median seconds with few loads and with many, and its statements."""

    page: str
    few_s: float
    many_s: float
    few_statements: int
    many_statements: int

    @property
    def ratio(self) -> float:
        """Many beside few."""
        return self.many_s / self.few_s


def fill(url: str, count: int) -> list[str]:
    """A shop with that many finished loads; their identities."""
    database = Database(url)
    shop, code = _finished_load(database)
    loads = copy_load(database, code, count)
    shop.panel_in_load()  # one that waits, so that the lists of what waits are not empty
    # A shop at work has looked at its trail; and its panels have to be in order to be measured.
    _, recalled = recall_changed(database, since=None, at=LATER, zone=UTC)
    assert not recalled, recalled[:3]
    database.close()
    return loads


def _finished_load(database: Database) -> tuple[Shop, str]:
    """A load with eight sensors, its record imported, four coupons measured, its panel released."""
    shop = Shop(database)
    evidence = Evidence(database, shop)
    load, panel, coupons, _ = shop.panel_in_load(coupons=4, sensors=len(_CHANNELS))
    import_record(
        database,
        load.code,
        sources(run(sensors=_CHANNELS)),
        columns(*_CHANNELS, "VAC"),
        by=shop.inspector,
        at=NOW + timedelta(hours=8),
        zone=UTC,
    )
    with database.write() as session:
        evidence.fill(session, load, panel, coupons, record=False)
    release.release_panel(
        database,
        panel.code,
        seen=case(database, panel).seen,
        password=PASSWORD,
        by=shop.second,
        at=LATER,
        zone=ZoneInfo("UTC"),
    )
    return shop, load.code


def pages_beside(few_url: str, many_url: str) -> list[Beside]:
    """Every page of `_PAGES` in both shops; by turns, so that both see the same machine."""
    few, many = fill(few_url, FEW), fill(many_url, MANY)
    found = []
    with Server(few_url) as one, Server(many_url) as other:
        callers = Caller(one.port), Caller(other.port)
        for caller in callers:
            caller.sign_in(_SIGNED_IN)
        for page, address in _PAGES.items():
            taken: list[tuple[float, float]] = []
            for turn in range(_TURNS + 1):
                # Loads from everywhere in the list, each one once, so that no page is kept ready.
                pair = [
                    _one(caller, address(loads[turn * (len(loads) // (_TURNS + 1))]))
                    for caller, loads in zip(callers, (few, many), strict=True)
                ]
                taken.append((pair[0], pair[1]))
            times = [statistics.median(each) for each in zip(*taken[1:], strict=True)]
            counts = [
                _statements(url, address(loads[-1]))
                for url, loads in ((few_url, few), (many_url, many))
            ]
            found.append(Beside(page, *times, *counts))
        for caller in callers:
            caller.close()
    return found


_PAGES: dict[str, Callable[[str], str]] = {
    "a load": lambda load: f"/loads/{load}",
    "a panel's dossier": lambda load: f"/panels/{load.replace('L-', 'P-')}",
    "the loads": lambda _: "/loads",
    "the panels": lambda _: "/panels",
    "Today": lambda _: "/",
    "a furnace": lambda _: "/furnaces/FN-1",
    "a furnace's history": lambda _: "/furnaces/FN-1/history",
}


def _one(caller: Caller, address: str) -> float:
    began = time.perf_counter()
    answer = caller.get(address)
    taken = time.perf_counter() - began
    assert answer.status in {200, 303}, (address, answer.status)
    return taken


def _statements(url: str, address: str) -> int:
    app = create_app(Settings(database_url=url))
    with TestClient(app, follow_redirects=False) as client:
        client.post("/sign-in", data={"username": _SIGNED_IN, "password": PASSWORD})
        return statements(client, app, address)
