"""Filling the demonstration: people, equipment, cycles and tables, material."""

import json
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from app.panels import service as panels
from app.panels.service import Material
from app.requirements import service as requirements
from app.requirements.records import RequirementKind
from app.requirements.rules import ShopRules
from app.requirements.service import Named
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.load_plan import LOTS, Load, Lot, Panel, alloy_of_lot
from seed_demo.scenario import (
    LARGEST_TREATMENT_COUNT,
    PANEL_LENGTH_MM,
    PANEL_WIDTH_MM,
)
from seed_demo.scenario_corrections import CORRECTIONS, WAITING_CORRECTION, DemoCorrection
from seed_demo.scenario_decided import order_of
from seed_demo.scenario_papers import (
    COUPONS_PER_PANEL,
    CYCLES,
    LEAK_LIMIT_KPA,
    LEAK_MINUTES,
    MISREAD,
    MISWRITTEN_TABLE,
    SENSORS_PER_PANEL,
    TABLES,
    WAITING_CYCLE,
    WAITING_TABLE,
    DemoCycle,
    DemoTable,
)
from seed_demo.seeding_bench_instruments import enter_bench_instruments
from seed_demo.seeding_equipment import enter_equipment
from seed_demo.seeding_keying import key_as_written, key_otherwise, verify_whole
from seed_demo.seeding_orders import enter_orders
from seed_demo.seeding_people import enter_people
from seed_demo.seeding_places import enter_places

PASSWORD = "aged at 150 for a day"  # noqa: S105 - shown to everybody who tries the demonstration
RECEIVER = "pquennell"


def enter_shop(shop: DemoShop, loads: tuple[Load, ...]) -> None:
    """Everything that has to be there before the first load, and what waits beside the loads."""
    enter_people(shop, PASSWORD)
    enter_equipment(shop, PASSWORD)
    enter_bench_instruments(shop, PASSWORD)
    enter_orders(shop, PASSWORD)
    enter_places(shop)
    for cycle in (*CYCLES, WAITING_CYCLE):
        _enter_cycle(shop, cycle)
    for correction in (*CORRECTIONS, WAITING_CORRECTION):
        _enter_correction(shop, correction)
    for table in (*TABLES, MISWRITTEN_TABLE):
        _enter_table(shop, table)
    _enter_keying_of_what_waits(shop)
    for lot in LOTS:
        received = shop.day(lot.received_days_before, 11, 20)
        shop.enter(received, partial(_receive_lot, shop, lot))
    seen: set[str] = set()
    for load in loads:
        begins = load.begins(shop.now).astimezone(shop.zone)
        at = shop.day((shop.now.date() - begins.date()).days + 3, 10)
        for panel in load.panels:
            if panel.number not in seen:
                shop.enter(at, partial(register_panel, shop, panel))
            seen.add(panel.number)
            cut_at = at + timedelta(minutes=25)
            shop.enter(cut_at, partial(register_coupons, shop, panel))


def _enter_keying_of_what_waits(shop: DemoShop) -> None:
    """The table differed when it was keyed again, so it was written anew, and agrees since.

    The cycle agrees at once; the correction table still waits for its second keying.
    """
    kind = RequirementKind.ACCEPTANCE_TABLE
    table = Named(kind, WAITING_TABLE.code, WAITING_TABLE.paper["revision"])
    at = _written_at(shop, None) + timedelta(minutes=30)
    misread = partial(key_otherwise, shop, table, MISREAD, PASSWORD)
    shop.enter(at + timedelta(minutes=40), misread)
    shop.enter(at + timedelta(minutes=70), partial(_write_again, shop))
    agreed = partial(key_as_written, shop, table, PASSWORD)
    shop.enter(at + timedelta(minutes=110), agreed)
    cycle = Named(RequirementKind.CYCLE, WAITING_CYCLE.code, WAITING_CYCLE.revision)
    keyed = partial(key_as_written, shop, cycle, PASSWORD)
    shop.enter(at + timedelta(minutes=140), keyed)


def _written_at(shop: DemoShop, verified_by: str | None) -> datetime:
    """What is in force was written on the first day; what waits, yesterday."""
    return shop.day(FIRST_DAY if verified_by else 1, 13)


def _enter_cycle(shop: DemoShop, cycle: DemoCycle) -> None:
    at = _written_at(shop, cycle.verified_by)
    shop.enter(at, partial(_write_cycle, shop, cycle))
    if cycle.verified_by is not None:
        named = Named(RequirementKind.CYCLE, cycle.code, cycle.revision)
        shop.enter(at + timedelta(hours=1), partial(key_as_written, shop, named, PASSWORD))
        verified_at = at + timedelta(hours=2)
        shop.enter(verified_at, partial(verify_whole, shop, named, cycle.verified_by, PASSWORD))


