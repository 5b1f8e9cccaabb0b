"""Filling the demonstration: a load that was cancelled, one still to come, panels that wait.

The load to come carries a coupon of another lot, which a supervisor accepted; and between planning
and start somebody worked on the furnace of tomorrow's load, so that it cannot start as things are.
"""

from datetime import datetime, timedelta
from functools import partial

from app.equipment import service as equipment
from app.loads.planning.planned import Plan, PlannedPanel
from app.loads.service import accept_other_lot, cancel_load, plan_load
from app.panels import service as panels
from seed_demo.diary import DemoShop
from seed_demo.load_plan import Coupon, Load, Panel, PanelEnd
from seed_demo.scenario_equipment import gauge_of
from seed_demo.scenario_loads import LOADS, NOT_MEASURED
from seed_demo.seeding_equipment import ENGINEER
from seed_demo.seeding_loads import CORNERS_MM, coupon_place, declared_length, sensor_places
from seed_demo.seeding_shop import PASSWORD, RECEIVER, register_coupons, register_panel

_LOT, _OTHER_LOT = "ML-0719", "ML-0712"
_STAND_IN = "TW-1074-S"
"""The coupon of the other lot."""
_CONTROL_SENSOR = "control sensor changed"
"""As the shop's procedure lists the work; it asks for a new accuracy test."""


def _panel(serial: int, ends: PanelEnd, coupons: tuple[Coupon, ...] = NOT_MEASURED) -> Panel:
    return Panel(number=f"TW-{serial}", lot=_LOT, former="FM-02", ends=ends, coupons=coupons)


TO_COME = (
    _panel(1073, PanelEnd.PLANNED),
    _panel(1074, PanelEnd.PLANNED, (Coupon(letter="A", measured=False, verdict=None),)),
)
WAITING = (
    _panel(1075, PanelEnd.WAITING),
    _panel(1076, PanelEnd.WAITING),
    _panel(1077, PanelEnd.WAITING),
)

CANCELLED_LOAD, LATER_LOAD = (
    Load(
        number=number,
        furnace="AK1",
        cycle="KH-150",
        story=story,
        days_before=days_before,
        seed=0,
        sensors_per_panel=4,
        record=None,
        bag="not unwrapped",
        closing_check="none",
        panels=TO_COME,
    )
    for number, story, days_before in (
        ("L-214", "Planned, and cancelled before it was started.", 1),
        ("L-215", "Planned for the day after tomorrow, with a coupon of another lot.", -2),
    )
)


def enter_plans(shop: DemoShop) -> None:
    """Put panels, plans, the cancelling, the exception and the work into the diary."""
    received = shop.day(6, 10)
    for panel in (*TO_COME, *WAITING):
        shop.enter(received, partial(register_panel, shop, panel))
        shop.enter(received + timedelta(minutes=25), partial(register_coupons, shop, panel))
    shop.enter(received + timedelta(minutes=30), partial(_cut_stand_in, shop))
    first = tuple(panel.coupons for panel in TO_COME)
    shop.enter(shop.day(3, 15, 40), partial(_accept, shop))
    shop.enter(shop.day(3, 16), partial(_plan, shop, CANCELLED_LOAD, first))
    shop.enter(shop.day(2, 8, 20), partial(_cancel, shop))
    shop.enter(shop.now - timedelta(minutes=100), partial(_plan, shop, LATER_LOAD, first))
    shop.enter(shop.now - timedelta(minutes=70), partial(_work, shop))


def _cut_stand_in(shop: DemoShop, at: datetime) -> None:
    panels.register_coupons(
        shop.database,
        lot=_OTHER_LOT,
        codes=[_STAND_IN],
        place="coupon rack by the saw",
        by=shop.people[RECEIVER],
        at=at,
    )


def _accept(shop: DemoShop, at: datetime) -> None:
    accept_other_lot(
        shop.database,
        _STAND_IN,
        "TW-1074",
        reason=f"The blanks of {_LOT} are used up but one; {_OTHER_LOT} is of the same mill, gauge "
        "and route, and its certificate lies between the limits of both",
        password=PASSWORD,
        by=shop.people["rhalvarth"],
        at=at,
    )


def _plan(
    shop: DemoShop, load: Load, coupons: tuple[tuple[Coupon, ...], ...], at: datetime
) -> None:
    begins = load.begins(shop.now)
    seats = [
        coupon_place(load, panel, letter=coupon.letter, code=panel.coupon_code(coupon))
        for panel, own in zip(load.panels, coupons, strict=True)
        for coupon in own
    ]
    seats.append(coupon_place(load, load.panels[1], letter="B", code=_STAND_IN))
    plan = Plan(
        code=load.number,
        furnace=load.furnace,
        cycle=load.cycle,
        planned_start=begins,
        planned_end=begins + declared_length(load),
        vacuum_gauge=gauge_of(load.furnace),
        panels=tuple(
            PlannedPanel(panel=panel.number, former=panel.former, table="QT-31", x_mm=x, y_mm=y)
            for panel, (x, y) in zip(load.panels, CORNERS_MM, strict=False)
        ),
        coupons=tuple(seats),
        sensors=sensor_places(load),
    )
    plan_load(shop.database, plan, by=shop.people[ENGINEER], at=at, zone=shop.zone)
    shop.tell(f"{load.number}  {load.story}")


def _cancel(shop: DemoShop, at: datetime) -> None:
    cancel_load(
        shop.database,
        CANCELLED_LOAD.number,
        reason="The crane is out for its yearly look-over; the panels go into a later load.",
        by=shop.people[ENGINEER],
        at=at,
    )


def _work(shop: DemoShop, at: datetime) -> None:
    """On the furnace of the load planned for tomorrow, after it was planned."""
    tomorrow = next(load for load in LOADS if load.planned_only)
    equipment.record_maintenance(
        shop.database,
        furnace=tomorrow.furnace,
        event=_CONTROL_SENSOR,
        happened_on=at.date(),
        asks_for=(),
        note="Junction of the control sensor cracked at the sheath.",
        by=shop.people[ENGINEER],
        at=at,
    )
