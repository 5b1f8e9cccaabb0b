"""The real server in a process of its own, and a plain HTTP client that signs in and sends forms.

Used by the benchmarks and by the tests that kill it.
"""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Self
from urllib.parse import urlencode

from tests.visits import PASSWORD, words

_START_S = 30.0
_COMMAND = "from app.cli import main; main()"


class Server:
    """`temperbook serve` over a SQLite file whose tables exist; killed when the block ends."""

    def __init__(self, database_url: str, **settings: str) -> None:
        self._environment = {
            **os.environ,
            "TEMPERBOOK_DATABASE_URL": database_url,
            **{f"TEMPERBOOK_{name.upper()}": text for name, text in settings.items()},
        }
        self._served: subprocess.Popen[bytes] | None = None
        self.port = 0

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def start(self) -> None:
        """Serve, and wait until a page answers."""
        self.port = free_port()
        self._served = subprocess.Popen(
            [sys.executable, "-c", _COMMAND, "serve", "--port", str(self.port)],
            env=self._environment,
            stdout=subprocess.DEVNULL,
        )
        wait_for(self.port, self._served)

    def kill(self) -> None:
        """SIGKILL: no chance to tidy up."""
        if self._served is not None and self._served.poll() is None:
            self._served.send_signal(signal.SIGKILL)
            self._served.wait()

    @property
    def peak_mb(self) -> float:
        """The most memory the process has held, in megabytes (10^6 bytes)."""
        assert self._served is not None
        status = Path(f"/proc/{self._served.pid}/status").read_text()
        found = re.search(r"VmHWM:\s+(\d+) kB", status)
        assert found
        return int(found[1]) * 1024 / 1e6


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
    return port


def wait_for(port: int, served: subprocess.Popen[bytes]) -> None:
    """Wait until the process listens."""
    until = time.monotonic() + _START_S
    while time.monotonic() < until:
        assert served.poll() is None, "the server ended as it started"
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=1):
                return
        except OSError:
            time.sleep(0.02)
    raise AssertionError("the server did not answer")


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    location: str
    text: str
    cookie: str


@dataclass(slots=True)
class Caller:
    """One signed-in person over one kept-alive connection. Raises OSError where the server died."""

    port: int
    cookie: str = ""
    csrf: str = ""
    connection: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def sign_in(self, username: str) -> None:
        answer = self.post("/sign-in", username=username, password=PASSWORD)
        assert answer.status == 303, words(answer.text)
        self.cookie = answer.cookie
        found = re.search(r'name="csrf" value="([0-9a-f]{64})"', self.get("/people").text)
        assert found, "no form with a token on the page"
        self.csrf = found[1]

    def get(self, address: str) -> Answer:
        return self._ask("GET", address)

    def post(self, address: str, **fields: str) -> Answer:
        return self.send(address, {**fields})

    def send(self, address: str, fields: Mapping[str, str]) -> Answer:
        """Send a form; the page's token comes along."""
        body = urlencode({"csrf": self.csrf, **fields}).encode()
        return self._ask("POST", address, body, "application/x-www-form-urlencoded")

    def upload(self, address: str, body: bytes) -> Answer:
        """Send what :func:`multipart` made."""
        return self._ask("POST", address, body, self.multipart_kind)

    @property
    def multipart_kind(self) -> str:
        """The content type of what :func:`multipart` makes."""
        return f"multipart/form-data; boundary={_BOUNDARY}"

    def close(self) -> None:
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _ask(self, method: str, address: str, body: bytes = b"", kind: str = "") -> Answer:
        headers = {"Cookie": self.cookie} if self.cookie else {}
        if kind:
            headers["Content-Type"] = kind
        try:
            self.connection.request(method, address, body=body or None, headers=headers)
            answer = self.connection.getresponse()
            text = answer.read().decode()
        except http.client.HTTPException as broken:
            raise ConnectionError(str(broken)) from broken
        cookie = (answer.getheader("set-cookie") or "").split(";")[0]
        return Answer(answer.status, answer.getheader("location") or "", text, cookie)


_BOUNDARY = "----temperbook-speed-0f1e2d3c"


def multipart(csrf: str, file_name: str, content: bytes) -> bytes:
    """The body of the upload form as a browser would send it."""
    before = (
        f"--{_BOUNDARY}\r\n"
        f'Content-Disposition: form-data; name="csrf"\r\n\r\n{csrf}\r\n'
        f"--{_BOUNDARY}\r\n"
        f'Content-Disposition: form-data; name="file"; filename="{file_name}"\r\n'
        "Content-Type: text/csv\r\n\r\n"
    )
    return b"".join([before.encode(), content, f"\r\n--{_BOUNDARY}--\r\n".encode()])


def form_of(html: str, action: str) -> dict[str, str]:
    """The fields of the form with that action as the page filled them in."""
    reader = _FormReader(action)
    reader.feed(html)
    assert reader.found, f"no form for {action} on the page: {words(html)[:600]}"
    return reader.fields


class _FormReader(HTMLParser):
    """Collects one form's fields: hidden and text inputs, ticked ones, selected options."""

    def __init__(self, action: str) -> None:
        super().__init__()
        self._action = action
        self._inside = False
        self._select = ""
        self.found = False
        self.fields: dict[str, str] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: text or "" for name, text in attrs}
        if tag == "form":
            self._inside = given.get("action") == self._action
            self.found = self.found or self._inside
        if not self._inside:
            return
        picked = given.get("type") not in {"radio", "checkbox"} or "checked" in given
        if tag == "input" and picked:
            self.fields[given.get("name", "")] = given.get("value", "")
        elif tag == "select":
            self._select = given.get("name", "")
        elif tag == "option" and "selected" in given:
            self.fields[self._select] = given.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
