"""Filling the demonstration: people, equipment, cycles and tables, material."""

import json
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from app.equipment import service as equipment
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
    TESTERS,
    Person,
    Tester,
)
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
from seed_demo.seeding_equipment import ENGINEER, FIRST_DAY, days_from_now, enter_equipment

PASSWORD = "aged at 150 for a day"  # noqa: S105 - shown to everybody who tries the demonstration
RECEIVER = "pquennell"

_CERTIFICATE_DAYS = 180
_BLOCKS_EXPIRE_IN_DAYS = 210


def enter_shop(shop: DemoShop, loads: tuple[Load, ...]) -> None:
    """Everything that has to be there before the first load, and what waits beside the loads."""
    for person in PEOPLE:
        shop.enter(shop.day(FIRST_DAY, 7), partial(_open_account, shop, person))
    enter_equipment(shop, PASSWORD)
    for tester in TESTERS:
        shop.enter(shop.day(FIRST_DAY, 10), partial(_register_tester, shop, tester))
    for cycle in (*CYCLES, WAITING_CYCLE):
        _enter_cycle(shop, cycle)
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


def _register_tester(shop: DemoShop, tester: Tester, at: datetime) -> None:
    """A tester with its certificate, and the reference block it is checked on."""
    by, due = shop.people[ENGINEER], tester.calibration_due_in_days
    equipment.register_tester(
        shop.database,
        code=tester.code,
        name=tester.name,
        quantity=tester.quantity,
        unit=tester.scale_or_unit,
        frequency_khz=None if tester.frequency_khz is None else Decimal(tester.frequency_khz),
        by=by,
        at=at,
    )
    equipment.record_tester_certificate(
        shop.database,
        tester=tester.code,
        term=days_from_now(shop, due - _CERTIFICATE_DAYS, due),
        certificate=f"CAL-{tester.code}-07",
        expanded_uncertainty=Decimal(tester.expanded_uncertainty),
        by=by,
        at=at,
    )
    equipment.register_block(
        shop.database,
        code=tester.block,
        quantity=tester.quantity,
        unit=tester.scale_or_unit,
        certified_value=Decimal(tester.block_value),
        permitted_error=Decimal(tester.block_permitted_error),
        expires_on=shop.now.date() + timedelta(days=_BLOCKS_EXPIRE_IN_DAYS),
        certificate=f"BC-{tester.block}",
        by=by,
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
    """Register the coupons that were cut for a panel."""
    panels.register_coupons(
        shop.database,
        lot=panel.lot,
        codes=[panel.coupon_code(coupon) for coupon in panel.coupons],
        place="coupon rack by the saw",
        by=shop.people[RECEIVER],
        at=at,
    )
