"""Filling the demonstration: coupons missing or doubled, and the one case that is decided."""

from datetime import datetime
from functools import partial

from app.loads.service import Answer, Report, answer_trouble, report_trouble
from app.loads.trouble_queries import open_troubles
from app.loads.trouble_records import TroubleKind, TroubleOutcome
from seed_demo.diary import DemoShop
from seed_demo.scenario_loads import SPARE_ON
from seed_demo.seeding_shop import PASSWORD

DOUBLED_ON = ("L-206", "TW-1055", "TW-1055-B")
"""Load, panel and coupon of the doubled mark."""
_FOUND = (
    "A second coupon marked TW-1055-B stood in the rack by the shears, unaged to look at. Both lie "
    "in the locked drawer; the marks are photographed."
)


def enter_doubled(shop: DemoShop, at: datetime) -> None:
    """Somebody finds a second coupon of one mark."""
    shop.enter(at, partial(_report, shop))


def enter_spare(shop: DemoShop, at: datetime) -> None:
    """A supervisor lets a spare stand in for a coupon that was not found at unwrapping."""
    shop.enter(at, partial(_stand_in, shop))


def _report(shop: DemoShop, at: datetime) -> None:
    load, panel, coupon = DOUBLED_ON
    report = Report(TroubleKind.DOUBLED, _FOUND, coupon)
    report_trouble(shop.database, load, panel, report, by=shop.people["imorrowby"], at=at)


def _stand_in(shop: DemoShop, at: datetime) -> None:
    lost, spare = SPARE_ON
    with shop.database.read() as session:
        key = next(one.id for one in open_troubles(session) if one.coupon == lost)
    answer = Answer(
        TroubleOutcome.SPARE,
        "The bag had been swept out before the count. The spare lay a hand's breadth farther in, "
        "at the same end, under the same breather.",
        spare=spare,
    )
    by = shop.people["rhalvarth"]
    answer_trouble(shop.database, key, answer, password=PASSWORD, by=by, at=at)
