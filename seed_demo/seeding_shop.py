"""Filling the demonstration: people, equipment, cycles and tables, material."""

import json
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from app.panels import service as panels
from app.panels.service import Material
from app.people import service as accounts
from app.people.rights import Role
from app.requirements import queries as requirement_queries
from app.requirements import service as requirements
from app.requirements.records import RequirementKind
from app.requirements.rules import ShopRules
from app.requirements.service import Named
from seed_demo.diary import DemoShop
from seed_demo.load_plan import LOTS, Load, Lot, Panel, alloy_of_lot
from seed_demo.scenario import (
    LARGEST_TREATMENT_COUNT,
    PANEL_LENGTH_MM,
    PANEL_WIDTH_MM,
    PEOPLE,
    Person,
)
from seed_demo.scenario_corrections import CORRECTIONS, WAITING_CORRECTION, DemoCorrection
from seed_demo.scenario_papers import (
    COUPONS_PER_PANEL,
    CYCLES,
    LEAK_LIMIT_KPA,
    LEAK_MINUTES,
    SENSORS_PER_PANEL,
    TABLES,
    WAITING_CYCLE,
    WAITING_TABLE,
    DemoCycle,
    DemoTable,
)
from seed_demo.seeding_bench_instruments import enter_bench_instruments
from seed_demo.seeding_equipment import FIRST_DAY, enter_equipment

PASSWORD = "aged at 150 for a day"  # noqa: S105 - shown to everybody who tries the demonstration
RECEIVER = "pquennell"


def enter_shop(shop: DemoShop, loads: tuple[Load, ...]) -> None:
    """Everything that has to be there before the first load, and what waits beside the loads."""
    for person in PEOPLE:
        shop.enter(shop.day(FIRST_DAY, 7), partial(_open_account, shop, person))
    enter_equipment(shop, PASSWORD)
    enter_bench_instruments(shop, PASSWORD)
    for cycle in (*CYCLES, WAITING_CYCLE):
        _enter_cycle(shop, cycle)
    for correction in (*CORRECTIONS, WAITING_CORRECTION):
        _enter_correction(shop, correction)
    for table in (*TABLES, WAITING_TABLE):
        _enter_table(shop, table)
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


def _open_account(shop: DemoShop, person: Person, at: datetime) -> None:
    shop.people[person.sign_in] = accounts.add_person(
        shop.database,
        username=person.sign_in,
        full_name=person.name,
        roles=[Role(role) for role in person.roles],
        password=PASSWORD,
        by="set-up",
        at=at,
    )


def _written_at(shop: DemoShop, verified_by: str | None) -> datetime:
    """What is in force was written on the first day; what waits, yesterday."""
    return shop.day(FIRST_DAY if verified_by else 1, 13)


def _enter_cycle(shop: DemoShop, cycle: DemoCycle) -> None:
    at = _written_at(shop, cycle.verified_by)
    shop.enter(at, partial(_write_cycle, shop, cycle))
    if cycle.verified_by is not None:
        named = Named(RequirementKind.CYCLE, cycle.code, cycle.revision)
        verified_at = at + timedelta(hours=2)
        shop.enter(verified_at, partial(_verify, shop, named, cycle.verified_by))


def _enter_table(shop: DemoShop, table: DemoTable) -> None:
    at = _written_at(shop, table.verified_by) + timedelta(minutes=30)
    shop.enter(at, partial(_write_table, shop, table))
    if table.verified_by is not None:
        kind = RequirementKind.ACCEPTANCE_TABLE
        named = Named(kind, table.code, table.paper["revision"])
        verified_at = at + timedelta(hours=2)
        shop.enter(verified_at, partial(_verify, shop, named, table.verified_by))


def _enter_correction(shop: DemoShop, correction: DemoCorrection) -> None:
    at = _written_at(shop, correction.verified_by) + timedelta(minutes=15)
    shop.enter(at, partial(_write_correction, shop, correction))
    if correction.verified_by is not None:
        kind = RequirementKind.CORRECTION_TABLE
        named = Named(kind, correction.code, correction.paper["revision"])
        verified_at = at + timedelta(hours=2)
        shop.enter(verified_at, partial(_verify, shop, named, correction.verified_by))


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


def _write_table(shop: DemoShop, table: DemoTable, at: datetime) -> None:
    requirements.write_table(
        shop.database,
        code=table.code,
        paper=json.dumps(table.paper),
        filename=f"{table.code}.json",
        source_document=f"Acceptance sheet AS-{table.code} (invented)",
        by=shop.people[table.written_by],
        at=at,
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


def _verify(shop: DemoShop, named: Named, verified_by: str, at: datetime) -> None:
    """Tick every part as compared with its source, and sign."""
    with shop.database.read() as session:
        found = requirement_queries.named(
            session, named.code, kind=named.kind, revision=named.revision
        )
        revision = next(one for one in found if one.revision == named.revision)
        anchors = [part.anchor for part in requirement_queries.parts_of(revision)]
    requirements.verify(
        shop.database,
        named,
        compared=anchors,
        in_force_from=None,
        password=PASSWORD,
        by=shop.people[verified_by],
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
        order_number=f"WO-{7000 + int(panel.number.removeprefix('TW-'))}",
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
