"""Fill a database with the invented shop, through the services, as if its weeks had been lived."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from app.database import Database
from app.settings import Settings
from app.trail.service import key_place
from seed_demo.diary import DemoShop, silent
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.live_run import enter_live_run
from seed_demo.load_plan import Load
from seed_demo.scenario_decided import RECALLED_LOAD
from seed_demo.scenario_loads import DRAFT_ON, LOADS, SPARE_ON, VOID_ASKED_ON
from seed_demo.seeding_bench import coupons_of, enter_bench, enter_running_session
from seed_demo.seeding_changes import enter_void_request
from seed_demo.seeding_decisions import enter_decisions
from seed_demo.seeding_loads import enter_load, runs_of, unwrapping_day
from seed_demo.seeding_mappings import TRIED_ON, enter_mappings
from seed_demo.seeding_nonconformances import enter_waiting_proposal
from seed_demo.seeding_places import enter_bringing
from seed_demo.seeding_plans import enter_plans
from seed_demo.seeding_recalls import enter_recalls
from seed_demo.seeding_round import enter_round_coupons
from seed_demo.seeding_shop import PASSWORD, enter_shop
from seed_demo.seeding_studies import enter_studies
from seed_demo.seeding_trail import enter_trail
from seed_demo.seeding_troubles import DOUBLED_ON, enter_doubled, enter_spare


def seed(
    database: Database,
    settings: Settings,
    now: datetime,
    tell: Callable[[str], None] = silent,
    *,
    token_file: Path | None = None,
) -> None:
    """Fill the empty, migrated ``database``; everything happened before ``now``.

    ``settings`` give the shop's zone. ``tell`` gets a line for each load, in the order of the acts.
    The token of the logger that sends now is written to ``token_file``.
    """
    shop = DemoShop(database, settings.zone, now.astimezone(settings.zone), tell)
    enter_all(shop)
    enter_live_run(shop, token_file)
    enter_trail(shop, key_place(settings), settings.shop_name, PASSWORD)
    shop.live()


def enter_all(shop: DemoShop) -> None:
    """Put the whole scenario into the shop's diary; nothing happens yet."""
    runs = runs_of(LOADS, shop.now)
    enter_shop(shop, LOADS)
    enter_plans(shop)
    enter_mappings(shop, runs[TRIED_ON], PASSWORD)
    enter_studies(shop)
    enter_waiting_proposal(shop, PASSWORD)
    enter_recalls(shop, runs[RECALLED_LOAD], PASSWORD)
    for load in LOADS:
        run = runs.get(load.number)
        enter_round_coupons(shop, load)
        enter_load(shop, load, run)
        if run is None or not load.imported:
            continue
        enter_bench(shop, load, run)
        enter_decisions(shop, load, run)
        enter_bringing(shop, load, run)
        _enter_what_is_told_of(shop, load, run)


def _enter_what_is_told_of(shop: DemoShop, load: Load, run: FurnaceRun) -> None:
    """The voids, troubles and half-done work of a load's coupons, as its story has them."""
    day = unwrapping_day(shop, run)
    coupons = {panel.coupon_code(coupon) for panel, coupon in coupons_of(load)}
    if VOID_ASKED_ON in coupons:
        enter_void_request(shop, load, VOID_ASKED_ON, day + timedelta(hours=14))
    if DRAFT_ON in coupons:
        enter_running_session(shop, load, run, DRAFT_ON)
    if DOUBLED_ON[2] in coupons:
        enter_doubled(shop, day + timedelta(hours=16))
    if SPARE_ON[0] in coupons:
        enter_spare(shop, day + timedelta(hours=13, minutes=30))
