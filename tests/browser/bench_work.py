"""Work at the bench in a browser: by keyboard alone with script, by clicking without."""

from collections.abc import Iterable, Sequence

from playwright.sync_api import expect

from tests.browser.desks import Desk

KEY_MS = 5
"""Between two keys. Figures keyed as fast as a scanner are still figures."""


class Bench:
    """Somebody's session at one tester, from Begin to the closing check."""

    def __init__(self, desk: Desk, tester: str) -> None:
        self.desk = desk
        desk.page.goto("/bench")
        desk.page.get_by_role("button", name=f"Begin at {tester}").click()
        desk.page.wait_for_url("**/bench/sessions/*")
        self.session = desk.page.url

    def key(self, figures: Iterable[str], press: str, *, confirm: bool = False) -> None:
        """Key figures into the fields in their order, and send the form."""
        page = self.desk.page
        if not self.desk.script:
            if confirm:
                page.locator("input[name=spacing_confirmed]").check()
            for box, figure in zip(page.locator("[data-reading]").all(), figures, strict=True):
                box.fill(figure)
            page.get_by_role("button", name=press, exact=True).click()
            return
        if confirm:
            assert self._focused() == "spacing_confirmed"
            page.keyboard.press("Enter")
        for figure in figures:
            assert "data-reading" in page.evaluate(
                "[...document.activeElement.getAttributeNames()]"
            )
            page.keyboard.type(figure, delay=KEY_MS)
            page.keyboard.press("Enter")

    def _focused(self) -> str:
        name: str = self.desk.page.evaluate("document.activeElement.name")
        return name

    def check(self, moment: str, figures: Sequence[str]) -> None:
        """Check the tester on its reference block."""
        page = self.desk.page
        if moment == "closing":
            page.goto(f"{self.session}?check=closing")
        self.key(figures, f"Record the {moment} check")
        expect(page.get_by_role("status").first).to_contain_text("within the permitted")

    def scan(self, coupon: str) -> None:
        """Bring a coupon to the tester: its mark read by a scanner that ends with Enter."""
        page = self.desk.page
        if self.desk.script:
            assert self._focused() == "coupon"
            page.keyboard.type(coupon)
            page.keyboard.press("Enter")
        else:
            page.get_by_label("Scan or type").fill(coupon)
            page.get_by_role("button", name="Show").click()
        expect(page.locator(".bench__station + p")).to_contain_text(coupon)

    def measure(self, coupon: str, figures: Sequence[str], *, hardness: bool) -> None:
        """Scan a coupon and record its readings; ends with its verdict on the page."""
        page = self.desk.page
        self.scan(coupon)
        self.key(figures, "Record and judge", confirm=hardness)
        expect(page.locator("#saved")).to_have_text(f"Coupon {coupon} is recorded")
        expect(page.locator(".verdict--bench")).to_contain_text("provisional")
