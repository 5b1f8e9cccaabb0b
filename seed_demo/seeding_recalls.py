"""Filling the demonstration: a tester on hold for one day of its work, and recalls that follow."""

from datetime import datetime, timedelta
from functools import partial

from app.panels.queries import panel as panel_of
from app.panels.records import HoldOn
from app.release.queries.panel_facts import panel_facts
from app.release.service import (
    Closing,
    HeldThing,
    case_of,
    close_recalls,
    place_hold,
    place_upstream_hold,
)
from seed_demo.diary import DemoShop
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.scenario_decided import CONFIRMED_ON, RECALL_REASON, RECALLED_BY
from seed_demo.seeding_loads import unwrapping_day

_AUDITOR, _ENGINEER, _SUPERVISOR = "jlindqvane", "skestle", "rhalvarth"


def enter_recalls(shop: DemoShop, run: FurnaceRun, password: str) -> None:
    """``run`` is of the load whose coupons were read on the day that is in doubt."""
    day = unwrapping_day(shop, run)
    held = HeldThing(
        HoldOn.TESTER,
        RECALLED_BY,
        since=day,
        until=day + timedelta(hours=23, minutes=59),
    )
    shop.enter(shop.day(4, 15, 20), partial(_hold_upstream, shop, held))
    shop.enter(shop.day(6, 11, 10), partial(_hold, shop))
    shop.enter(shop.day(5, 9, 40), partial(_confirm, shop, password))


def _hold_upstream(shop: DemoShop, held: HeldThing, at: datetime) -> None:
    by = shop.people[_ENGINEER]
    place_upstream_hold(shop.database, held, reason=RECALL_REASON, by=by, at=at)


def _hold(shop: DemoShop, at: datetime) -> None:
    reason = "The strip of HB-2 kept with coupon A bears another day than the readings."
    by = shop.people[_AUDITOR]
    place_hold(shop.database, CONFIRMED_ON, reason=reason, by=by, at=at)


def _confirm(shop: DemoShop, password: str, at: datetime) -> None:
    with shop.database.read() as session:
        key = panel_of(session, CONFIRMED_ON).id
        seen = case_of(panel_facts(session, [key], zone=shop.zone, in_full=True)[key]).seen
    reason = (
        "The tester's clock was a day behind; its own memory lists the three indents by coupon."
    )
    closing = Closing(CONFIRMED_ON, stands=True, reason=reason, seen=seen)
    close_recalls(
        shop.database,
        [closing],
        password=password,
        by=shop.people[_SUPERVISOR],
        at=at,
        zone=shop.zone,
    )
