"""Send a logger's file row by row, as the logger itself would: for a try, or beside an old logger.

What is cut off is taken up again where the server says that it stands.
"""

import csv
import http.client
import json
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from app.documents.logger.logger_rows import MISSING_WORDS
from app.errors import BadFile, Refusal

_AT_ONCE = 1000
_LOOK_EVERY_S = 1.0
_PATIENCE_S = 30.0
_LONGEST_WAIT_S = 15.0
_TOO_MANY, _OUT_OF_STEP, _FAULT = 429, 409, 500


@dataclass(frozen=True, slots=True)
class Run:
    """A file's rows: their times, and each as it is sent."""

    channels: tuple[str, ...]
    times: Sequence[datetime]
    rows: Sequence[list[str | None]]


class _Refused(Exception):
    """The server says no, and saying it again would not help."""


def send_record_command(
    record: Path,
    *,
    load: str,
    url: str,
    token_file: Path,
    speed: float | None = None,
    fahrenheit: bool = False,
    close: bool = True,
) -> int:
    """`temperbook send-record`: 0 all rows are there, 2 the file or the server refuses.

    A row is sent once its own time has come; with ``speed`` the first that is still to be sent goes
    at once and the others follow so many times faster than they were read.
    """
    try:
        run = read_run(record)
        token = token_file.read_text(encoding="utf-8").strip()
        sender = Sender(url, load.strip().upper(), token)
        sent = send(sender, run, speed=speed, unit="F" if fahrenheit else "C")
        print(f"{sent} rows are on record.")
        if close:
            print(sender.close(len(run.rows)))
    except OSError as error:
        print(f"{token_file}: {error.strerror or 'it cannot be read'}.", file=sys.stderr)
        return 2
    except (Refusal, _Refused) as refusal:
        print(str(refusal), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped; start again to go on from here.", file=sys.stderr)
    return 0


def read_run(record: Path) -> Run:
    """The file's rows: CSV with its times, which name their zone, in the first column.

    Raises:
        BadFile: the file is no such thing; names the row.
    """
    try:
        with record.open(encoding="utf-8", newline="") as opened:
            header, *body = csv.reader(opened)
    except (OSError, ValueError, csv.Error):
        raise BadFile(
            f"{record.name}: it cannot be read as CSV in UTF-8; check the file."
        ) from None
    times, rows = [], []
    for number, cells in enumerate(body, start=2):
        at = _time(cells[0].strip() if cells else "")
        if at is None:
            raise BadFile(
                f"{record.name}, row {number}: the first column holds no time with its zone, such "
                "as 2026-03-31T07:15:00+01:00."
            )
        times.append(at)
        rows.append([cells[0].strip(), *(_cell(text) for text in cells[1:])])
    return Run(tuple(name.strip() for name in header[1:]), times, rows)


def _time(text: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if at.tzinfo is None else at


def _cell(text: str) -> str | None:
    plain = text.strip()
    return None if plain.upper() in MISSING_WORDS or not plain.strip("-") else plain


class Sender:
    """One logger's connection; what fails on the way is tried again, ever less often."""

    def __init__(self, url: str, load: str, token: str) -> None:
        parts = urlsplit(url)
        if parts.scheme not in {"http", "https"} or not parts.hostname:
            raise Refusal(f"{url} is no address such as http://127.0.0.1:8150.")
        self._secure = parts.scheme == "https"
        self._place = (parts.hostname, parts.port)
        self._path = f"{parts.path.rstrip('/')}/live/{quote(load, safe='')}"
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def ask(self, method: str, what: str, body: Any = None) -> dict[str, Any]:
        """The answer, once there is one; 409 comes back with its sentence.

        Raises:
            _Refused: the server will not have it.
        """
        wait_s = 0.5
        while True:
            status, said = self._once(method, what, body)
            if status is not None and status != _TOO_MANY and status < _FAULT:
                break
            time.sleep(wait_s)
            wait_s = min(2 * wait_s, _LONGEST_WAIT_S)
        if status == http.HTTPStatus.OK or (status == _OUT_OF_STEP and "next" in said):
            return said
        raise _Refused(said.get("sentence", f"The server answered {status}."))

    def close(self, rows: int) -> str:
        """The run is over; hands back what became of its record.

        Raises:
            _Refused: not all rows are there, or they are not as they came.
        """
        said = self.ask("POST", "close", {"rows": rows})
        if "sentence" in said:
            raise _Refused(said["sentence"])
        if said["verdict"] is None:
            return f"The record is closed; no furnace record was made of it: {said['why_not']}"
        return f"The record is closed and kept: {said['verdict'].replace('_', ' ')}."

    def _once(self, method: str, what: str, body: Any) -> tuple[int | None, dict[str, Any]]:
        kind = http.client.HTTPSConnection if self._secure else http.client.HTTPConnection
        connection = kind(*self._place, timeout=_PATIENCE_S)
        content = None if body is None else json.dumps(body).encode()
        try:
            connection.request(method, f"{self._path}/{what}", content, self._headers)
            answer = connection.getresponse()
            said = json.loads(answer.read() or b"{}")
        except (OSError, http.client.HTTPException):
            return None, {}
        except ValueError:
            return answer.status, {}
        finally:
            connection.close()
        return answer.status, said


def send(sender: Sender, run: Run, *, speed: float | None = None, unit: str = "C") -> int:
    """Send every row in its time; hands back how many are on record.

    Raises:
        _Refused: the server will not have them.
    """
    opening = {"channels": run.channels, "temperature_unit": unit}
    following: int = sender.ask("POST", "open", opening)["next"]
    began, first = datetime.now(UTC), following
    while following < len(run.rows):
        due = _due(run, following, first=first, began=began, speed=speed)
        if due == following:
            time.sleep(_LOOK_EVERY_S if speed is None else min(_LOOK_EVERY_S, 0.05))
            continue
        body = {"first": following, "rows": run.rows[following:due]}
        said = sender.ask("POST", "rows", body)
        # A row that is there and different stays so, however often it is sent.
        if "sentence" in said and said["next"] >= following:
            raise _Refused(said["sentence"])
        following = said["next"]
    return following


def _due(run: Run, following: int, *, first: int, began: datetime, speed: float | None) -> int:
    """The number of the first row whose time has not come."""
    now = datetime.now(UTC)
    if speed is not None:
        now = run.times[min(first, len(run.times) - 1)] + (now - began) * speed
    due = following
    while due < min(len(run.times), following + _AT_ONCE) and run.times[due] <= now:
        due += 1
    return due
