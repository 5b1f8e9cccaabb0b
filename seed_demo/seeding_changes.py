"""Filling the demonstration: slips of the key and what became of them, and a void asked for."""

from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from sqlalchemy import select

from app.bench.records import CorrectionRequest, Reading, VoidCause
from app.bench.service import Correction, answer_correction, ask_void, correct_reading
from app.equipment.rules import SentFile
from app.panels.queries import coupon as coupon_of
from seed_demo.diary import DemoShop
from seed_demo.drawn_find import scanned_sheet
from seed_demo.load_plan import Load
from seed_demo.scenario_loads import SLIP_ON, TURN_ASKED_ON, TURNED_ON

_SLIP = Decimal("2.0")
_TOO_SOFT_BELOW = Decimal("83.0")
"""The least hardness of the slips' table."""
_APPROVER = "rhalvarth"
_UNTIL_APPROVED = timedelta(hours=2, minutes=10)


def as_keyed(code: str, values: tuple[Decimal, ...]) -> tuple[Decimal, ...]:
    """The hardnesses as they were keyed: the scenario's slips are in the second reading."""
    first, second, *others = values
    if code == SLIP_ON:
        return (first, second + _SLIP, *others)
    if code in {TURNED_ON, TURN_ASKED_ON}:
        while second >= _TOO_SOFT_BELOW:
            second -= 1
        return (first, second, *others)
    return values


def enter_correction(
    shop: DemoShop, operator: str, code: str, right: Decimal, at: datetime
) -> None:
    """The operator's correction two minutes later; what turned a result waits for leave."""
    shop.enter(at + timedelta(minutes=2), partial(_correct, shop, operator, code, right))
    if code == TURNED_ON:
        shop.enter(at + _UNTIL_APPROVED, partial(_approve, shop, code))


def _correct(shop: DemoShop, operator: str, code: str, right: Decimal, at: datetime) -> None:
    """The second hardness reading as the tester had shown it."""
    turns = code != SLIP_ON
    strip = scanned_sheet("HB-2", f"{code}: {right}", title="Strip of the tester")
    correction = Correction(
        coupon_code=code,
        reading_id=_second_hardness(shop, code),
        value=right,
        reason=f"Slip of the key: the tester still shows {right}.",
        submission=f"demo-correction-{code}",
        evidence=f"The tester's printed strip shows {right} for the second indent."
        if turns
        else "",
        file=SentFile(f"strip-{code}.png", strip) if turns else None,
    )
    by = shop.people[operator]
    correct_reading(shop.database, correction, by=by, at=at, zone=shop.zone)


def _approve(shop: DemoShop, code: str, at: datetime) -> None:
    with shop.database.read() as session:
        request_id = session.scalars(
            select(CorrectionRequest.id)
            .join(Reading, Reading.id == CorrectionRequest.reading_id)
            .where(Reading.coupon_id == coupon_of(session, code).id)
        ).one()
    answer_correction(
        shop.database,
        coupon_code=code,
        request_id=request_id,
        approved=True,
        reason="Strip seen: it names tester, coupon and time, and shows the figure asked for.",
        by=shop.people[_APPROVER],
        at=at,
        zone=shop.zone,
    )


def _second_hardness(shop: DemoShop, code: str) -> int:
    """Which reading was taken second; the void and the slips are about it."""
    with shop.database.read() as session:
        taken = session.scalars(
            select(Reading.id)
            .where(Reading.coupon_id == coupon_of(session, code).id)
            .where(Reading.quantity == "hardness")
            .order_by(Reading.id)
        ).all()
    return taken[1]


def enter_void_request(shop: DemoShop, load: Load, code: str, at: datetime) -> None:
    """A request to void the coupon's second hardness reading, left for a supervisor to answer."""
    shop.enter(at, partial(_ask_void, shop, load, code))


def _ask_void(shop: DemoShop, load: Load, code: str, at: datetime) -> None:
    ask_void(
        shop.database,
        coupon_code=code,
        reading_id=_second_hardness(shop, code),
        cause=VoidCause.SLIPPED,
        evidence="The indent is drawn out to one side; photograph BP-118 in the bench folder.",
        by=shop.people[load.readings_by],
        at=at,
    )
