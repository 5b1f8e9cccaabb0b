"""An invented bench by today's clock, served to a browser: coupons at hand, sessions open."""

import copy
from collections.abc import Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Self

from playwright.sync_api import Browser, BrowserContext, Page
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench import service
from app.bench.records import CheckMoment, EntryDraft, Reading
from app.bench.service import CheckTaken
from app.database import Database
from app.panels.records import Coupon, Custody
from app.requirements.records import RequirementKind
from app.settings import Settings
from tests.browser.desks import Served
from tests.makers import TABLE_PAPER, Shop
from tests.visits import PASSWORD

FAR = date(2126, 1, 1)
READINGS = {"HT-1": ("85.2", "84.8"), "CM-1": ("38.9",)}
SCAN_GAP_S = 0.005


class Floor:
    """The shop, two of Mara's sessions with their opening checks, and coupons recovered."""

    def __init__(self, url: str, *, coupons: int = 3, blind: bool = False) -> None:
        self.url = url
        self.database = Database(url)
        self.shop = Shop(self.database)
        with self.database.write() as session:
            self._papers_for_long(session)
            if blind:
                paper = {**copy.deepcopy(TABLE_PAPER), "blind": True}
                self.shop.table_revision_id = self.shop._requirement(  # noqa: SLF001 - its maker
                    session, "AT-2", RequirementKind.ACCEPTANCE_TABLE, paper, {}
                )
        self.coupons = self.recovered(coupons)
        self.hardness = self.open("HT-1")
        self.conductivity = self.open("CM-1")

    def _papers_for_long(self, session: Session) -> None:
        """Papers that hold whatever day the machine's clock shows."""
        for tester_id, kind, quantity, unit, value, error in (
            (self.shop.hardness_tester_id, "HT-1", "hardness", "HRB", "85.0", "1.0"),
            (self.shop.meter_id, "CM-1", "conductivity", "%IACS", "38.9", "0.5"),
        ):
            self.shop.tester_certificate(session, tester_id, f"C-LONG-{kind}", due_on=FAR)
            self.shop.block(
                session, f"RB-LONG-{kind}", quantity, unit, value, error, expires_on=FAR
            )

    def recovered(self, number: int) -> list[str]:
        """Coupons of a panel that came out of its bag."""
        _, _, coupons, _ = self.shop.panel_in_load(coupons=number)
        with self.database.write() as session:
            for coupon in coupons:
                self.shop.custody(session, coupon, Custody.RECOVERED)
        return [coupon.code for coupon in coupons]

    def own_of_the_second(self) -> int:
        """A session of Deniz's at a tester of his own, waiting for its opening check."""
        with self.database.write() as session:
            self.shop.tester(session, "HT-2", "hardness", "HRB", certificate={"due_on": FAR})
        at = datetime.now(UTC)
        return service.open_session(
            self.database, tester_code="HT-2", by=self.shop.second, at=at, zone=UTC
        )

    def open(self, tester: str) -> int:
        """A session of Mara's with its opening check, now."""
        by, at = self.shop.inspector, datetime.now(UTC)
        number = service.open_session(self.database, tester_code=tester, by=by, at=at, zone=UTC)
        taken = CheckTaken(
            moment=CheckMoment.OPENING,
            block_code=f"RB-LONG-{tester}",
            readings=tuple(Decimal(one) for one in READINGS[tester]),
            block_c=Decimal("20.5") if tester == "CM-1" else None,
        )
        service.record_check(self.database, taken, session_id=number, by=by, at=at, zone=UTC)
        return number

    def sized_tester(self) -> int:
        """A Vickers tester whose diagonals may be keyed, with a session of Mara's, open now."""
        with self.database.write() as session:
            self.shop.tester(
                session,
                "HV-1",
                "hardness",
                "HV10",
                certificate={"due_on": FAR},
                force_n=Decimal("98.07"),
                asymmetry_percent=Decimal("5"),
            )
            self.shop.block(session, "RB-LONG-HV-1", "hardness", "HV10", "120.0", "3.0",
                            expires_on=FAR)  # fmt: skip
        READINGS.setdefault("HV-1", ("120.1", "119.8"))
        return self.open("HV-1")

    def readings(self, code: str) -> list[str]:
        """What is on record of the coupon, in the order recorded."""
        with self.database.read() as session:
            values = session.scalars(
                select(Reading.value)
                .join(Coupon, Coupon.id == Reading.coupon_id)
                .where(Coupon.code == code)
                .order_by(Reading.id)
            )
            return [str(value) for value in values]

    def draft(self, code: str) -> dict[str, Any]:
        """What is kept of the coupon and not recorded; empty where nothing is."""
        with self.database.read() as session:
            kept = session.scalar(
                select(EntryDraft.fields)
                .join(Coupon, Coupon.id == EntryDraft.coupon_id)
                .where(Coupon.code == code)
            )
            return dict(kept or {})

    def settings(self) -> Settings:
        """The program's over this database."""
        return Settings(database_url=self.url, shop_name="Test shop", time_zone="UTC")

    def served(self) -> Served:
        """The program, served."""
        return Served(self.settings())


class Inspector:
    """Mara at a browser: keys as the person or the scanner would send them, counted apart."""

    def __init__(self, browser: Browser, address: str, username: str = "mara", **how: Any) -> None:
        self.context: BrowserContext = browser.new_context(
            base_url=address, viewport={"width": 1280, "height": 900}, **how
        )
        self.context.set_default_timeout(6_000)
        self.page: Page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.sign_in(username)
        self.keys = 0
        self.clicks = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()
        assert self.faults == []

    def sign_in(self, username: str) -> None:
        self.page.goto("/sign-in")
        self.page.get_by_label("User name").fill(username)
        self.page.get_by_label("Password").fill(PASSWORD)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url("**/")

    def sit_at(self, session_id: int) -> None:
        """Open the session's page."""
        self.page.goto(f"/bench/sessions/{session_id}")

    def key(self, *texts: str) -> None:
        """Key each text as a person does, Enter after each; every key counts."""
        for text in texts:
            self.page.keyboard.type(text, delay=80)
            self.page.keyboard.press("Enter")
            self.keys += len(text) + 1

    def press(self, key: str) -> None:
        """One key."""
        self.page.keyboard.press(key)
        self.keys += 1

    def scan(self, text: str, *, before: bool = False, after: bool = True) -> None:
        """As a scanner types, by the keys' own clock; no key of the person."""
        keyboard = self.context.new_cdp_session(self.page)
        at = self.page.evaluate("(performance.timeOrigin + performance.now()) / 1000")
        enter = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}
        letters = [{"key": sign, "text": sign} for sign in text]
        for stroke in [*([enter] if before else []), *letters, *([enter] if after else [])]:
            at += SCAN_GAP_S
            given = {"timestamp": at, **stroke}
            keyboard.send("Input.dispatchKeyEvent", {"type": "keyDown", **given})
            up = {"type": "keyUp", "timestamp": at, "key": stroke["key"]}
            keyboard.send("Input.dispatchKeyEvent", up)
        keyboard.detach()

    def at(self) -> str:
        """The name of the field that the cursor is in."""
        name: str = self.page.evaluate("document.activeElement.name || ''")
        return name

    def said(self) -> str:
        """What the bench says about the last key or scan."""
        return " ".join(self.page.locator("[data-said]").all_inner_texts()).strip()

    def values(self) -> Sequence[str]:
        """What stands in the number boxes."""
        found: list[str] = self.page.eval_on_selector_all(
            "[data-reading]", "boxes => boxes.map(box => box.value)"
        )
        return found
