"""The drawings beside a plan's form: each panel with what is put on it, and the surveyed zone.

Drawn from what is typed, as far as it can be read; nothing here decides anything.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment import queries as equipment
from app.equipment.records import Furnace, FurnaceCheck, FurnaceCheckKind
from app.equipment.rules.results import survey_of
from app.judging.furnace.evidence import counting_survey
from app.judging.furnace.furnace_reports import Survey
from app.judging.furnace.intervals import day_in_zone
from app.judging.furnace.zone import Zone
from app.loads.planning.plan_forms import panel_at, rows_of
from app.loads.planning.planned import Plan
from app.loads.queries import CouponPlace, PanelPlace
from app.panels.records import Panel


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a drawing: shares from its lower left corner."""

    kind: str
    number: int
    label: str
    x: Decimal
    y: Decimal


@dataclass(frozen=True, slots=True)
class PanelDrawing:
    """A panel of the plan with its coupons and sensors; ``number`` is its row in the form."""

    number: int
    code: str
    length_mm: Decimal
    width_mm: Decimal
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Laid:
    """A panel's rectangle in the zone, in mm from the zone's lower left corner."""

    number: int
    code: str
    x_mm: Decimal
    y_mm: Decimal
    length_mm: Decimal
    width_mm: Decimal
    turned: bool


@dataclass(frozen=True, slots=True)
class SurveyStation:
    """A survey sensor's place in the zone, in mm from its lower left corner, and what it saw."""

    station: str
    x_mm: Decimal
    y_mm: Decimal
    off_c: Decimal
    """The furthest it strayed from the set temperature, in degC."""


@dataclass(frozen=True, slots=True)
class ZoneDrawing:
    """The zone of the survey that counts, with panels laid in it."""

    report: str
    zone: Zone
    hottest: SurveyStation | None
    coldest: SurveyStation | None
    panels: tuple[Laid, ...]


def panel_drawings(session: Session, typed: Mapping[str, str]) -> list[PanelDrawing]:
    """A drawing for each panel row whose panel is on record; one query."""
    rows = {
        number: typed.get(f"panel_{number}", "").strip().upper()
        for number in range(1, rows_of(typed)["panel"] + 1)
    }
    sizes = _sizes(session, rows.values())
    return [
        PanelDrawing(number, code, *sizes[code], tuple(_spots(typed, code)))
        for number, code in rows.items()
        if code in sizes
    ]


def _sizes(session: Session, codes: Any) -> dict[str, tuple[Decimal, Decimal]]:
    found = session.execute(
        select(Panel.code, Panel.length_mm, Panel.width_mm).where(Panel.code.in_(list(codes)))
    )
    return {row.code: (row.length_mm, row.width_mm) for row in found}


def _spots(typed: Mapping[str, str], code: str) -> list[Spot]:
    """What is put on the panel and has a place that can be read."""
    spots = []
    for kind, name in (("coupon", "coupon"), ("sensor", "channel")):
        for number in range(1, rows_of(typed)[kind] + 1):
            on = panel_at(typed, typed.get(f"{kind}_panel_{number}", "")).upper()
            x, y = (_share(typed.get(f"{kind}_{axis}_{number}", "")) for axis in ("x", "y"))
            if on == code and x is not None and y is not None:
                label = typed.get(f"{name}_{number}", "").strip() or f"{kind} {number}"
                spots.append(Spot(kind, number, label, x, y))
    return spots


def _share(typed: str) -> Decimal | None:
    figure = _figure(typed)
    return figure if figure is not None and 0 <= figure <= 1 else None


def _figure(typed: str) -> Decimal | None:
    text = typed.strip().replace(",", ".")
    plain = text.removeprefix("-").replace(".", "", 1)
    return Decimal(text) if plain.isascii() and plain.isdigit() else None


