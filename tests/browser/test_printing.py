"""Printed records: who it is about, page x of y, the short hash, and the working unfolded."""

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from tests.browser.desks import Desk, Served

RECORDS = {
    "a released panel": ("/panels/TW-1041", "panel TW-1041", r"evidence [0-9a-f]{12}"),
    "a held panel": ("/panels/TW-1048", "panel TW-1048", r"evidence [0-9a-f]{12}"),
    "a load": ("/loads/L-204", "load L-204", r"verdict [0-9a-f]{12}"),
    "a sensor map": ("/loads/L-215/sensor-map", "load L-215, sensor map", r"load L-215"),
    "a coupon": ("/coupons/TW-1048-A", "coupon TW-1048-A", r"[0-9a-f]{12}"),
}
"""Address, how the foot names it, what its hash looks like."""


@pytest.fixture
def desk(browser: Browser, served: Served, passes: Callable[[str], Any]) -> Desk:
    return Desk(browser, served, state=passes("jlindqvane"))


@pytest.mark.parametrize(("address", "identity", "digest"), RECORDS.values(), ids=RECORDS)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_sheet_says_what_it_belongs_to(
    desk: Desk, address: str, identity: str, digest: str, paper: str
) -> None:
    desk.page.goto(address)
    sheets = PdfReader(io.BytesIO(desk.page.pdf(format=paper, prefer_css_page_size=False))).pages
    for number, sheet in enumerate(sheets, 1):
        text = " ".join(sheet.extract_text().split())
        assert f"page {number} of {len(sheets)}" in text
        assert identity in text
        assert re.search(digest, text), text[-300:]
        assert "printed copy, as of" in text
        assert "Sign out" not in text
    assert 1 < len(sheets) < 15  # with the working of every finding
    desk.close()


def test_paper_shows_the_working_and_the_tables_unfolded(desk: Desk) -> None:
    desk.page.goto("/coupons/TW-1048-A")
    assert not desk.page.locator(".working ol").first.is_visible()
    printed = PdfReader(io.BytesIO(desk.page.pdf(format="A4"))).pages
    text = " ".join(" ".join(sheet.extract_text().split()) for sheet in printed)
    for line in desk.page.locator(".findings .working li").all_text_contents():
        assert " ".join(line.split()) in text
    assert "Along length, mm" in text
    desk.close()


def test_paper_is_white_and_its_ink_black(desk: Desk) -> None:
    desk.page.emulate_media(media="print", color_scheme="dark")
    desk.page.goto("/panels/TW-1048")
    colours = desk.page.evaluate(
        """() => [...document.querySelectorAll('main :is(p, td, th, dd, h1, h2, li, a)')]
        .filter(each => each.checkVisibility()).map(each => getComputedStyle(each).color)"""
    )
    assert len(colours) > 100
    assert set(colours) <= {"rgb(0, 0, 0)", "rgb(255, 255, 255)"}
    desk.close()
