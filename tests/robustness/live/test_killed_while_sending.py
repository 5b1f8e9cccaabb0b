"""The server is killed while loggers send to it, again and again: no row lost, none twice.

What was answered is on record; what was not is whole or absent; each sender goes on by itself.
"""

import json
import random
import socket
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.audit.verify import verify_trail
from app.cli import send_record
from app.cli.send_record import Sender, read_run, send, send_record_command
from app.database import Database
from app.loads import queries, service
from app.loads.live import live_queries
from tests.loads.live.live_makers import CHANNELS, lines_as_kept, rows_of
from tests.loads.logger_files import STEP_S
from tests.makers import Shop
from tests.speed.serving import Server, free_port

ROUNDS = 5
SEED = 20_261_125
ROWS = 271


class Places:
    """Two loads and a token, in a shop whose clock is the machine's."""

    def __init__(self, database: Database, folder: Path) -> None:
        self.database = database
        self.shop = Shop(database)
        now = datetime.now(UTC)
        self.token = service.issue_token(
            database,
            name="cabinet",
            furnace="FN-1",
            answers="mara",
            ends_at=now + timedelta(days=1),
            by=self.shop.administrator,
            at=now,
        )
        self.token_file = folder / "token"
        self.token_file.write_text(self.token + "\n")
        self.loads = [self.shop.panel_in_load()[0] for _ in range(2)]
        self.rows = rows_of(0, ROWS, start=now - timedelta(seconds=(ROWS + 5) * STEP_S))

    def kept(self, load_id: int) -> list[str]:
        with self.database.read() as session:
            live = live_queries.live_of(session, load_id)
            if live is None:
                return []
            return live_queries.lines_from(session, live.id, first=0, most=1_000_000)

    def write_csv(self, path: Path) -> Path:
        lines = [",".join(["time", *CHANNELS]), *(",".join(row) for row in self.rows)]
        path.write_text("\n".join(lines) + "\n")
        return path


@pytest.fixture
def places(sqlite_url: str, tmp_path: Path) -> Places:
    return Places(Database(sqlite_url), tmp_path)


def test_a_server_that_is_killed_loses_and_doubles_no_row(
    places: Places, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    moments = random.Random(SEED)  # noqa: S311 - the same moments each time, nothing secret
    monkeypatch.setattr(send_record, "_AT_ONCE", 3)
    monkeypatch.setattr(send_record, "_LONGEST_WAIT_S", 0.5)
    run = read_run(places.write_csv(tmp_path / "run.csv"))
    server = Server(places.database.url)
    server.start()
    port = server.port
    # Each time it comes back at the same address, as a service does.
    monkeypatch.setattr("tests.speed.serving.free_port", lambda: port)
    sent: list[int] = []
    faults: list[BaseException] = []

    def go(code: str) -> None:
        try:
            sender = Sender(f"http://127.0.0.1:{port}", code, places.token)
            sent.append(send(sender, run))
        except BaseException as fault:  # noqa: BLE001 - told to the test's own thread
            faults.append(fault)

    threads = [threading.Thread(target=go, args=(load.code,)) for load in places.loads]
    for thread in threads:
        thread.start()
    cut = 0
    for _ in range(ROUNDS):
        time.sleep(moments.uniform(0.1, 0.4))
        cut += any(thread.is_alive() for thread in threads)
        server.kill()
        for load in places.loads:
            kept = places.kept(load.id)
            assert kept == lines_as_kept(places.rows)[: len(kept)]
        server.start()
    for thread in threads:
        thread.join(timeout=60)
        assert not thread.is_alive()
    assert faults == []
    assert sent == [ROWS, ROWS]
    assert cut >= 2, "no kill came while rows were sent"
    for load in places.loads:
        assert places.kept(load.id) == lines_as_kept(places.rows)
    server.kill()
    with places.database.read() as session:
        report = verify_trail(session)
        assert report.holds, report.problems
        assert live_queries.broken_chains(session) == []
    places.database.close()


def test_the_command_sends_a_file_to_its_verdict(
    places: Places, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = places.write_csv(tmp_path / "run.csv")
    with Server(places.database.url) as server:
        asked = {"url": f"http://127.0.0.1:{server.port}", "token_file": places.token_file}
        code = places.loads[0].code
        assert send_record_command(path, load=code.lower(), **asked) == 0  # type: ignore[arg-type]
        said = capsys.readouterr().out
        assert f"{ROWS} rows are on record." in said
        assert "The record is closed and kept: conforms." in said
        assert send_record_command(path, load=code, **asked) == 2  # type: ignore[arg-type]
        assert "has its furnace record already" in capsys.readouterr().err
        assert send_record_command(path, load="L-NONE", **asked) == 2  # type: ignore[arg-type]
        assert "No load L-NONE" in capsys.readouterr().err
    with places.database.read() as session:
        record = queries.current_record(session, places.loads[0].id)
    assert record is not None
    assert record.samples == ROWS
    places.database.close()


def test_a_file_played_faster_keeps_its_own_pace(places: Places, tmp_path: Path) -> None:
    run = read_run(places.write_csv(tmp_path / "run.csv"))
    with Server(places.database.url) as server:
        sender = Sender(f"http://127.0.0.1:{server.port}", places.loads[0].code, places.token)
        began = time.monotonic()
        # 270 minutes at 10,000 times: 1.6 s.
        assert send(sender, run, speed=10_000) == ROWS
        took_s = time.monotonic() - began
    assert 1.5 < took_s < 15
    places.database.close()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "cannot be read as CSV"),
        ("time,TC1\n2026-03-02T06:00:00,1\n", "row 2: the first column holds no time"),
        ("time,TC1\n\n", "row 2: the first column holds no time"),
    ],
)
def test_a_file_that_cannot_be_played_is_refused(
    places: Places, tmp_path: Path, capsys: pytest.CaptureFixture[str], content: str, says: str
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(content)
    address = f"http://127.0.0.1:{free_port()}"
    answer = send_record_command(path, load="L-1", url=address, token_file=places.token_file)
    assert answer == 2
    assert says in capsys.readouterr().err
    places.database.close()


def test_a_line_that_is_cut_in_the_middle_of_a_body_keeps_nothing(places: Places) -> None:
    code = places.loads[0].code
    with Server(places.database.url) as server:
        sender = Sender(f"http://127.0.0.1:{server.port}", code, places.token)
        sender.ask("POST", "open", {"channels": CHANNELS, "temperature_unit": "C"})
        body = json.dumps({"first": 0, "rows": places.rows}).encode()
        head = (
            f"POST /live/{code}/rows HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {places.token}"
            f"\r\nContent-Length: {len(body)}\r\n\r\n"
        ).encode()
        for share in (0, 0.3, 0.9):
            with socket.create_connection(("127.0.0.1", server.port)) as line:
                line.sendall(head + body[: int(len(body) * share)])
        time.sleep(0.3)
        assert sender.ask("GET", "next") == {"next": 0, "open": True}
        said = sender.ask("POST", "rows", {"first": 0, "rows": places.rows})
        assert said == {"next": ROWS}
    places.database.close()
