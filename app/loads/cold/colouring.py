"""A load's panels coloured by what their sensors saw. Pure: summaries and places in, drawings out.

The sensors' figures are those kept beside the verdict; everything between them is drawn, and
decides nothing (:mod:`app.loads.cold.drawn_between`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from app.errors import Refusal
from app.judging.record.cycle import Cycle
from app.loads.cold.colour_scale import DEGREES, SECONDS, Scale, scale_of
from app.loads.cold.drawn_between import (
    Patch,
    Spot,
    between,
    distance_mm,
    nearest,
    patches,
    reach_mm,
)
from app.loads.queries import CouponPlace, PanelPlace, SensorPlace


class Colour(StrEnum):
    """By which figure the panels are coloured; the value stands in the page's address."""

    LOWEST = "lowest"
    MEAN = "mean"
    HIGHEST = "highest"
    EQUIVALENT = "equivalent"
    ARRIVAL = "arrival"

    @property
    def label(self) -> str:
        """What the link says."""
        return _LABELS[self]

    @property
    def in_degrees(self) -> bool:
        """Whether its figures are in degC; else they are in s."""
        return self in {Colour.LOWEST, Colour.MEAN, Colour.HIGHEST}

    def figure(self, seen: Mapping[str, Any]) -> float | None:
        """The figure of one sensor's summary."""
        found: float | None = seen[_FIGURES[self]]
        return found

    def said(self, figure: float | None) -> str:
        """A sensor's figure in words, also where it has none."""
        if figure is not None:
            return self.written(figure)
        return "never in" if self is Colour.ARRIVAL else "not known"

    def written(self, figure: float) -> str:
        """The figure beside its sensor: degC to one place, a time in hours and minutes."""
        if self.in_degrees:
            return f"{figure:.1f}"
        minutes = round(figure / 60)
        hours, left = divmod(minutes, 60)
        return f"{hours} h {left:02d} min" if hours else f"{left} min"


_LABELS = {
    Colour.LOWEST: "lowest in the soak",
    Colour.MEAN: "mean of the soak",
    Colour.HIGHEST: "highest in the soak",
    Colour.EQUIVALENT: "equivalent time",
    Colour.ARRIVAL: "arrival in the band",
}
_FIGURES = {
    Colour.LOWEST: "lowest_c",
    Colour.MEAN: "mean_c",
    Colour.HIGHEST: "highest_c",
    Colour.EQUIVALENT: "equivalent_s",
    Colour.ARRIVAL: "arrival_s",
}


def colour_named(name: str) -> Colour | None:
    """The colour of an address; None where none is named.

    Raises:
        Refusal: there is no such colour.
    """
    if not name:
        return None
    try:
        return Colour(name)
    except ValueError:
        raise Refusal(
            f"The panels cannot be coloured by {name}; choose one of: {', '.join(Colour)}."
        ) from None


@dataclass(frozen=True, slots=True)
class Band:
    """The band that a colour's figures must lie in; an edge of None is no limit."""

    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Estimate:
    """What is drawn at a coupon's station.

    ``figure`` is by the colour chosen, ``mean_c`` and ``equivalent_s`` always; None where unknown.
    """

    figure: float | None
    mean_c: float | None
    equivalent_s: float | None
    nearest: str
    nearest_mm: float


@dataclass(frozen=True, slots=True)
class PanelColours:
    """One panel: its patches, how many sensors they are drawn between, and their reach in mm."""

    patches: list[Patch]
    sensors: int
    reach_mm: float | None


@dataclass(frozen=True, slots=True)
class Colouring:
    """A load's panels in one colour.

    ``choices`` are the colours that have figures; ``figures`` are words by channel, ``panels`` and
    ``estimates`` by the panel's and the coupon's key. ``scale`` and ``band`` are in degC or s.
    """

    colour: Colour
    choices: tuple[Colour, ...]
    scale: Scale | None
    band: Band | None
    band_words: str | None
    """Why no band is marked, where there is one to expect."""
    figures: dict[str, str]
    panels: dict[int, PanelColours]
    estimates: dict[int, Estimate]


