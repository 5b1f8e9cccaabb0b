"""Filling the demonstration: round coupons of bar, accepted to ride beside a panel's own."""

from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from app.loads.service import accept_other_lot
from app.panels import service as panels
from seed_demo.diary import DemoShop
from seed_demo.load_plan import LOTS, ROUND_LOT, Load
from seed_demo.seeding_shop import PASSWORD, RECEIVER


def enter_round_coupons(shop: DemoShop, load: Load) -> None:
    """Turned and accepted two days before the load was started; nothing where it has none."""
    begins = load.begins(shop.now).astimezone(shop.zone)
    at = shop.day((shop.now.date() - begins.date()).days + 2, 10)
    for panel in load.panels:
        for code in (panel.coupon_code(coupon) for coupon in panel.coupons if coupon.is_round):
            shop.enter(at, partial(_register, shop, code))
            shop.enter(at + timedelta(hours=1), partial(_accept, shop, code, panel.number))


def _register(shop: DemoShop, code: str, at: datetime) -> None:
    lot = next(lot for lot in LOTS if lot.number == ROUND_LOT)
    panels.register_coupons(
        shop.database,
        lot=ROUND_LOT,
        codes=[code],
        place="drawer of the ball tester",
        diameter_mm=Decimal(lot.thickness_mm),
        by=shop.people[RECEIVER],
        at=at,
    )


def _accept(shop: DemoShop, code: str, panel: str, at: datetime) -> None:
    accept_other_lot(
        shop.database,
        code,
        panel,
        reason=f"Rides along beside the panel's own two, to try bar {ROUND_LOT} as coupon material",
        password=PASSWORD,
        by=shop.people["rhalvarth"],
        at=at,
    )
