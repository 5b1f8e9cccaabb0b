"""Where a load was cold beside where its furnace's last survey was cold. Pure; notes only."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from app.judging.furnace.furnace_reports import Survey, SurveyAt
from app.judging.verdict import Finding, Outcome

LEAST_PLACES = 3
"""Fewer have no coldest third."""
LEAST_SPREAD_C = 0.5
"""A pattern flatter than this is within what sensors differ by, and cannot turn."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Something with a place in the furnace, mm, and its deviation from what it is held against."""

    name: str
    x_mm: float
    y_mm: float
    deviation_c: float


@dataclass(frozen=True, slots=True)
class Beside:
    """A place of the load with the survey station nearest to it."""

    name: str
    deviation_c: float
    station: str
    station_mm: float
    """From the place to the station."""
    station_c: float
    """The station's deviation from the survey's set temperature."""


def survey_nearest(survey: Survey, set_c: float) -> SurveyAt | None:
    """The survey's temperature nearest to a set temperature; None where it has none."""
    return min(survey.temperatures, key=lambda at: abs(float(at.set_c) - set_c), default=None)


def stations_of(at: SurveyAt) -> list[Placed]:
    """The stations that read, each with the middle between its lowest and highest, less the set."""
    return [
        Placed(
            one.station,
            float(one.x_mm),
            float(one.y_mm),
            float((one.lowest_c + one.highest_c) / 2 - at.set_c),
        )
        for one in at.results
        if one.lowest_c is not None and one.highest_c is not None
    ]


def beside(places: Sequence[Placed], stations: Sequence[Placed]) -> list[Beside]:
    """Each place with its nearest station; of two as near, the first. None without stations."""
    found = []
    for place in places if stations else ():
        near = min(stations, key=lambda station: _apart(place, station))
        found.append(
            Beside(place.name, place.deviation_c, near.name, _apart(place, near), near.deviation_c)
        )
    return found


def _apart(one: Placed, other: Placed) -> float:
    return hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)


def turned(rows: Sequence[Beside], *, against: str) -> Finding | None:
    """A note where none of the coldest third of places was among the survey's coldest third.

    The third is rounded down and holds every place as cold as its last. None where the pattern
    agrees, or either has too few places or too small a spread to have one. ``against`` says what
    the places' deviations are from.
    """
    if len(rows) < LEAST_PLACES:
        return None
    now = [row.deviation_c for row in rows]
    surveyed = [row.station_c for row in rows]
    if min(max(now) - min(now), max(surveyed) - min(surveyed)) < LEAST_SPREAD_C:
        return None
    cold, cold_before = _coldest(now), _coldest(surveyed)
    if cold & cold_before:
        return None
    named, before = (
        ", ".join(rows[place].name for place in sorted(places)) for places in (cold, cold_before)
    )
    return Finding(
        "furnace.pattern",
        Outcome.NOTE,
        f"The coldest places are no longer the survey's: now {named}, in the survey the places "
        f"beside {before}. Look whether the load, a door seal, a fan or a heater has changed.",
        working=tuple(
            f"{row.name}: {row.deviation_c:+.2f} degC from {against}; station "
            f"{row.station}, {row.station_mm:.0f} mm away, {row.station_c:+.2f} degC in the survey"
            for row in rows
        ),
    )


def _coldest(deviations: Sequence[float]) -> set[int]:
    last = sorted(deviations)[max(1, len(deviations) // 3) - 1]
    return {place for place, one in enumerate(deviations) if one <= last}
