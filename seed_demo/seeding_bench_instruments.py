"""Filling the demonstration: testers, thermometer and reference blocks, entered and accepted."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from app.equipment import service as equipment
from app.equipment.queries import SubjectKind
from app.equipment.records import Build
from app.equipment.rules import SentFile
from app.equipment.service import BlockFigures, TesterFigures
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.drawn_find import scanned_sheet
from seed_demo.scenario import (
    BALL_TESTER,
    DISPLAY_STEP,
    NEW_BLOCK,
    SECOND_METER,
    TESTERS,
    THERMOMETER,
    Block,
    Tester,
)
from seed_demo.seeding_equipment import (
    ENGINEER,
    REVIEWER,
    Accepted,
    days_from_now,
)

_CERTIFICATE_DAYS = 180
_BLOCKS_EXPIRE_IN_DAYS = 210
_THERMOMETER_DUE_IN_DAYS = 61


def enter_bench_instruments(shop: DemoShop, password: str) -> None:
    """Each with its certificate, which a second person accepts; one block still waits for that."""
    at = shop.day(FIRST_DAY, 10)
    for tester in TESTERS:
        accepted = Accepted(shop, SubjectKind.TESTER_CERTIFICATE, password)
        accepted.enter(at, partial(_register_tester, shop, tester))
        for block in tester.blocks:
            accepted = Accepted(shop, SubjectKind.BLOCK, password)
            accepted.enter(at, partial(_register_block, shop, tester, block))
    for tester in (SECOND_METER, BALL_TESTER):
        accepted = Accepted(shop, SubjectKind.TESTER_CERTIFICATE, password)
        accepted.enter(at, partial(_register_tester, shop, tester))
    for block in BALL_TESTER.blocks:
        accepted = Accepted(shop, SubjectKind.BLOCK, password)
        accepted.enter(at, partial(_register_block, shop, BALL_TESTER, block))
    accepted = Accepted(shop, SubjectKind.THERMOMETER_CERTIFICATE, password)
    accepted.enter(at, partial(_register_thermometer, shop))
    shop.enter(shop.day(1, 14, 20), partial(_register_block, shop, TESTERS[0], NEW_BLOCK))


def lift_quarantine(shop: DemoShop, tester: str, password: str, at: datetime) -> None:
    """The engineer who was not at the bench looks into it and lets the tester be used again."""
    equipment.lift_quarantine(
        shop.database,
        tester=tester,
        reason="Probe cable chafed at the plug; replaced, and both standards read rightly since.",
        password=password,
        by=shop.people[REVIEWER],
        at=at,
    )


def _register_tester(shop: DemoShop, tester: Tester, at: datetime) -> int:
    by, due = shop.people[ENGINEER], tester.calibration_due_in_days
    equipment.register_tester(
        shop.database,
        code=tester.code,
        name=tester.name,
        quantity=tester.quantity,
        unit=tester.scale_or_unit,
        figures=TesterFigures(
            build=Build(tester.build),
            resolution=Decimal(DISPLAY_STEP),
            measures_from=Decimal(tester.measures[0]),
            measures_to=Decimal(tester.measures[1]),
            accuracy=Decimal(tester.accuracy),
            indenter=tester.indenter,
            force_n=_figure(tester.force_n),
            ball_mm=_figure(tester.ball_mm),
            asymmetry_percent=_figure(tester.asymmetry_percent),
            frequency_khz=_figure(tester.frequency_khz),
            probe=tester.probe,
            check_every_min=tester.check_every_min,
        ),
        by=by,
        at=at,
    )
    number = f"CAL-{tester.code}-07"
    sheet = scanned_sheet(number, "as found and as left", title="Tester calibration")
    return equipment.record_tester_certificate(
        shop.database,
        tester=tester.code,
        term=days_from_now(shop, due - _CERTIFICATE_DAYS, due),
        certificate=number,
        expanded_uncertainty=Decimal(tester.expanded_uncertainty),
        as_found=_lines(tester.as_found),
        as_left=_lines(tester.as_left),
        as_found_within=True,
        file=SentFile(f"{number}.png", sheet),
        by=by,
        at=at,
    )


def _register_block(shop: DemoShop, tester: Tester, block: Block, at: datetime) -> int:
    return equipment.register_block(
        shop.database,
        code=block.code,
        quantity=tester.quantity,
        unit=tester.scale_or_unit,
        figures=BlockFigures(
            certified_value=Decimal(block.value),
            permitted_error=Decimal(block.permitted_error),
            expanded_uncertainty=Decimal(block.expanded_uncertainty),
            indents_most=block.indents_most,
            certified_at_c=_figure(block.certified_at_c),
        ),
        expires_on=shop.now.date() + timedelta(days=_BLOCKS_EXPIRE_IN_DAYS),
        certificate=f"BC-{block.code}",
        by=shop.people[ENGINEER],
        at=at,
    )


def _register_thermometer(shop: DemoShop, at: datetime) -> int:
    by = shop.people[ENGINEER]
    equipment.register_thermometer(
        shop.database, code=THERMOMETER, name="Surface probe at the bench", by=by, at=at
    )
    due = _THERMOMETER_DUE_IN_DAYS
    return equipment.record_thermometer_certificate(
        shop.database,
        thermometer=THERMOMETER,
        term=days_from_now(shop, due - _CERTIFICATE_DAYS, due),
        certificate=f"TC-{THERMOMETER}",
        largest_error_c=Decimal("0.2"),
        by=by,
        at=at,
    )


def _figure(typed: str | int | None) -> Decimal | None:
    return None if typed is None else Decimal(typed)


def _lines(pairs: Sequence[tuple[str, str]]) -> str:
    return "\n".join(" ".join(pair) for pair in pairs)
