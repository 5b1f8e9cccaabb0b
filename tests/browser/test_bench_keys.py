"""Keys at the bench: how many, where they go, and what a scanner may never do."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.bench_floor import Floor, Inspector
from tests.browser.desks import ALL_RULES, AXE, RUN_AXE, Served

MOST_KEYS = 30

# The keystroke-level model (Card, Moran and Newell; figures from memory): K 0.28 s a key of an
# average non-typist, M 1.35 s to look and decide, H 0.4 s to move the hand, P 1.1 s to point; 0.7 s
# for a trigger and the scanner's answer is ours. Keying one coupon here: a look at the tester and
# three digits with Enter for each of six readings, 6 (M + 4 K); a look and a key for the spacing,
# M + K; one look at both temperatures and an Enter for each, M + 2 K. Both scans, each pointed,
# triggered and left again with the hand, 2 (P + 0.7 + H), stand apart: they are no keying. What the
# tester itself takes, and the way between two testers, are in neither.
K_S, M_S, H_S, P_S, TRIGGER_S = 0.28, 1.35, 0.4, 1.1, 0.7
LOOKS = 6 + 1 + 1
KEYING_MOST_S = 20.0


@pytest.fixture
def floor(sqlite_url: str) -> Iterator[Floor]:
    made = Floor(sqlite_url)
    yield made
    made.database.close()


@pytest.fixture
def served(floor: Floor) -> Iterator[Served]:
    with floor.served() as opened:
        yield opened


@pytest.fixture
def mara(browser: Browser, served: Served) -> Iterator[Inspector]:
    with Inspector(browser, served.address) as seated:
        yield seated


def _measure(mara: Inspector, coupon: str, *, temperatures: tuple[str, str]) -> None:
    """Both quantities of a coupon: two scans, and keys alone."""
    page = mara.page
    mara.scan(coupon)
    page.wait_for_selector("form[data-entry]")
    mara.key("845", "850", "855")
    expect(page.locator("[name=spacing_confirmed]")).to_be_focused()
    mara.press("1")
    expect(page.locator("#saved")).to_contain_text(f"{coupon} is recorded")
    mara.scan(coupon)
    expect(page.locator("main")).to_contain_text("this is your session at CM-1")
    mara.key("390", "391", "389", *temperatures)
    expect(page.locator("#saved")).to_contain_text(f"{coupon} is recorded")


def test_one_coupon_takes_at_most_thirty_keys_after_two_scans_and_no_mouse(
    floor: Floor, mara: Inspector
) -> None:
    first, second, _ = floor.coupons
    mara.page.evaluate("sessionStorage.setItem('clicks', 0)")
    mara.sit_at(floor.hardness)
    # On the first coupon of a session its temperature is keyed, on the next it is confirmed.
    _measure(mara, first, temperatures=("", "210"))
    assert mara.keys == 30 <= MOST_KEYS
    mara.keys = 0
    mara.sit_at(floor.hardness)
    _measure(mara, second, temperatures=("", ""))
    assert mara.keys == 27 <= MOST_KEYS
    assert floor.readings(second) == ["84.5", "85.0", "85.5", "39.0", "39.1", "38.9"]
    keying_s = mara.keys * K_S + LOOKS * M_S
    assert keying_s < KEYING_MOST_S
    assert keying_s + 2 * (P_S + TRIGGER_S + H_S) == pytest.approx(22.76)


def test_the_point_is_set_and_shown_large_before_the_figure_counts(
    floor: Floor, mara: Inspector
) -> None:
    page = mara.page
    mara.sit_at(floor.hardness)
    mara.scan(floor.coupons[0])
    page.wait_for_selector("form[data-entry]")
    large = page.locator("[data-large]")
    for keyed, shown in (("845", "84.5 HRB"), ("84,7", "84.7 HRB"), ("85.", "85. HRB")):
        page.keyboard.type(keyed, delay=80)
        expect(large).to_have_text(shown)
        for _ in keyed:
            page.keyboard.press("Backspace")
    size = large.evaluate("each => parseFloat(getComputedStyle(each).fontSize)")
    assert size >= 48
    mara.key("845")
    assert mara.values()[0] == "84.5"
    mara.key("9")
    assert mara.values()[1] == "0.9"
    expect(page.locator("main")).to_contain_text("0.9 HRB cannot be")


@pytest.mark.parametrize("refused", ["-", "e", " "])
def test_what_no_reading_holds_is_refused_in_a_sentence(
    floor: Floor, mara: Inspector, refused: str
) -> None:
    mara.sit_at(floor.hardness)
    mara.scan(floor.coupons[0])
    mara.page.wait_for_selector("form[data-entry]")
    mara.page.keyboard.type(f"8{refused}", delay=80)
    expect(mara.page.locator("[data-said]")).to_contain_text("is not part of a reading")
    assert mara.values()[0] == "8"


@pytest.mark.parametrize("framed", ["after", "before", "both", "none"])
def test_a_scan_in_a_number_box_is_taken_out_and_refused_while_figures_are_open(
    floor: Floor, mara: Inspector, framed: str
) -> None:
    page = mara.page
    _count_tones(mara)
    mara.sit_at(floor.hardness)
    open_, other, _ = floor.coupons
    mara.scan(open_)
    page.wait_for_selector("form[data-entry]")
    mara.key("845")
    page.keyboard.type("85", delay=80)
    page.wait_for_timeout(150)
    tones = _tones(mara)
    mara.scan(other.lower(), before=framed in {"before", "both"}, after=framed in {"after", "both"})
    expect(page.locator("[data-said]")).to_contain_text(f"{other} was scanned while figures")
    assert _tones(mara) > tones
    assert page.locator(f"form[data-entry={open_}]").count() == 1
    kept = [text for text in mara.values() if text]
    assert kept == (["84.5", "8.5"] if framed in {"before", "both"} else ["84.5", "85"])
    assert floor.readings(open_) == floor.readings(other) == []


def test_a_scan_on_the_last_step_records_nothing(floor: Floor, mara: Inspector) -> None:
    page = mara.page
    mara.sit_at(floor.hardness)
    mara.scan(floor.coupons[0])
    page.wait_for_selector("form[data-entry]")
    mara.key("845", "850", "855")
    assert mara.at() == "spacing_confirmed"
    mara.scan("1071-QX", before=True)
    expect(page.locator("[data-said]")).to_contain_text("1071-QX was scanned while figures")
    assert not page.locator("[name=spacing_confirmed]").is_checked()
    page.wait_for_timeout(200)
    assert floor.readings(floor.coupons[0]) == []


def test_a_coupon_that_is_not_expected_is_refused_where_it_was_scanned(
    floor: Floor, mara: Inspector
) -> None:
    page = mara.page
    _count_tones(mara)
    mara.sit_at(floor.hardness)
    mara.scan("]C1P-9")
    expect(page.locator("[data-said]")).to_contain_text("No coupon P-9 is on record")
    assert page.locator("[data-said]").get_attribute("role") == "alert"
    assert _tones(mara) > 0
    assert page.input_value("#scan") == "P-9"
    page.locator("body").evaluate("each => document.activeElement.blur()")
    mara.scan(floor.coupons[1])
    page.wait_for_selector(f"form[data-entry={floor.coupons[1]}]")


def test_the_large_keys_key_the_same(floor: Floor, mara: Inspector) -> None:
    page = mara.page
    mara.sit_at(floor.hardness)
    mara.scan(floor.coupons[0])
    page.wait_for_selector("form[data-entry]")
    page.get_by_role("button", name="Show number pad").click()
    pad = page.get_by_role("group", name="Number pad")
    for key in ("8", "4", "6", "back", "5", "Enter", "8", "5", "point", "0", "Enter"):
        pad.get_by_role("button", name=key, exact=True).click()
    for key in ("8", "5", "5", "Enter", "1"):
        pad.get_by_role("button", name=key, exact=True).click()
    expect(page.locator("#saved")).to_contain_text("is recorded")
    assert floor.readings(floor.coupons[0]) == ["84.5", "85.0", "85.5"]
    mara.scan(floor.coupons[1])
    box = pad.get_by_role("button", name="5", exact=True).bounding_box()
    assert box is not None
    assert box["width"] >= 64
    assert box["height"] >= 64


def test_the_tone_can_be_switched_off_in_this_browser(floor: Floor, mara: Inspector) -> None:
    page = mara.page
    _count_tones(mara)
    mara.sit_at(floor.hardness)
    page.get_by_role("button", name="Turn sound off").click()
    before = _tones(mara)
    page.focus("#scan")
    mara.scan("P-9")
    expect(page.locator("[data-said]")).to_contain_text("No coupon P-9")
    assert _tones(mara) == before
    page.reload()
    expect(page.get_by_role("button", name="Turn sound on")).to_be_visible()


def test_sizes_of_the_indentation_give_the_number_and_uneven_ones_are_refused(
    floor: Floor, mara: Inspector
) -> None:
    page = mara.page
    session_id = floor.sized_tester()
    mara.sit_at(session_id)
    mara.scan(floor.coupons[0])
    page.get_by_role("link", name="Key diagonals instead of numbers").click()
    page.wait_for_selector("[name=size_1_1]")
    # HV = 0.1891 F / d^2 (ISO 6507-1): 0.1891 * 98.07 N / (0.395 mm)^2 = 118.86.
    mara.key("0.394", "0.396")
    expect(page.locator("[data-number='1']")).to_have_text("118.9 HV10")
    # No entry of the table asks for HV10, which is asked about like any other unusual figure.
    assert mara.at() == "spacing_confirmed"
    mara.press("1")
    expect(page.get_by_role("alert").first).to_contain_text("asks for no hardness in HV10")
    page.fill("[name=size_1_1]", "0.350")
    page.get_by_role("button", name="Record and judge").click()
    expect(page.locator("main")).to_contain_text("0.350 and 0.396 mm differ by 11.62 %")
    assert floor.readings(floor.coupons[0]) == []


def test_the_verdict_is_read_from_two_metres(floor: Floor, mara: Inspector) -> None:
    mara.sit_at(floor.hardness)
    _measure(mara, floor.coupons[0], temperatures=("", "210"))
    verdict = mara.page.locator(".verdict--bench")
    assert verdict.evaluate("each => parseFloat(getComputedStyle(each).fontSize)") >= 48
    assert re.search("conforms", verdict.inner_text())


@pytest.mark.parametrize("width", [1280, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_open_entry_with_everything_shown_is_fit_for_everybody(
    floor: Floor, mara: Inspector, width: int, scheme: Any
) -> None:
    page = mara.page
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)
    mara.sit_at(floor.hardness)
    page.get_by_role("button", name="Turn sound off").click()
    page.focus("#scan")
    mara.scan(floor.coupons[0])
    page.wait_for_selector("form[data-entry]")
    page.get_by_role("button", name="Show number pad").click()
    page.get_by_text("Measured earlier than now").click()
    mara.context.set_offline(offline=True)
    page.focus("[name=reading_1]")
    mara.key("85")
    expect(page.locator("[data-unsent]")).to_be_visible()
    page.evaluate(AXE)
    passes, violations = page.evaluate(RUN_AXE, ALL_RULES)
    assert passes
    assert violations == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def _count_tones(mara: Inspector) -> None:
    mara.context.add_init_script(
        "const start = OscillatorNode.prototype.start; window.tones = 0;"
        "OscillatorNode.prototype.start = function (...at) { window.tones += 1;"
        "return start.apply(this, at); };"
    )


def _tones(mara: Inspector) -> int:
    count: int = mara.page.evaluate("window.tones")
    return count
