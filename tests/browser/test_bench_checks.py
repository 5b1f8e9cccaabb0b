"""The session's page in a browser: a check that comes due, one that fails, and the moves."""

import copy
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from playwright.sync_api import Browser, expect

from app.bench import service
from app.bench.records import CheckMoment
from app.bench.service import CheckTaken, ReadingsTaken
from app.requirements.records import RequirementKind
from tests.browser.bench_floor import FAR, Floor
from tests.browser.desks import Desk, Served
from tests.makers import TABLE_PAPER
from tests.visits import PASSWORD

STANDARDS = {"RS-30": "30.2", "RS-45": "44.9"}


class Shift:
    """A floor with a meter that is checked every 30 minutes on two standards its table asks for."""

    def __init__(self, url: str) -> None:
        self.floor = Floor(url)
        shop, self.database = self.floor.shop, self.floor.database
        paper = copy.deepcopy(TABLE_PAPER)
        paper["entries"][0]["criteria"][1]["standards_apart"] = "8.0"
        with self.database.write() as session:
            shop.table_revision_id = shop._requirement(  # noqa: SLF001 - its own maker
                session, "AT-3", RequirementKind.ACCEPTANCE_TABLE, paper, {}
            )
            shop.thermometer(session, "TH-1", due_on=FAR)
            for code in ("CM-2", "CM-3"):
                shop.tester(
                    session,
                    code,
                    "conductivity",
                    "%IACS",
                    certificate={"due_on": FAR},
                    check_every_min=30,
                )
            for code, value in STANDARDS.items():
                shop.block(session, code, "conductivity", "%IACS", value, "0.5", expires_on=FAR)
        self.coupons = self.floor.recovered(2)

    def opened(self, ago: timedelta = timedelta(0)) -> int:
        """A session at CM-2, checked on both standards so long ago."""
        at = datetime.now(UTC) - ago
        number = service.open_session(
            self.database,
            tester_code="CM-2",
            by=self.floor.shop.inspector,
            at=at,
            zone=UTC,
            thermometer_code="TH-1",
        )
        for block, value in STANDARDS.items():
            self.check(number, CheckMoment.OPENING, block, value, at)
        return number

    def check(
        self, number: int, moment: CheckMoment, block: str, value: str, at: datetime | None = None
    ) -> None:
        """A check at CM-2, now unless told otherwise."""
        taken = CheckTaken(moment, block, (Decimal(value),), Decimal("20.5"))
        service.record_check(
            self.database,
            taken,
            session_id=number,
            by=self.floor.shop.inspector,
            at=at or datetime.now(UTC),
            zone=UTC,
        )

    def read(self, number: int, coupon: str, *values: str) -> None:
        """Readings on a coupon, now."""
        figures = tuple(Decimal(value) for value in values)
        degrees = {"coupon_c": Decimal("21.0"), "block_c": Decimal("20.5")}
        service.record_readings(
            self.database,
            ReadingsTaken(coupon, figures, f"form of {coupon}", **degrees),
            session_id=number,
            by=self.floor.shop.inspector,
            at=datetime.now(UTC),
            zone=UTC,
        )


@pytest.fixture
def shift(sqlite_url: str) -> Iterator[Shift]:
    made = Shift(sqlite_url)
    yield made
    made.database.close()


@pytest.fixture
def mara(browser: Browser, shift: Shift) -> Iterator[Desk]:
    with shift.floor.served() as served:
        yield from _seated(browser, served)


def _seated(browser: Browser, served: Served) -> Iterator[Desk]:
    desk = Desk(browser, served)
    desk.page.goto("/sign-in")
    desk.page.get_by_label("User name").fill("mara")
    desk.page.get_by_label("Password").fill(PASSWORD)
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_url("**/")
    yield desk
    desk.close()


def test_the_next_check_is_counted_down_whatever_the_clients_clock_says(
    shift: Shift, mara: Desk
) -> None:
    number = shift.opened()
    mara.page.clock.install(time=datetime(2001, 1, 1, tzinfo=UTC))
    mara.page.goto(f"/bench/sessions/{number}")
    left = mara.page.locator("[data-due-left]")
    overdue = mara.page.locator("[data-due-overdue]")
    expect(left).to_contain_text("in 29 min")
    expect(overdue).to_be_hidden()
    mara.page.clock.run_for(30 * 60 * 1000)
    expect(overdue).to_be_visible()
    expect(overdue).to_have_attribute("role", "alert")
    expect(left).to_be_empty()
    mara.page.goto("/bench")
    assert mara.looked_over() == []


def test_a_conductivity_that_fails_asks_for_the_meter_and_a_failed_meter_is_seen_from_afar(
    shift: Shift, mara: Desk
) -> None:
    number = shift.opened()
    shift.read(number, shift.coupons[0], "39.0", "39.0", "39.0")
    shift.read(number, shift.coupons[1], "36.5", "36.4", "36.6")
    mara.page.goto(f"/bench/sessions/{number}")
    expect(mara.page.get_by_role("link", name="Check the meter again")).to_be_in_viewport()
    assert mara.looked_over() == []
    mara.page.get_by_role("link", name="Check the meter again").click()
    expect(mara.page.get_by_label("Reference block", exact=True)).to_have_value("RS-30")
    assert mara.looked_over() == []
    shift.check(number, CheckMoment.INTERIM, "RS-45", "44.0")
    mara.page.goto(f"/bench/sessions/{number}")
    what = mara.page.locator(".aftermath__what")
    expect(what).to_have_text("CM-2 failed its interim check")
    assert float(what.evaluate("one => parseFloat(getComputedStyle(one).fontSize)")) >= 40
    for coupon in shift.coupons:
        expect(mara.page.locator(".aftermath").get_by_role("link", name=coupon)).to_be_visible()
    assert mara.looked_over() == []
    mara.page.goto("/bench")
    expect(mara.page.get_by_text("out of use: quarantined")).to_be_visible()
    assert mara.looked_over() == []


def test_the_standards_wanted_are_said_before_the_first_check(shift: Shift, mara: Desk) -> None:
    mara.page.goto("/bench")
    mara.page.get_by_role("button", name="Begin at CM-2").click()
    mara.page.wait_for_url("**/bench/sessions/*")
    expect(mara.page.get_by_text("RS-30 and RS-45 would do").first).to_be_visible()
    assert mara.looked_over() == []
