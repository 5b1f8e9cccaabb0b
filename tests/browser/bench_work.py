"""Work at the bench in a browser: by keyboard alone with script, by clicking without."""

from collections.abc import Sequence

from playwright.sync_api import expect

from tests.browser.desks import Desk

KEY_MS = 5
"""Between two keys. Figures keyed as fast as a scanner are still figures."""
ROOM_C = "21.0"
TEMPERATURES = ("block_c", "coupon_c")


class Bench:
    """Somebody's session at one tester, from Begin to the closing check."""

    def __init__(self, desk: Desk, tester: str) -> None:
        self.desk = desk
        desk.page.goto("/bench")
        desk.page.get_by_role("button", name=f"Begin at {tester}").click()
        desk.page.wait_for_url("**/bench/sessions/*")
        self.session = desk.page.url

    def key(
        self,
        figures: Sequence[str],
        press: str,
        *,
        confirm: bool = False,
        temperatures: Sequence[str] = (),
    ) -> None:
        """Key the figures, then the temperatures or the tick after them; send the form."""
        if self.desk.script:
            self._key(figures, confirm=confirm, temperatures=temperatures)
        else:
            self._fill(figures, press, confirm=confirm)

    def _key(self, figures: Sequence[str], *, confirm: bool, temperatures: Sequence[str]) -> None:
        """By keyboard alone: every step begins where the cursor was left."""
        keyboard = self.desk.page.keyboard
        if self._at() == "block_c":  # of a check, which has it first
            keyboard.type(ROOM_C, delay=KEY_MS)
            keyboard.press("Enter")
        for figure in figures:
            assert self._at().startswith("reading_"), self._at()
            keyboard.type(figure, delay=KEY_MS)
            keyboard.press("Enter")
        for name in temperatures:
            assert self._at() == name
            keyboard.type(ROOM_C, delay=KEY_MS)
            keyboard.press("Enter")
        if confirm:
            assert self._at() == "spacing_confirmed"
            keyboard.press("1")

    def _fill(self, figures: Sequence[str], press: str, *, confirm: bool) -> None:
        """Without script: by filling the fields and pressing the button."""
        page = self.desk.page
        if confirm:
            page.locator("input[name=spacing_confirmed]").check()
        for name in TEMPERATURES:
            if page.locator(f"input[name={name}]").count():
                page.locator(f"input[name={name}]").fill(ROOM_C)
        for number, figure in enumerate(figures, 1):
            page.locator(f"input[name=reading_{number}]").fill(figure)
        page.get_by_role("button", name=press, exact=True).click()

    def _at(self) -> str:
        """The name of the field that the cursor is in."""
        name: str = self.desk.page.evaluate("document.activeElement.name || ''")
        return name

    def check(self, moment: str, figures: Sequence[str], *, further: bool = False) -> None:
        """Check the tester on the block that the page proposes; ``further``: on the next one."""
        page = self.desk.page
        if further and moment == "opening":
            page.get_by_role("link", name="Check the other standard").click()
        elif moment == "closing":
            page.goto(f"{self.session}?check=closing")
        self.key(figures, f"Record the {moment} check")
        expect(page.get_by_role("status").first).to_contain_text("within the permitted")

    def scan(self, coupon: str) -> None:
        """Bring a coupon to the tester: its mark read by a scanner that ends with Enter."""
        page = self.desk.page
        if self.desk.script:
            assert self._at() == "coupon"
            page.keyboard.type(coupon)
            page.keyboard.press("Enter")
        else:
            page.locator("#scan").fill(coupon)
            page.get_by_role("button", name="Show").click()
        expect(page.locator(".bench__station + p")).to_contain_text(coupon)

    def measure(
        self, coupon: str, figures: Sequence[str], *, hardness: bool, verdict: str, whole: str
    ) -> None:
        """Scan a coupon and record its readings.

        Ends with the verdict on what was read, large, and the verdict on the coupon as a whole
        where that is another.
        """
        page = self.desk.page
        self.scan(coupon)
        after = () if hardness else TEMPERATURES
        self.key(figures, "Record and judge", confirm=hardness, temperatures=after)
        expect(page.locator("#saved")).to_have_text(f"Coupon {coupon} is recorded")
        expect(page.locator(".verdict--bench")).to_have_text(f"{verdict} provisional")
        told = page.locator("[aria-labelledby=saved] [role=status]")
        if whole != verdict:
            expect(told).to_contain_text(f"The coupon as a whole: {whole} provisional")
        else:
            expect(told).not_to_contain_text("as a whole")
