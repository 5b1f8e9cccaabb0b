"""From a logger's file in hand to the verdict on the page: the real server's time and memory."""

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, timedelta
from pathlib import Path

from app.database import Database
from app.loads import service
from app.loads.importing.record_wanted import plain_layout
from app.loads.importing.sources import Source
from tests.makers import NOW, Shop
from tests.speed.logger_file import SENSORS, write_long_record
from tests.speed.serving import Answer, Caller, Server, form_of, multipart
from tests.visits import words

LOADS = 3
KEPT_LOADS = 6
VERDICTS = ("conforms", "does not conform", "not proven")


@dataclass(frozen=True, slots=True)
class Import:
    """Seconds of each part of one import; ``whole_s`` is their sum."""

    upload_s: float
    preview_s: float
    keep_s: float
    page_s: float

    @property
    def whole_s(self) -> float:
        return self.upload_s + self.preview_s + self.keep_s + self.page_s


def make_loads(database_url: str) -> list[str]:
    """A shop with loads of one panel and forty load sensors each; hands back their identities."""
    database = Database(database_url)
    shop = Shop(database)
    codes = [shop.panel_in_load(sensors=SENSORS)[0].code for _ in range(LOADS)]
    database.close()
    return codes


def kept_s(database_url: str, folder: Path) -> float:
    """Seconds of one import proper: a file on disk read, judged and kept; the best of five.

    A first one, which loads the libraries, is not counted. The best, as of the bare parses.
    """
    database = Database(database_url)
    shop = Shop(database)
    codes = [shop.panel_in_load(sensors=SENSORS)[0].code for _ in range(KEPT_LOADS)]
    taken = []
    for code, path in zip(codes, write_records(folder, codes), strict=True):
        with path.open(encoding="utf-8") as file:
            columns = file.readline().strip().split(",")[1:]
        chosen = plain_layout({name: name for name in columns}, vacuum="VAC")
        began = time.perf_counter()
        service.import_record(
            database,
            code,
            [Source(path.name, path)],
            chosen,
            by=shop.inspector,
            at=NOW + timedelta(days=KEPT_LOADS),
            zone=UTC,
        )
        taken.append(time.perf_counter() - began)
    database.close()
    return min(taken[1:])


def write_records(folder: Path, codes: list[str]) -> list[Path]:
    """A file of its own for each load."""
    paths = []
    for number, code in enumerate(codes):
        path = folder / f"{code}.csv"
        write_long_record(path, starts_at=NOW + timedelta(days=number), seed=number)
        paths.append(path)
    return paths


def bare_parse_s(path: Path) -> dict[str, float]:
    """The best of five bare parses by each library, each in a fresh process."""
    taken = {}
    for library in ("polars", "pyarrow"):
        command = [sys.executable, "-m", "tests.speed.bare_parse", library, str(path)]
        answer = subprocess.run(command, check=True, capture_output=True, text=True)
        taken[library] = float(answer.stdout)
    return taken


def imports(server: Server, codes: list[str], paths: list[Path]) -> list[Import]:
    """Import each load's file over HTTP, as an inspector's browser would."""
    caller = Caller(server.port)
    caller.sign_in("mara")
    taken = [_import(caller, code, path) for code, path in zip(codes, paths, strict=True)]
    caller.close()
    return taken


def median_of(taken: list[Import]) -> Import:
    """The import whose sum is the middle one."""
    middle = statistics.median_low(one.whole_s for one in taken)
    return next(one for one in taken if one.whole_s == middle)


def _import(caller: Caller, code: str, path: Path) -> Import:
    body = multipart(caller.csrf, path.name, path.read_bytes())
    upload_s, sent = _timed(lambda: caller.upload(f"/loads/{code}/record", body))
    assert sent.status == 303, words(sent.text)[:800]
    preview_s, preview = _timed(lambda: caller.get(sent.location))
    keep = f"/loads/{code}/record/keep"
    fields = form_of(preview.text, keep)
    keep_s, kept = _timed(lambda: caller.send(keep, fields))
    assert kept.status == 303, words(kept.text)[:800]
    page_s, page = _timed(lambda: caller.get(kept.location))
    shown = words(page.text).lower()
    assert page.status == 200
    assert any(verdict in shown for verdict in VERDICTS), shown[:800]
    return Import(upload_s, preview_s, keep_s, page_s)


def _timed(call: Callable[[], Answer]) -> tuple[float, Answer]:
    began = time.perf_counter()
    answer = call()
    return time.perf_counter() - began, answer