def _enter_table(shop: DemoShop, table: DemoTable) -> None:
    at = _written_at(shop, table.verified_by) + timedelta(minutes=30)
    shop.enter(at, partial(_write_table, shop, table))
    if table.verified_by is not None:
        kind = RequirementKind.ACCEPTANCE_TABLE
        named = Named(kind, table.code, table.paper["revision"])
        shop.enter(at + timedelta(hours=1), partial(key_as_written, shop, named, PASSWORD))
        verified_at = at + timedelta(hours=2)
        shop.enter(verified_at, partial(verify_whole, shop, named, table.verified_by, PASSWORD))


def _enter_correction(shop: DemoShop, correction: DemoCorrection) -> None:
    at = _written_at(shop, correction.verified_by) + timedelta(minutes=15)
    shop.enter(at, partial(_write_correction, shop, correction))
    if correction.verified_by is not None:
        kind = RequirementKind.CORRECTION_TABLE
        named = Named(kind, correction.code, correction.paper["revision"])
        shop.enter(at + timedelta(hours=1), partial(key_as_written, shop, named, PASSWORD))
        verified_at = at + timedelta(hours=2)
        shop.enter(
            verified_at, partial(verify_whole, shop, named, correction.verified_by, PASSWORD)
        )


def _write_cycle(shop: DemoShop, cycle: DemoCycle, at: datetime) -> None:
    requirements.write_cycle(
        shop.database,
        code=cycle.code,
        revision=cycle.revision,
        paper=json.dumps(cycle.paper(())),
        filename=f"{cycle.code}.json",
        shop_rules=ShopRules(
            sensors_per_panel=SENSORS_PER_PANEL,
            coupons_per_panel=COUPONS_PER_PANEL,
            leak_limit_kpa=Decimal(LEAK_LIMIT_KPA),
            leak_minutes=Decimal(LEAK_MINUTES),
        ),
        source_document=f"Process sheet PS-{cycle.code} (invented)",
        by=shop.people[cycle.written_by],
        at=at,
    )


def _write_again(shop: DemoShop, at: datetime) -> None:
    again = "Two figures of the thin plate's least hardness were exchanged: the sheet says 85.0."
    _write_table(shop, WAITING_TABLE, at, again=again)


def _write_table(
    shop: DemoShop, table: DemoTable, at: datetime, *, again: str | None = None
) -> None:
    requirements.write_table(
        shop.database,
        code=table.code,
        paper=json.dumps(table.paper),
        filename=f"{table.code}.json",
        source_document=f"Acceptance sheet AS-{table.code} (invented)",
        by=shop.people[table.written_by],
        at=at,
        again=again,
    )


def _write_correction(shop: DemoShop, correction: DemoCorrection, at: datetime) -> None:
    requirements.write_correction_table(
        shop.database,
        code=correction.code,
        paper=json.dumps(correction.paper),
        filename=f"{correction.code}.json",
        source_document=f"Correction sheet CS-{correction.code} (invented)",
        by=shop.people[correction.written_by],
        at=at,
    )


def _receive_lot(shop: DemoShop, lot: Lot, at: datetime) -> None:
    material = Material(
        alloy=lot.alloy,
        incoming_temper=alloy_of_lot(lot.number).incoming_temper,
        form=lot.form,
        thickness_mm=Decimal(lot.thickness_mm),
        surface="bare",
    )
    panels.receive_lot(
        shop.database,
        code=lot.number,
        material=material,
        cast=lot.cast,
        certificate=lot.certificate,
        received_on=at.date(),
        by=shop.people[RECEIVER],
        at=at,
    )


def register_panel(shop: DemoShop, panel: Panel, at: datetime) -> None:
    """Register a panel of the scenario."""
    panels.register_panel(
        shop.database,
        code=panel.number,
        lot=panel.lot,
        drawing=f"SK-{440 + int(panel.number[-2:]) % 3}",
        order_number=order_of(panel.number),
        target_temper=alloy_of_lot(panel.lot).final_temper,
        length_mm=Decimal(PANEL_LENGTH_MM),
        width_mm=Decimal(PANEL_WIDTH_MM),
        treatments_most=LARGEST_TREATMENT_COUNT,
        treatments_before=0,
        by=shop.people[RECEIVER],
        at=at,
    )


def register_coupons(shop: DemoShop, panel: Panel, at: datetime) -> None:
    """Register the coupons that were cut for a panel from its own lot."""
    panels.register_coupons(
        shop.database,
        lot=panel.lot,
        codes=[panel.coupon_code(coupon) for coupon in panel.coupons if not coupon.is_round],
        place="coupon rack by the saw",
        by=shop.people[RECEIVER],
        at=at,
    )
