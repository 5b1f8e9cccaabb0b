"""The scripts of the bench and of the furnace record's picture, in a real browser.

The pages here are made from the program's own frame, macros and scripts, under its content security
policy, so that what is seen does not hang on any record being there.
"""

import json
import mimetypes
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from app.settings import Settings
from app.web.page import STATIC, Visitor, templates

POLICY = "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'"
BENCH = """{% extends "base.html" %}{% from "macros/forms.html" import field, submit %}
{% block title %}Bench{% endblock %}
{% block scripts %}<script src="{{ static('js/bench_sound.js') }}" defer></script>
<script src="{{ static('js/bench.js') }}" defer></script>{% endblock %}
{% block main %}<h1>Bench</h1>
<form class="bench__scan" method="get" action="/bench"><label for="scan">Scan a coupon</label>
<input id="scan" name="coupon" data-scan>{{ submit("Take up") }}</form>
<form data-readings method="post" action="/bench/readings">
{% for n in "123" %}
{{ field("r" ~ n, "Reading " ~ n, inputmode="decimal", reading=true) }}
{% endfor %}
{{ submit("Record") }}</form>{% endblock %}"""
TRACE = """{% extends "base.html" %}{% from "macros/trace.html" import trace %}
{% from "macros/plan.html" import plan %}{% from "macros/marks.html" import verdict %}
{% block title %}Load{% endblock %}
{% block head %}
<link rel="stylesheet" href="{{ static('vendor/uplot/uPlot.min.css') }}">{% endblock %}
{% block scripts %}<script src="{{ static('vendor/uplot/uPlot.iife.min.js') }}" defer></script>
<script src="{{ static('js/trace_marks.js') }}" defer></script>
<script src="{{ static('js/trace.js') }}" defer></script>{% endblock %}
{% block main %}<h1>Load L-1</h1>{{ trace("/points", "/still.svg", "Two sensors over two hours.") }}
{{ plan(panel) }}<p>{{ verdict("conforms", true, "bench") }} {{ verdict("does_not_conform") }}
{{ verdict("not_proven") }} {{ verdict("note") }}</p>{% endblock %}"""
PANEL = SimpleNamespace(
    length_mm=4000, width_mm=1500,
    marks=[SimpleNamespace(kind="coupon", code="C-1", label="middle", x=0.5, y=0.5,
                           verdict="conforms", href="/coupons/C-1")],
)  # fmt: skip


def points(asked: dict[str, list[str]]) -> dict[str, Any]:
    """A record of two hours; TC2 is out of the band at one hour and silent after 100 minutes."""
    first, last = (
        float(asked.get(name, [end])[0]) for name, end in (("from", "0"), ("to", "7200"))
    )
    times = [second for second in range(0, 7201, 60) if first <= second <= last]
    return {
        "t": times,
        "series": [
            {"name": "TC1", "station": "door end", "values": [150.0] * len(times)},
            {
                "name": "TC2", "station": "back end",
                "values": [None if t > 6000 else 154.5 if t == 3600 else 149.5 for t in times],
            },
        ],
        "vacuum": {
            "name": "Bag", "unit": "kPa", "t": times, "values": [88.0] * len(times), "limit": 70
        },
        "stages": [{"low": 147, "high": 153, "start_s": 600, "end_s": 7000}],
        "excursions": [{"from_s": 3570, "to_s": 3630, "sensors": ["TC2"], "side": "above"}],
        "gaps": [{"from_s": 6000, "to_s": 7200, "sensor": "TC2"}],
        "start": "2026-03-04T07:15:00+01:00", "whole": [0, 7200],
    }  # fmt: skip


class Shop:
    """A server in the browser's own network layer; remembers what was asked and sent."""

    def __init__(self) -> None:
        self.environment = templates(Settings(shop_name="Wold", time_zone="Europe/Paris"))
        self.asked: list[str] = []
        self.sent: list[str] = []
        self.broken = False

    def answer(self, route: Route) -> None:
        request = route.request
        address = urlsplit(request.url)
        self.asked.append(f"{address.path}?{address.query}" if address.query else address.path)
        if request.method == "POST":
            self.sent.append(request.post_data or "")
        if address.path.startswith("/static/"):
            file = STATIC / address.path.removeprefix("/static/")
            kind = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
            route.fulfill(body=file.read_bytes(), content_type=kind)
        elif address.path == "/points":
            status = 500 if self.broken else 200
            route.fulfill(status=status, body=json.dumps(points(parse_qs(address.query))))
        elif address.path == "/still.svg":
            still = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 3"/>'
            route.fulfill(body=still, content_type="image/svg+xml")
        else:
            self.page(route, TRACE if address.path == "/load" else BENCH)

    def page(self, route: Route, source: str) -> None:
        visitor = Visitor("iris", "Iris Fenn", frozenset({"inspector"}), "token")
        now = datetime(2026, 3, 4, tzinfo=UTC)
        html = self.environment.from_string(source).render(
            visitor=visitor, here="/bench", notice=None, now=now, panel=PANEL
        )
        headers = {"Content-Security-Policy": POLICY, "Content-Type": "text/html; charset=utf-8"}
        route.fulfill(body=html, headers=headers)


