"""Following every link as everybody: none leads nowhere, and every page can be come by."""

import html
import re
from collections import Counter
from urllib.parse import urldefrag, urljoin, urlsplit

import httpx
import pytest

from app.main import create_app
from seed_demo.seeding_shop import PASSWORD
from tests.browser.desks import Served
from tests.browser.test_every_page import FIRST_OPENED, NOT_PAGES, PAGES, routes_of

OF_A_KIND = 2
"""So many pages of one kind are read, the first that are come by."""
RARE = ("/furnaces/RL9", "/panels/TW-1060", f"/nonconformances/{FIRST_OPENED}")
"""The one furnace with a check that failed, the scrapped panel, and the departure with a notice;
they are listed after those that are read."""
WITHOUT_LINK = {
    "/loads/{code:path}/record/points",  # asked for by the picture's script
    "/loads/{code:path}/live/state",  # by the live page's
    "/loads/{code:path}/live/points",
    "/live/{code:path}/next",  # by a logger with its token
    "/machine/panels/{code:path}",  # by a machine with its token
    "/machine/tree-heads",
}
EVERYBODY = ("tashgill", "rhalvarth", "skestle", "jlindqvane", "botterley")


class Reader:
    """Somebody who follows every link from Today on."""

    def __init__(self, served: Served, username: str) -> None:
        self._address = served.address
        self._routes = [
            route for route in routes_of(create_app(served.settings)) if "GET" in route.methods
        ]
        self._username = username
        self.read: Counter[str] = Counter()
        self.wrong: list[str] = []

    def kind_of(self, address: str) -> str:
        """The route that answers at an address, and by what it is asked."""
        split = urlsplit(address)
        path = next(
            (route.path for route in self._routes if route.path_regex.match(split.path)), split.path
        )
        return f"{path} {re.sub('=[^&]*', '=', split.query)}".strip()

    def follow(self) -> None:
        """Read on until every kind of page has been read twice, or once where there is one."""
        with httpx.Client(base_url=self._address, timeout=30) as client:
            signed_in = {"username": self._username, "password": PASSWORD}
            assert client.post("/sign-in", data=signed_in).status_code == 303
            waiting = ["/", *RARE]
            known = {"/": "itself", **dict.fromkeys(RARE, "a list")}
            while waiting:
                address = waiting.pop(0)
                kind = self.kind_of(address)
                if self.read[kind] >= OF_A_KIND:
                    continue
                self.read[kind] += 1
                answer = client.get(address, follow_redirects=True)
                if answer.status_code != 200:
                    self.wrong.append(f"{answer.status_code} {address}, from {known[address]}")
                for link in self._links(answer, address):
                    if link not in known:
                        known[link] = address
                        waiting.append(link)

    def _links(self, answer: httpx.Response, address: str) -> list[str]:
        """Where a page leads within the application; what it names on itself must be there."""
        if "html" not in answer.headers["content-type"]:
            return []
        found = []
        for written in re.findall(r' (?:href|src)="([^"]+)"', answer.text):
            whole, part = urldefrag(urljoin(address, html.unescape(written)))
            if whole == address and part and f'id="{part}"' not in answer.text:
                self.wrong.append(f"no #{part} on {address}")
            if whole.startswith("/") and not whole.startswith("/static/"):
                found.append(whole)
        return found


@pytest.fixture(scope="module")
def readers(served: Served) -> list[Reader]:
    everybody = [Reader(served, username) for username in EVERYBODY]
    for reader in everybody:
        reader.follow()
    return everybody


def test_no_link_leads_nowhere_or_where_its_reader_may_not_go(readers: list[Reader]) -> None:
    assert [reader.wrong for reader in readers] == [[] for _ in readers]


def test_every_page_can_be_come_by(readers: list[Reader]) -> None:
    come_by = {kind.split()[0] for reader in readers for kind in reader.read}
    without_link = {
        "/sign-in",
        "/find",
        "/unlock",
        "/bench/sessions/{session_id}/scan",
        # Linked while a revision waits for its second keying; these have had theirs.
        "/tables/{code:path}/keying",
        "/cycles/{code:path}/keying",
    }
    assert {route for route, _, _ in PAGES} - without_link - come_by == set()
    assert NOT_PAGES - WITHOUT_LINK - come_by == set()
