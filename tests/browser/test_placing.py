"""Planning from an earlier load, placing by touch and by keys, the timer and finds, in Chromium."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.desks import Desk
from tests.loads.pictures import picture

ENGINEER, INSPECTOR = "skestle", "imorrowby"


def _plan_from_an_earlier_load(page: Page) -> None:
    page.goto("/loads/plan")
    page.get_by_label("Load to copy").select_option("L-210")
    for panel in ("TW-1075", "TW-1076"):
        page.get_by_label(f"{panel}, lot ML-0719").check()
    page.get_by_role("button", name="Fill in the plan").click()


@pytest.mark.parametrize("script", [True, False])
def test_a_load_is_planned_from_an_earlier_one(seat: Callable[..., Desk], script: bool) -> None:  # noqa: FBT001 - both ways
    desk = seat(ENGINEER, script=script)
    page = desk.page
    _plan_from_an_earlier_load(page)
    expect(page.locator("[name=coupon_1]")).to_have_value("TW-1075-A")
    expect(page.locator("[name=coupon_4]")).to_have_value("TW-1076-B")
    page.get_by_role("button", name="Check the plan").click()
    expect(page.get_by_role("heading", name="Nothing stands against this plan")).to_be_visible()
    page.get_by_role("button", name="Plan this load").click()
    assert "is planned." in desk.words()
    page.get_by_role("link", name="Sensor map to print").click()
    assert "Sensors: which on which channel at which station" in desk.words()


def test_a_station_is_placed_by_touch_and_moved_by_keys(seat: Callable[..., Desk]) -> None:
    desk = seat(ENGINEER)
    page = desk.page
    _plan_from_an_earlier_load(page)
    place = page.locator("[data-row=coupon][data-number='1'] [data-place]")
    place.click()
    expect(place).to_have_attribute("aria-pressed", "true")
    ground = page.locator("[data-placing=panel][data-number='1'] .placing__ground")
    box = ground.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 4)
    x, y = page.locator("[name=coupon_x_1]"), page.locator("[name=coupon_y_1]")
    assert float(x.input_value()) == pytest.approx(0.5, abs=0.004)
    assert float(y.input_value()) == pytest.approx(0.75, abs=0.02)
    said = page.locator("[data-placing-said]")
    expect(said).to_contain_text("TW-1075-A: 4")
    expect(said).to_contain_text("mm along")
    x.fill("0.5")
    y.fill("0.5")
    place.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    assert round(float(x.input_value()) * 8400) == 4210
    assert round(float(y.input_value()) * 2100) == 1051
    assert desk.looked_over() == []
    # Put down, a touch on the drawing moves nothing.
    page.keyboard.press("Escape")
    expect(place).to_have_attribute("aria-pressed", "false")
    page.locator("[data-placing=panel][data-number='1'] svg").click()
    assert round(float(x.input_value()) * 8400) == 4210


def test_a_panel_is_laid_in_the_zone_by_touch(seat: Callable[..., Desk]) -> None:
    desk = seat(ENGINEER)
    page = desk.page
    _plan_from_an_earlier_load(page)
    page.locator("[data-row=panel][data-number='2'] [data-place]").click()
    box = page.locator("[data-placing=zone] .placing__ground").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] * 0.505, box["y"] + box["height"] * 0.97)
    x = page.locator("[name=panel_x_2]")
    assert float(x.input_value()) == pytest.approx(9090, abs=60)
    drawn = page.locator("[data-spot='panel 2'] rect")
    assert drawn.count() == 1


def test_what_was_typed_is_brought_back_when_it_is_asked_for(seat: Callable[..., Desk]) -> None:
    desk = seat(ENGINEER)
    page = desk.page
    page.goto("/loads/plan")
    page.get_by_role("button", name="More coupons").click()
    page.locator("[name=coupon_6]").fill("TW-1075-A")
    page.goto("/loads")
    page.goto("/loads/plan")
    assert page.locator("[name=coupon_6]").count() == 0
    page.get_by_role("button", name="Bring it back").click()
    expect(page.locator("[name=coupon_6]")).to_have_value("TW-1075-A")


def test_the_timer_fills_in_the_minutes(seat: Callable[..., Desk]) -> None:
    desk = seat(INSPECTOR)
    page = desk.page
    page.clock.install()
    page.goto("/loads/L-213/leak-check?panel=TW-1069")
    page.get_by_role("button", name="Start the time").click()
    page.clock.fast_forward("10:05")
    page.get_by_role("button", name="Stop: the level is read").click()
    expect(page.get_by_label("Minutes between the two")).to_have_value("10.08")
    page.get_by_label("Gauge", exact=True).select_option("BG-3")
    page.get_by_label("Unit of the gauge").select_option("mbar")
    page.get_by_label("Level at the start, below ambient").fill("880")
    page.get_by_label("Level at the end, below ambient").fill("870")
    page.get_by_role("button", name="Record the leak check").click()
    assert "The bag holds: it lost 1 kPa in 10.08 min" in desk.words()


def test_a_find_is_placed_and_photographed(seat: Callable[..., Desk]) -> None:
    desk = seat(INSPECTOR)
    page = desk.page
    page.goto("/loads/L-211/unwrapping?panel=TW-1071")
    page.get_by_label("Intact").check()
    page.get_by_label("Something found").check()
    page.get_by_label("Kind").select_option("scratch")
    page.locator("[data-row=find] [data-place]").click()
    box = page.locator(".placing__ground").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 4, box["y"] + box["height"] / 2)
    expect(page.locator("[data-spot='find 1']")).to_have_count(1)
    for coupon in page.get_by_label("Recovered").all():
        coupon.check()
    page.get_by_role("button", name="Record the unwrapping").click()
    assert "Photographs can be added now" in desk.words()
    assert desk.looked_over() == []
    page.get_by_label("Caption").fill("with a scale")
    page.get_by_label("Photographs", exact=True).set_input_files(
        [{"name": "find.png", "mimeType": "image/png", "buffer": picture("PNG")}]
    )
    page.get_by_role("button", name="Keep the photographs").click()
    assert "1 photograph kept with TW-1071." in desk.words()
    expect(page.get_by_role("img", name="with a scale")).to_be_visible()
