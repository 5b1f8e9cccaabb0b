"""The load that is in the furnace now: its logger sends the rows, and one sensor drifts.

What is past when the demonstration is filled goes in hour by hour; the file of the whole run, with
what is still to come, lies ready for a sender that goes on while the demonstration is served.
"""

import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import pairwise
from pathlib import Path

import numpy as np

from app.cli.send_record import Run, read_run
from app.loads.live import live_queries
from app.loads.live.live_rows import MOST_ROWS_A_BATCH, Batch, Opening
from app.loads.service import issue_token, open_live, take_rows
from seed_demo.diary import DemoShop
from seed_demo.furnace_physics import FurnaceRun, simulate
from seed_demo.load_plan import HOUR_S, Load
from seed_demo.logger_file import write_csv
from seed_demo.scenario_loads import LOADS

LIVE_LOAD = "L-212"
LOGGER_NAME = "cabinet at AK2"
DRIFTING = "TC2"
DRIFTED_H, CROSSES_IN_H = 1.5, 0.9
"""The drift began so long before the filling, and would cross the band's end so long after it."""
_HIGH_C = 153.0
_ADMINISTRATOR = "botterley"
RUN_FILE, TOKEN_FILE = "growing-run.csv", "growing-run.token"


def live_load() -> Load:
    """The load that is in the furnace now."""
    return next(load for load in LOADS if load.number == LIVE_LOAD)


def growing_run(now: datetime) -> FurnaceRun:
    """The whole run as it will have been, one junction creeping upwards from before ``now`` on."""
    load, now = live_load(), now.astimezone(UTC)
    run = simulate(replace(load.run(now), faults=load.faults))
    now_s = (now - run.start).total_seconds()
    begins_s, crosses_s = now_s - DRIFTED_H * HOUR_S, now_s + CROSSES_IN_H * HOUR_S
    readings = run.channels[DRIFTING]
    at_first = float(np.interp(begins_s, run.times_s, readings))
    slope = (_HIGH_C - at_first) / (crosses_s - begins_s)
    crept = readings + slope * np.clip(run.times_s - begins_s, 0.0, None)
    return replace(run, channels={**run.channels, DRIFTING: crept})


@dataclass
class _Sending:
    """The rows and the token, once there is one."""

    run: Run
    token: str = ""


def enter_live_run(shop: DemoShop, token_file: Path | None) -> None:
    """Put the token, the opening and every hour's rows into the diary.

    The token is written to ``token_file``; without one nobody ever sees it.
    """
    load = live_load()
    begins = load.begins(shop.now).astimezone(shop.zone)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / RUN_FILE
        write_csv(growing_run(shop.now), path)
        run = read_run(path)
    sending = _Sending(run)
    shop.enter(begins - timedelta(days=2), partial(_issue, shop, sending, token_file))
    shop.enter(run.times[0], partial(_open, shop, sending))
    past = sum(at <= shop.now for at in run.times)
    edges = [*range(0, past, round(HOUR_S / _step_s(run))), past]
    for first, last in pairwise(edges):
        shop.enter(run.times[last - 1], partial(_send, shop, sending, first, last))


def _step_s(run: Run) -> float:
    return (run.times[1] - run.times[0]).total_seconds()


def _issue(shop: DemoShop, sending: _Sending, token_file: Path | None, at: datetime) -> None:
    load = live_load()
    sending.token = issue_token(
        shop.database,
        name=LOGGER_NAME,
        furnace=load.furnace,
        answers=load.readings_by,
        ends_at=at + timedelta(days=90),
        by=shop.people[_ADMINISTRATOR],
        at=at,
    )
    if token_file is not None:
        token_file.write_text(sending.token + "\n", encoding="utf-8")
        token_file.chmod(0o600)


def _logger(shop: DemoShop, sending: _Sending, at: datetime) -> live_queries.Logger:
    with shop.database.read() as session:
        found = live_queries.logger_of(session, sending.token, at=at)
    if found is None:
        raise LookupError("the demonstration's logger has no token in force")
    return found


def _open(shop: DemoShop, sending: _Sending, at: datetime) -> None:
    opening = Opening(sending.run.channels, "C")
    open_live(shop.database, LIVE_LOAD, opening, logger=_logger(shop, sending, at), at=at)


def _send(shop: DemoShop, sending: _Sending, first: int, last: int, at: datetime) -> None:
    logger = _logger(shop, sending, at)
    for begin in range(first, last, MOST_ROWS_A_BATCH):
        rows = sending.run.rows[begin : min(last, begin + MOST_ROWS_A_BATCH)]
        take_rows(shop.database, LIVE_LOAD, Batch(begin, rows), logger=logger, at=at)


def write_run_to_come(folder: Path, now: datetime) -> None:
    """Write the whole run's file for :func:`go_on_sending`; ``now`` is the filling's."""
    write_csv(growing_run(now), folder / RUN_FILE)


def go_on_sending(folder: Path, port: int) -> subprocess.Popen[bytes] | None:
    """Send the rest of the run, each row in its time; None where the files are not there.

    The process ends by itself with the run; whoever started it ends it before.
    """
    if not (folder / RUN_FILE).exists() or not (folder / TOKEN_FILE).exists():
        return None
    command = ["send-record", str(folder / RUN_FILE), "--load", LIVE_LOAD]
    command += ["--url", f"http://127.0.0.1:{port}", "--token-file", str(folder / TOKEN_FILE)]
    return subprocess.Popen(  # noqa: S603 - our own command, no shell
        [sys.executable, "-c", "from app.cli import main; main()", *command],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
