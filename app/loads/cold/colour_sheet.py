"""The part of a load's page that shows where it was cold: coloured panels, and the last survey."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from itertools import pairwise
from typing import Any

from sqlalchemy.orm import Session

from app.judging.furnace.intervals import day_in_zone
from app.judging.record.cycle import Cycle
from app.loads.cold.colour_scale import Scale
from app.loads.cold.colouring import Band, Colour, Colouring, coloured
from app.loads.cold.survey_pattern import Placed
from app.loads.cold.survey_queries import SurveySheet, beside_survey, last_survey, set_over_soaks
from app.loads.judged import cycle_as_judged
from app.loads.planning.positions import in_zone
from app.loads.queries import Seats
from app.loads.record_queries import summary_of
from app.loads.records import Load, RecordVerdict

_MINUTE_S = 60.0
Summary = Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class KeyStep:
    """One step of the scale as its key shows it, with the band's edges that lie in it."""

    colour: int
    low: str
    high: str
    edges: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ColourSheet:
    """What the page shows of where the load was cold.

    ``off_scale`` are the band's edges that no step holds; ``summary`` is by channel. ``survey`` is
    None where none can stand beside the load; ``no_survey`` then says why.
    """

    colouring: Colouring
    steps: tuple[KeyStep, ...]
    off_scale: tuple[str, ...]
    summary: dict[str, Mapping[str, Any]]
    survey: SurveySheet | None
    no_survey: str | None


def colour_sheet(
    session: Session,
    wanted: Colour | None,
    load: Load,
    seats: Seats,
    verdict: RecordVerdict,
    *,
    began: datetime,
    zone: tzinfo,
) -> ColourSheet:
    """The load's panels by the sensors' summaries, and those beside the last survey."""
    summary = summary_of(session, verdict)
    cycle = cycle_as_judged(verdict.cycle_as_judged)
    found = coloured(
        wanted,
        summary=summary,
        panels=seats.panels,
        sensors=seats.sensors,
        coupons=seats.coupons,
        cycle=cycle,
    )
    colour = found.colour
    edges = _edges(colour, found.band)
    steps = () if found.scale is None else _steps(colour, found.scale, edges)
    survey = last_survey(session, load.furnace_id, on=day_in_zone(began, zone))
    places = placed_sensors(seats, summary, cycle, verdict.paper["stages"])
    sheet, why_not = None, None
    if survey is None:
        why_not = "No accepted survey with its figures is on record from before the load."
    elif not places:
        why_not = (
            "Where in the furnace the sensors lay, or what they saw in the soak, is not known."
        )
    else:
        longest = max(
            zip(cycle.stages, verdict.paper["stages"], strict=True),
            key=lambda pair: float(pair[1]["elapsed_s"]),
        )
        sheet = beside_survey(survey, places, set_c=longest[0].set_c, against="the set temperature")
    return ColourSheet(
        colouring=found,
        steps=steps,
        off_scale=tuple(
            words for words, _ in edges if not any(words in one.edges for one in steps)
        ),
        summary={str(one["channel"]): one for one in summary},
        survey=sheet,
        no_survey=why_not,
    )


def placed_sensors(
    seats: Seats, summary: Summary, cycle: Cycle, stages: Sequence[Mapping[str, Any]]
) -> list[Placed]:
    """The required sensors in the furnace's zone, with their mean's distance from the set.

    Those without a place in the zone, or unknown throughout the soak, are left out.
    """
    set_c = set_over_soaks([stage.set_c for stage in cycle.stages], stages)
    means = {one["channel"]: one["mean_c"] for one in summary}
    panels = {panel.id: panel for panel in seats.panels}
    found = []
    for sensor in seats.sensors:
        panel = None if sensor.panel_id is None else panels[sensor.panel_id]
        mean = means.get(sensor.channel)
        if panel is None or mean is None or set_c is None:
            continue
        if sensor.x is None or sensor.y is None:
            continue
        at = in_zone(
            panel,
            length_mm=panel.length_mm,
            width_mm=panel.width_mm,
            along=sensor.x,
            across=sensor.y,
        )
        if at is not None:
            found.append(Placed(sensor.channel, float(at[0]), float(at[1]), mean - set_c))
    return found


def _steps(colour: Colour, scale: Scale, edges: Sequence[tuple[str, float]]) -> tuple[KeyStep, ...]:
    bounds = scale.edges
    return tuple(
        KeyStep(
            scale.colour(step),
            _edge_words(colour, low, scale),
            _edge_words(colour, high, scale),
            tuple(
                words for words, edge in edges if low <= edge < high or edge == high == bounds[-1]
            ),
        )
        for step, (low, high) in enumerate(pairwise(bounds))
    )


def _edge_words(colour: Colour, edge: float, scale: Scale) -> str:
    """An edge of the scale with as many places as its steps need."""
    if colour.in_degrees:
        places = max(0, -Decimal(str(scale.step)).normalize().adjusted())
        return f"{edge:.{places}f}"
    return colour.written(edge) if scale.step >= _MINUTE_S else f"{edge:.0f} s"


def _edges(colour: Colour, band: Band | None) -> list[tuple[str, float]]:
    if band is None:
        return []
    ends = (("band from", band.low), ("band to", band.high))
    return [(f"{words} {colour.written(edge)}", edge) for words, edge in ends if edge is not None]