@pytest.fixture
def shop() -> Shop:
    return Shop()


@pytest.fixture
def page(browser: Browser, shop: Shop) -> Iterator[Page]:
    opened = browser.new_page(base_url="http://shop.test")
    opened.route("**/*", shop.answer)
    faults: list[str] = []
    opened.on("pageerror", lambda fault: faults.append(str(fault)))
    opened.on(
        "console", lambda line: faults.append(line.text) if "Security Policy" in line.text else None
    )
    yield opened
    opened.close()
    assert faults == []


def key(page: Page, text: str) -> None:
    """Key as a person does: slower than any scanner."""
    page.keyboard.type(text, delay=80)


def scan(page: Page, text: str) -> None:
    """Type as a scanner does: 5 ms between keys, by the keys' own clock, with Enter at the end."""
    keyboard = page.context.new_cdp_session(page)
    at = page.evaluate("(performance.timeOrigin + performance.now()) / 1000")
    enter = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}
    for stroke in [*({"key": character, "text": character} for character in text), enter]:
        at += 0.005
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyDown", "timestamp": at, **stroke})
        keyboard.send(
            "Input.dispatchKeyEvent", {"type": "keyUp", "timestamp": at, "key": stroke["key"]}
        )
    keyboard.detach()


def test_the_cursor_waits_in_the_scan_box(page: Page) -> None:
    page.goto("/bench")
    assert page.evaluate("document.activeElement.id") == "scan"


def test_enter_moves_through_the_readings_and_sends_after_the_last(page: Page, shop: Shop) -> None:
    page.goto("/bench")
    page.focus("#f-r1")
    for reading in ("82,5", "83.0", "81.5"):
        key(page, reading)
        page.keyboard.press("Enter")
    page.wait_for_url("**/bench/readings")
    assert shop.sent == ["r1=82.5&r2=83.0&r3=81.5"]


@pytest.mark.parametrize("refused", ["e", "-", "x", " "])
def test_what_no_reading_holds_is_refused_with_a_sentence(page: Page, refused: str) -> None:
    page.goto("/bench")
    page.focus("#f-r1")
    key(page, f"8{refused}2.5")
    assert page.input_value("#f-r1") == "82.5"
    page.focus("#f-r1")
    key(page, refused)
    expect(page.locator("[data-said]")).to_contain_text(f"“{refused}” is not part of a reading")


def test_a_scan_never_lands_in_a_reading(page: Page, shop: Shop) -> None:
    page.goto("/bench")
    page.focus("#f-r2")
    scan(page, "C-2041-3")
    page.wait_for_url("**/bench?coupon=C-2041-3")
    assert shop.sent == []


def test_a_scan_does_not_throw_away_readings_that_were_typed(page: Page, shop: Shop) -> None:
    page.goto("/bench")
    page.focus("#f-r1")
    key(page, "82.5")
    page.wait_for_timeout(100)
    scan(page, "C-2041-3")
    assert page.input_value("#f-r1") == "82.5"
    assert page.evaluate("document.activeElement.id") == "f-r1"
    expect(page.locator("[data-said]")).to_contain_text("C-2041-3 was scanned while figures")
    assert not any("coupon=" in address for address in shop.asked)


def test_digits_keyed_very_fast_are_still_a_reading(page: Page) -> None:
    page.goto("/bench")
    page.focus("#f-r1")
    scan(page, "84.55")
    assert page.input_value("#f-r1") == "84.55"
    assert page.evaluate("document.activeElement.id") == "f-r2"


