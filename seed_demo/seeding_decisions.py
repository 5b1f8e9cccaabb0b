"""Filling the demonstration: panels held, released and disposed of, each decision signed."""

from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from app.panels.queries import panel as panel_of
from app.release.queries.panel_facts import panel_facts
from app.release.rules.dividing import Piece
from app.release.rules.facts import DecisionKind
from app.release.service import case_of, divide_panel, lift_hold, place_hold, release_panel
from seed_demo.diary import DemoShop
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.load_plan import Load, Panel, PanelEnd
from seed_demo.scenario import PANEL_WIDTH_MM
from seed_demo.scenario_decided import PIECE_LENGTH_MM, PIECES
from seed_demo.seeding_loads import unwrapping_day
from seed_demo.seeding_nonconformances import ANSWERS, enter_nonconformance, enter_scrap
from seed_demo.seeding_shop import PASSWORD

_DISPOSITION = {
    PanelEnd.RELEASED: DecisionKind.NO_DEPARTURE,
    PanelEnd.RECALLED: DecisionKind.NO_DEPARTURE,
    PanelEnd.REWORKED: DecisionKind.REWORK,
    PanelEnd.USE_AS_IS: DecisionKind.USE_AS_IS,
    PanelEnd.IN_REWORK: DecisionKind.REWORK,
    PanelEnd.SCRAPPED: DecisionKind.SCRAPPED,
}


def enter_decisions(shop: DemoShop, load: Load, run: FurnaceRun) -> None:
    """Holds and releases on the afternoon of the bench work, dispositions on the next morning.

    A panel that waited for a laboratory is released when its results are in.
    """
    afternoon = unwrapping_day(shop, run) + timedelta(hours=14, minutes=30)
    for k, panel in enumerate(load.panels):
        at = afternoon + timedelta(minutes=9 * k)
        if panel.hold:
            shop.enter(at, partial(_hold, shop, load, panel))
            if panel.disposition and _DISPOSITION[panel.ends] in ANSWERS:
                kind = _DISPOSITION[panel.ends]
                enter_nonconformance(shop, load, panel, kind, PASSWORD, at)
            at += timedelta(hours=20)
        if panel.disposition:
            shop.enter(at, partial(_lift, shop, load, panel))
            at += timedelta(hours=2)
        if panel.ends is PanelEnd.SCRAPPED:
            enter_scrap(shop, load, panel.number, PASSWORD, at)
        if _is_released(panel):
            waited = any(coupon.yield_mpa for coupon in panel.coupons)
            at += timedelta(days=3) if waited else timedelta()
            shop.enter(at, partial(_release, shop, load, panel))
        if panel.ends is PanelEnd.DIVIDED:
            shop.enter(at + timedelta(hours=40), partial(_divide, shop, load, panel))


def _is_released(panel: Panel) -> bool:
    """Whether this load ends with a release; what was reworked is released after its next one."""
    if panel.ends is PanelEnd.REWORKED:
        return not panel.disposition
    return panel.ends in {PanelEnd.RELEASED, PanelEnd.RECALLED, PanelEnd.DIVIDED}


def _seen(shop: DemoShop, code: str) -> str:
    """What the person read before deciding."""
    with shop.database.read() as session:
        key = panel_of(session, code).id
        facts = panel_facts(session, [key], zone=shop.zone, in_full=True)[key]
    return case_of(facts).seen


def _hold(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    by = shop.people[load.decided_by]
    place_hold(shop.database, panel.number, reason=panel.hold, by=by, at=at)


def _lift(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    lift_hold(
        shop.database,
        panel.number,
        disposition=_DISPOSITION[panel.ends],
        reason=panel.disposition,
        seen=_seen(shop, panel.number),
        password=PASSWORD,
        by=shop.people[load.lifted_by],
        at=at,
        zone=shop.zone,
    )


def _release(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    release_panel(
        shop.database,
        panel.number,
        seen=_seen(shop, panel.number),
        password=PASSWORD,
        by=shop.people[load.decided_by],
        at=at,
        zone=shop.zone,
    )


def _divide(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    """Two panels of half its length, less the saw's width; each needs a release of its own."""
    width = Decimal(PANEL_WIDTH_MM)
    divide_panel(
        shop.database,
        panel.number,
        [Piece(code, Decimal(PIECE_LENGTH_MM), width) for code in PIECES],
        drawing="SK-447",
        reason="The order asks for two short panels of SK-447 in place of the long one.",
        password=PASSWORD,
        by=shop.people[load.decided_by],
        at=at,
        zone=shop.zone,
    )