def coloured(
    wanted: Colour | None,
    *,
    summary: Sequence[Mapping[str, Any]],
    panels: Sequence[PanelPlace],
    sensors: Sequence[SensorPlace],
    coupons: Sequence[CouponPlace],
    cycle: Cycle,
) -> Colouring:
    """The panels with the figures of the sensors on them; excluded sensors have none.

    Where no colour is wanted it is the first that has figures: the lowest, in which a cold corner
    shows, or where the load was never in, the arrival.
    """
    choices = tuple(one for one in Colour if any(one.figure(seen) is not None for seen in summary))
    colour = wanted or next(iter(choices), Colour.LOWEST)
    spots = {
        (one, panel.id): _spots(one, panel, summary, sensors) for one in Colour for panel in panels
    }
    figures = {str(seen["channel"]): colour.said(colour.figure(seen)) for seen in summary}
    widths = DEGREES if colour.in_degrees else SECONDS
    scale = scale_of(
        [
            spot.value
            for panel in panels
            for spot in spots[colour, panel.id]
            if spot.value is not None
        ],
        widths,
    )
    band = band_of(colour, cycle)
    edges = None if band is None else _open_edges(band)
    several = colour.in_degrees and band is None
    return Colouring(
        colour=colour,
        choices=choices,
        scale=scale,
        band=band,
        band_words="The stages have different bands, so none is marked." if several else None,
        figures=figures,
        panels={panel.id: _panel(panel, spots[colour, panel.id], scale, edges) for panel in panels},
        estimates={
            coupon.id: found
            for panel in panels
            for coupon in coupons
            if coupon.panel_id == panel.id
            and (
                found := _estimate(
                    coupon, panel, colour, {one: spots[one, panel.id] for one in Colour}
                )
            )
        },
    )


def band_of(colour: Colour, cycle: Cycle) -> Band | None:
    """Between which figures the colour must lie; None where nothing is asked, or several bands are.

    Stages of one band count as one; equivalent time has the cycle's limits.
    """
    if colour.in_degrees:
        bands = {(stage.low_c, stage.high_c) for stage in cycle.stages}
        return Band(*bands.pop()) if len(bands) == 1 else None
    if colour is Colour.EQUIVALENT and cycle.ageing is not None:
        least, most = cycle.ageing.min_s, cycle.ageing.max_s
        return None if least is None and most is None else Band(least, most)
    return None


def _open_edges(band: Band) -> tuple[float, float]:
    low = -float("inf") if band.low is None else band.low
    high = float("inf") if band.high is None else band.high
    return low, high


def _spots(
    colour: Colour,
    panel: PanelPlace,
    summary: Sequence[Mapping[str, Any]],
    sensors: Sequence[SensorPlace],
) -> list[Spot]:
    """The deciding sensors of a panel that have a place, with their figures."""
    seen = {one["channel"]: one for one in summary}
    found = []
    for sensor in sensors:
        if sensor.panel_id != panel.id or sensor.channel not in seen:
            continue
        if sensor.x is None or sensor.y is None:
            continue
        x_mm, y_mm = sensor.x * panel.length_mm, sensor.y * panel.width_mm
        found.append(
            Spot(sensor.channel, float(x_mm), float(y_mm), colour.figure(seen[sensor.channel]))
        )
    return found


def _panel(
    panel: PanelPlace,
    spots: Sequence[Spot],
    scale: Scale | None,
    edges: tuple[float, float] | None,
) -> PanelColours:
    reach, known = reach_mm(spots), sum(spot.value is not None for spot in spots)
    if scale is None:
        return PanelColours([], known, reach)
    drawn = patches(
        spots,
        length_mm=float(panel.length_mm),
        width_mm=float(panel.width_mm),
        scale=scale,
        band=edges,
    )
    return PanelColours(drawn, known, reach)


def _estimate(
    coupon: CouponPlace,
    panel: PanelPlace,
    colour: Colour,
    spots: Mapping[Colour, Sequence[Spot]],
) -> Estimate | None:
    """What is drawn where the coupon sat; None where no sensor of its panel has a figure."""
    known = next((some for some in (spots[colour], spots[Colour.MEAN]) if some), None)
    if known is None:
        return None
    x_mm, y_mm = float(coupon.x * panel.length_mm), float(coupon.y * panel.width_mm)
    near = nearest(known, x_mm, y_mm)
    return Estimate(
        figure=between(spots[colour], x_mm, y_mm),
        mean_c=between(spots[Colour.MEAN], x_mm, y_mm),
        equivalent_s=between(spots[Colour.EQUIVALENT], x_mm, y_mm),
        nearest=near.name,
        nearest_mm=distance_mm(near, x_mm, y_mm),
    )