def test_a_form_is_sent_once_however_often_it_is_pressed(page: Page) -> None:
    page.goto("/bench")
    sent = page.evaluate(
        """() => { let sent = 0; const form = document.querySelector('[data-readings]');
        addEventListener('submit', (event) => { if (!event.defaultPrevented) sent += 1;
        event.preventDefault(); });
        form.requestSubmit(); form.requestSubmit(); return sent; }"""
    )
    assert sent == 1


def test_the_live_picture_takes_the_place_of_the_still_one_on_screen_only(page: Page) -> None:
    page.goto("/load")
    page.wait_for_selector(".trace__high canvas")
    assert page.locator(".trace__low canvas").count() == 1
    assert not page.is_visible(".trace__still")
    page.emulate_media(media="print")
    assert page.is_visible(".trace__still")
    assert not page.is_visible(".trace__live")


def test_the_picture_reads_off_every_sensor_by_the_arrow_keys(page: Page) -> None:
    page.goto("/load")
    expect(page.locator(".trace__when")).to_have_text("1:00:00 · 2026-03-04 08:15:00")
    readoff = page.locator(".trace__readoff li").all_inner_texts()
    assert [" ".join(line.split()) for line in readoff] == [
        "TC1, door end 150.0 °C", "TC2, back end 154.5 °C above", "Bag 88.0 kPa",
    ]  # fmt: skip
    page.focus(".trace__slider")
    page.keyboard.press("ArrowRight")
    said = page.get_attribute(".trace__slider", "aria-valuetext")
    assert said == "1:01:00 from the start: 149.5 to 150.0 °C, vacuum 88.0 kPa"
    page.keyboard.press("End")
    assert "no reading" in page.inner_text(".trace__readoff")


def test_zooming_asks_only_for_the_span_in_view(page: Page, shop: Shop) -> None:
    page.goto("/load")
    page.wait_for_selector(".trace__high canvas")
    page.get_by_role("button", name="Zoom in").click()
    expect(page.locator(".trace__status")).to_contain_text("Shown: 0:30:00 to 1:30:00")
    assert any("from=1800.0&to=5400.0&width=" in address for address in shop.asked)
    page.get_by_role("button", name="Whole record").click()
    expect(page.locator(".trace__status")).to_contain_text("Shown: 0:00:00 to 2:00:00")


def test_dragging_across_either_plot_zooms(page: Page) -> None:
    for plot in (".trace__high", ".trace__low"):
        page.goto("/load")
        page.wait_for_selector(f"{plot} canvas")
        expect(page.locator(".trace__when")).not_to_be_empty()
        box = page.locator(f"{plot} .u-over").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + 20)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 20, steps=4)
        page.mouse.up()
        shown = re.compile(r"Shown: 0:(29|30):\d\d to (0:59|1:00):")
        expect(page.locator(".trace__status")).to_contain_text(shown)


def test_when_the_points_cannot_be_read_the_picture_stays_and_says_so(
    page: Page, shop: Shop
) -> None:
    page.goto("/load")
    page.wait_for_selector(".trace__high canvas")
    shop.broken = True
    page.get_by_role("button", name="Zoom in").click()
    expect(page.locator(".trace__status")).to_contain_text("could not be read")
    assert page.locator(".trace__high canvas").count() == 1


def test_without_script_the_still_picture_and_the_forms_are_there(
    browser: Browser, shop: Shop
) -> None:
    context = browser.new_context(java_script_enabled=False, base_url="http://shop.test")
    plain = context.new_page()
    plain.route("**/*", shop.answer)
    plain.goto("/load")
    assert plain.is_visible(".trace__still")
    plain.goto("/bench")
    plain.fill("#f-r1", "82.5")
    plain.get_by_role("button", name="Record").click()
    assert shop.sent == ["r1=82.5&r2=&r3="]
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", ["/load", "/bench"])
def test_axe_finds_nothing(browser: Browser, shop: Shop, address: str, scheme: Any) -> None:
    """WCAG 2.2 A and AA as axe-core checks them."""
    opened = browser.new_page(base_url="http://shop.test", color_scheme=scheme)
    opened.route("**/*", shop.answer)
    opened.goto(address)
    if address == "/load":
        opened.wait_for_selector(".trace__high canvas")
    opened.evaluate((STATIC.parent.parent / "tests/vendor/axe.min.js").read_text())
    found = opened.evaluate("axe.run()")
    opened.close()
    assert found["passes"]
    assert [
        (each["id"], [node["html"] for node in each["nodes"]]) for each in found["violations"]
    ] == []
