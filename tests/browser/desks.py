"""A server in a thread, and people at browsers before it who notice every fault."""

import threading
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import uvicorn
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, Response

from app.main import create_app
from app.settings import Settings
from seed_demo.scenario import PEOPLE, Person
from seed_demo.seeding_shop import PASSWORD

AXE = (Path(__file__).parent.parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
RUN_AXE = """rules => axe.run(document, rules).then(found => [found.passes.length,
    found.violations.flatMap(each => each.nodes.map(
        node => `${each.id}: ${node.html.slice(0, 200)}`))
])"""
NARROWEST = 320
ALL_RULES: dict[str, Any] = {
    "resultTypes": ["violations"],
    "rules": {"target-size": {"enabled": True}},
}
SIZE_RULES = {
    "resultTypes": ["violations"],
    "runOnly": ["color-contrast", "target-size", "scrollable-region-focusable"],
}
"""All that another width can change: the same page, laid out anew."""
COLOUR_RULES = {
    "resultTypes": ["violations"],
    "runOnly": ["color-contrast", "link-in-text-block"],
}
"""All that the dark can change: the same page in other colours."""
LOOKS: tuple[tuple[int, Any, dict[str, Any]], ...] = (
    (1280, "light", ALL_RULES),
    (1280, "dark", COLOUR_RULES),
    (820, "dark", COLOUR_RULES),
    (820, "light", SIZE_RULES),
)
_START_S = 10.0
_PATIENCE_MS = 15_000
_LOOKS_AT_WIDTH = 20


class Served:
    """The application on a free port of this machine while the block lasts."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        configured = uvicorn.Config(
            create_app(settings), host="127.0.0.1", port=0, log_level="warning", ws="none"
        )
        self._server = uvicorn.Server(configured)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self.address = ""

    def __enter__(self) -> Self:
        self._thread.start()
        until = time.monotonic() + _START_S
        while not self._server.started:
            assert time.monotonic() < until, "the server does not start"
            time.sleep(0.01)
        port = self._server.servers[0].sockets[0].getsockname()[1]
        self.address = f"http://127.0.0.1:{port}"
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.should_exit = True
        self._thread.join(_START_S)


def people_of(username: str) -> Person:
    """The invented person who signs in so."""
    return next(person for person in PEOPLE if person.sign_in == username)


def sign_in(page: Page, username: str) -> None:
    """Sign in at the form, by keyboard; ends on Today."""
    page.goto("/sign-in")
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/")


class Desk:
    """Somebody's browser. Whatever goes wrong unseen is in ``faults`` and fails the test."""

    def __init__(
        self, browser: Browser, served: Served, *, script: bool = True, state: Any = None
    ) -> None:
        self._context = browser.new_context(
            base_url=served.address,
            java_script_enabled=script,
            storage_state=state,
            viewport={"width": 1280, "height": 900},
        )
        self._own = served.address
        self.script = script
        self.person: Person | None = None
        self.faults: list[str] = []
        self._context.set_default_timeout(_PATIENCE_MS)
        self.page = self._context.new_page()
        self.page.on("pageerror", lambda error: self.faults.append(f"script: {error}"))
        self.page.on("console", self._hear)
        self.page.on("request", self._ask)
        self.page.on("response", self._answer)

    def _hear(self, line: ConsoleMessage) -> None:
        # That a page was answered with a refusal is the test's business; see _answer for the rest.
        if line.type in {"error", "warning"} and "Failed to load resource" not in line.text:
            self.faults.append(f"console: {line.text}")

    def _ask(self, request: Request) -> None:
        if not request.url.startswith((self._own, "data:")):
            self.faults.append(f"another host: {request.url}")

    def _answer(self, response: Response) -> None:
        # A refusal in JSON is told to the page's own script, as a page is to its reader.
        is_page = response.request.resource_type == "document" or "json" in response.headers.get(
            "content-type", ""
        )
        if response.status >= (500 if is_page else 400):
            self.faults.append(f"{response.status} at {response.url}")

    def close(self) -> None:
        """Close the browser; nothing may have gone wrong in it."""
        self._context.close()
        assert not self.faults, self.faults

    def words(self) -> str:
        """What the page says, as one line."""
        return " ".join(self.page.inner_text("main").split())

    def looked_over(self) -> list[str]:
        """What is wrong with the page that is open, light and dark, wide and narrow.

        WCAG 2.2 A and AA and good practice as axe-core knows them; nothing wider than the window.
        """
        wrong: list[str] = []
        self.page.evaluate(AXE)
        for width, scheme, rules in LOOKS:
            self.page.set_viewport_size({"width": width, "height": 900})
            self.page.emulate_media(color_scheme=scheme)
            wrong += self._too_wide(width)
            wrong += [f"{found}, {width} px, {scheme}" for found in self._violations(rules)]
        self.page.set_viewport_size({"width": NARROWEST, "height": 900})
        wrong += self._too_wide(NARROWEST)
        self.page.set_viewport_size({"width": 1280, "height": 900})
        self.page.emulate_media(color_scheme="light")
        return wrong

    def _violations(self, rules: dict[str, Any]) -> list[str]:
        passes, violations = self.page.evaluate(RUN_AXE, rules)
        assert passes, "axe looked at nothing"
        return [str(found) for found in violations]

    def _too_wide(self, width: int) -> list[str]:
        """Nothing may stick out once the page has settled in its window: pictures follow late."""
        for _ in range(_LOOKS_AT_WIDTH):
            wide = self.page.evaluate("document.documentElement.scrollWidth")
            if wide <= width:
                return []
            self.page.wait_for_timeout(100)
        return [f"{wide} px wide in a window of {width} px"]
