"""One Chromium for all browser tests of a test process."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.conftest import chromium


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The browser; each test opens and closes its own pages in it."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path=chromium(),
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield opened
        opened.close()
