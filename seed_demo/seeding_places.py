"""Filling the demonstration: places with their marks, and where held and released panels stand."""

from datetime import datetime, timedelta
from functools import partial

from app.panels.service import bring_panel, register_place
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.load_plan import Load, PanelEnd
from seed_demo.scenario_decided import (
    DISPATCH,
    LEFT_IN_RACK,
    PLACES,
    QUARANTINE,
    RACK,
    DemoPlace,
)
from seed_demo.seeding_loads import unwrapping_day

_KEEPER, _CARRIER = "awrayburn", "pquennell"
_APART = frozenset({PanelEnd.HELD, PanelEnd.USE_AS_IS, PanelEnd.SCRAPPED})


def enter_places(shop: DemoShop) -> None:
    """The places are registered on the first day."""
    for place in PLACES:
        shop.enter(shop.day(FIRST_DAY, 8, 10), partial(_register, shop, place))


def enter_bringing(shop: DemoShop, load: Load, run: FurnaceRun) -> None:
    """Each panel is brought where it belongs in the evening after it was unwrapped."""
    evening = unwrapping_day(shop, run) + timedelta(hours=17)
    for k, panel in enumerate(load.panels):
        place = QUARANTINE if panel.ends in _APART else RACK
        if panel.ends in {PanelEnd.RELEASED, PanelEnd.RECALLED}:
            place = DISPATCH
        if panel.number == LEFT_IN_RACK:
            place = RACK
        at = evening + timedelta(minutes=4 * k)
        shop.enter(at, partial(_bring, shop, panel.number, place))


def _register(shop: DemoShop, place: DemoPlace, at: datetime) -> None:
    register_place(
        shop.database,
        code=place.code,
        name=place.name,
        is_quarantine=place.is_quarantine,
        by=shop.people[_KEEPER],
        at=at,
    )


def _bring(shop: DemoShop, panel: str, place: DemoPlace, at: datetime) -> None:
    by = shop.people[_CARRIER]
    bring_panel(shop.database, panel=panel, place=place.code, by=by, at=at)