def zone_drawing(
    session: Session, typed: Mapping[str, str], *, start: datetime, zone: tzinfo
) -> ZoneDrawing | None:
    """The chosen furnace's zone with the panels that have a place; None without a survey."""
    furnace = session.scalars(
        select(Furnace).where(Furnace.code == typed.get("furnace", "").strip().upper())
    ).one_or_none()
    found = None if furnace is None else surveyed(session, furnace, start=start, zone=zone)
    if found is None:
        return None
    report, survey = found
    places = []
    for number in range(1, rows_of(typed)["panel"] + 1):
        code = typed.get(f"panel_{number}", "").strip().upper()
        x, y = (_figure(typed.get(f"panel_{axis}_{number}", "")) for axis in ("x", "y"))
        if code and x is not None and y is not None:
            places.append((number, code, x, y, bool(typed.get(f"turned_{number}", ""))))
    return _drawn(session, report, survey, places)


def zone_of_plan(session: Session, plan: Plan, *, zone: tzinfo) -> ZoneDrawing | None:
    """The zone of a planned load's furnace with its panels in it; None without a survey."""
    furnace = session.scalars(select(Furnace).where(Furnace.code == plan.furnace)).one()
    found = surveyed(session, furnace, start=plan.planned_start, zone=zone)
    if found is None:
        return None
    places = [
        (number, one.panel, one.x_mm, one.y_mm, one.turned)
        for number, one in enumerate(plan.panels, start=1)
        if one.x_mm is not None and one.y_mm is not None
    ]
    return _drawn(session, *found, places)


def surveyed(
    session: Session, furnace: Furnace, *, start: datetime, zone: tzinfo
) -> tuple[str, Survey] | None:
    """Report and figures of the survey that counts on the day of a start; None where none does."""
    day = day_in_zone(start, zone)
    check = counting_survey(equipment.furnace_file(session, furnace.id).on_day(day), on=day)
    if check is None or check.zone is None:
        return None
    results = session.scalars(
        select(FurnaceCheck.results)
        .where(FurnaceCheck.furnace_id == furnace.id)
        .where(FurnaceCheck.kind == FurnaceCheckKind.UNIFORMITY_SURVEY)
        .where(FurnaceCheck.done_on == check.done_on, FurnaceCheck.report == check.report)
        .order_by(FurnaceCheck.id.desc())
        .limit(1)
    ).one()
    return None if results is None else (check.report or "", survey_of(results))


def _drawn(session: Session, report: str, survey: Survey, places: list[Any]) -> ZoneDrawing:
    zone = survey.zone
    sizes = _sizes(session, [code for _, code, *_ in places])
    return ZoneDrawing(
        report,
        zone,
        *_extremes(survey),
        tuple(
            Laid(number, code, x - zone.x_mm, y - zone.y_mm, *_turned(*sizes[code], turned), turned)
            for number, code, x, y, turned in places
            if code in sizes
        ),
    )


def _turned(length: Decimal, width: Decimal, turned: bool) -> tuple[Decimal, Decimal]:  # noqa: FBT001 - its only choice
    return (width, length) if turned else (length, width)


def _extremes(survey: Survey) -> tuple[SurveyStation | None, SurveyStation | None]:
    """The stations that strayed furthest above and below the set temperature."""
    above, below = [], []
    for at in survey.temperatures:
        for sensor in at.results:
            place = (sensor.x_mm - survey.zone.x_mm, sensor.y_mm - survey.zone.y_mm)
            if sensor.highest_c is not None:
                above.append(SurveyStation(sensor.station, *place, sensor.highest_c - at.set_c))
            if sensor.lowest_c is not None:
                below.append(SurveyStation(sensor.station, *place, sensor.lowest_c - at.set_c))
    return (
        max(above, key=lambda one: one.off_c, default=None),
        min(below, key=lambda one: one.off_c, default=None),
    )


def finds_drawing(
    panel: PanelPlace, coupons: Sequence[CouponPlace], typed: Mapping[str, str], count: int
) -> PanelDrawing:
    """The panel with its coupons and what was typed to be found on it so far."""
    spots = [
        Spot("coupon", number, coupon.code, coupon.x, coupon.y)
        for number, coupon in enumerate(coupons, start=1)
    ]
    for number in range(1, count + 1):
        x, y = (_share(typed.get(f"find_{axis}_{number}", "")) for axis in ("x", "y"))
        if x is not None and y is not None:
            spots.append(Spot("find", number, str(number), x, y))
    return PanelDrawing(1, panel.code, panel.length_mm, panel.width_mm, tuple(spots))
