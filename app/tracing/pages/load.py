"""A load's page: its record, its panels and where they stand, its coupons, its evidence."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from fastapi import APIRouter, Response

from app.loads import sheet
from app.loads.cold.colour_sheet import ColourSheet, colour_sheet
from app.loads.cold.colouring import colour_named
from app.loads.live.live_state import live_state
from app.loads.pages.live import Watching
from app.loads.pages.looking_over import Looking
from app.loads.queries import Seats
from app.loads.record_queries import came_in
from app.loads.replacements import replacements
from app.loads.trouble_queries import troubles_of_load
from app.panels.queries import came_of
from app.people.queries import open_holds_about
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.queries.panel_facts import panel_facts
from app.release.rules.gates import address
from app.release.rules.rejection import rejection
from app.release.rules.standing import Standing
from app.release.service import case_of
from app.tracing.pages.standing_words import replaced_by, why_it_stands
from app.tracing.queries.coupon_results import CouponResult, coupon_results
from app.tracing.queries.dossier import people_by_id
from app.web.page import Page, Records, now

router = APIRouter()


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """A panel in plan view: its size as text, and its coupons and sensors."""

    length_mm: str
    width_mm: str
    marks: list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class PanelNow:
    """Where a panel of the load stands now, and why, in a sentence or two."""

    standing: str
    why: str


@router.get("/loads/{code:path}")
def show_load(
    page: Page,
    records: Records,
    watch: Watching,
    looking: Looking,
    by: SignedIn,
    *,
    code: str,
    colour: str = "",
) -> Response:
    """A load: where it stands, the verdict on its record, its evidence, its history.

    ``colour`` is the figure that its panels are coloured by.
    """
    wanted, zone = colour_named(colour), page.settings.zone
    looking.wait_for(code)
    with records.read() as session:
        seen = sheet.sheet(session, code, zone=zone)
        live = live_state(session, seen.load, watch=watch, now=now(), zone=zone)
        results = coupon_results(
            session, seen.load.id, [coupon.id for coupon in seen.seats.coupons]
        )
        reports = troubles_of_load(session, seen.load.id)
        panels_now, rejected = _panels_now(session, seen.load.id, seen.seats, zone)
        replaced = replacements(session, [seen.load.id]).get(seen.load.id, [])
        came = came_in(session, [seen.load.id]).get(seen.load.id)
        on_hold = open_holds_about(session, "load", seen.load.code)
        cold = None
        if seen.verdict is not None and seen.record is not None:
            began = seen.record.starts_at or seen.load.planned_start
            cold = colour_sheet(
                session, wanted, seen.load, seen.seats, seen.verdict, began=began, zone=zone
            )
    return page.show(
        "loads/load.html",
        sheet=seen,
        live=live,
        cold=cold,
        came=came,
        on_hold=on_hold,
        results=results,
        reports=reports,
        replaced=replaced,
        panels_now=panels_now,
        rejected=rejected,
        plans=plans(seen.seats, results, cold),
        may_check=may(by, Act.CHECK_BAG),
        may_import=may(by, Act.IMPORT_RECORD),
        may_exclude=may(by, Act.EXCLUDE_SENSOR) and len(seen.seats.required) > 1,
        may_unwrap=may(by, Act.UNWRAP),
        may_report=may(by, Act.REPORT_TROUBLE),
        may_start=may(by, Act.START_LOAD),
        may_plan=may(by, Act.PLAN_LOAD),
    )


def _panels_now(
    session: Any, load_id: int, seats: Seats, zone: tzinfo
) -> tuple[dict[int, PanelNow], tuple[str, ...]]:
    """Where the load's panels stand, by key, and what rejects each if they all are rejected.

    As many queries for many panels as for one, but for a panel that others stand for.
    """
    facts = panel_facts(session, [panel.id for panel in seats.panels], zone=zone, in_full=True)
    names = people_by_id(session)
    shown = {}
    for key, one in facts.items():
        case = case_of(one)
        children = came_of(session, key) if case.standing is Standing.REPLACED else []
        why = replaced_by(children) or why_it_stands(case, names)
        shown[key] = PanelNow(case.standing.value, why)
    return shown, rejection([facts[panel.id] for panel in seats.panels], load_id)


def plans(
    seats: Seats, results: Mapping[int, CouponResult], cold: ColourSheet | None
) -> dict[int, PanelPlan]:
    """Every panel in plan view, by its key; sensors without a place are left out."""
    return {
        panel.id: PanelPlan(
            str(panel.length_mm),
            str(panel.width_mm),
            [
                *_coupon_marks(seats, panel.id, results, cold),
                *_sensor_marks(seats, panel.id, cold),
            ],
        )
        for panel in seats.panels
    }


def _coupon_marks(
    seats: Seats, panel_id: int, results: Mapping[int, CouponResult], cold: ColourSheet | None
) -> list[dict[str, Any]]:
    marks = []
    for coupon in seats.coupons:
        if coupon.panel_id != panel_id:
            continue
        estimate = None if cold is None else cold.colouring.estimates.get(coupon.id)
        figure = None if estimate is None else estimate.figure
        marks.append(
            {
                "kind": "coupon",
                "code": coupon.code,
                "label": coupon.station,
                "x": coupon.x,
                "y": coupon.y,
                "verdict": results[coupon.id].verdict,
                "href": address("coupon", coupon.code),
                "figure": None,
                "drawn": None
                if figure is None or cold is None
                else cold.colouring.colour.written(figure),
                "struck": False,
            }
        )
    return marks


def _sensor_marks(seats: Seats, panel_id: int, cold: ColourSheet | None) -> list[dict[str, Any]]:
    marks = []
    for sensor in seats.sensors:
        if sensor.panel_id != panel_id or sensor.x is None or sensor.y is None:
            continue
        figure = None if cold is None else cold.colouring.figures.get(sensor.channel)
        marks.append(
            {
                "kind": "sensor",
                "code": sensor.channel,
                "label": sensor.station + (", excluded" if sensor.excluded is not None else ""),
                "x": sensor.x,
                "y": sensor.y,
                "verdict": None,
                "href": address("sensor", sensor.code),
                "figure": figure,
                "drawn": None,
                "struck": sensor.excluded is not None,
            }
        )
    return marks
