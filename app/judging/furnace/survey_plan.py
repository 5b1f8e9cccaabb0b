"""How a survey's sensors span the zone: notes for the eye, which decide nothing. Pure.

Source: the judging rules, 4.5.3; the share is our own choice.
"""

from collections.abc import Sequence
from decimal import Decimal

from app.judging.furnace.zone import Zone
from app.judging.rounding import shown
from app.judging.verdict import Finding, Outcome
from app.judging.wording import listed

NEAR_SHARE = Decimal("0.1")
"""A sensor is at a corner or the centre within a tenth of the zone's length and of its width."""

_HALF = Decimal("0.5")
_PLACES = {
    "the lower left corner": (Decimal(0), Decimal(0)),
    "the lower right corner": (Decimal(1), Decimal(0)),
    "the upper left corner": (Decimal(0), Decimal(1)),
    "the upper right corner": (Decimal(1), Decimal(1)),
    "the centre": (_HALF, _HALF),
}


def span_notes(
    places: Sequence[tuple[str, Decimal, Decimal]], zone: Zone, *, where: str
) -> list[Finding]:
    """Notes on corners or a centre without a sensor near them, and on sensors outside the zone.

    ``places`` are the stations that read, with x and y in mm; ``where`` ends the sentences.
    """
    notes = []
    bare = [name for name, share in _PLACES.items() if not _near_any(places, zone, share)]
    if bare:
        says = (
            f"No sensor was within a tenth of the zone's length and width of {listed(bare)} "
            f"{where}."
        )
        notes.append(Finding("survey.span", Outcome.NOTE, says, working=_working(places, zone)))
    outside = [name for name, x, y in places if not zone.holds(x, y)]
    if outside:
        says = f"Outside the zone that the survey states, {where}: {listed(outside)}."
        notes.append(Finding("survey.span", Outcome.NOTE, says, working=_working(places, zone)))
    return notes


def _near_any(
    places: Sequence[tuple[str, Decimal, Decimal]], zone: Zone, share: tuple[Decimal, Decimal]
) -> bool:
    x, y = zone.x_mm + share[0] * zone.length_mm, zone.y_mm + share[1] * zone.width_mm
    return any(
        abs(at_x - x) <= NEAR_SHARE * zone.length_mm and abs(at_y - y) <= NEAR_SHARE * zone.width_mm
        for _, at_x, at_y in places
    )


def _working(places: Sequence[tuple[str, Decimal, Decimal]], zone: Zone) -> tuple[str, ...]:
    return (
        f"zone: {zone.words}",
        *(f"{name} at x {shown(x)}, y {shown(y)}" for name, x, y in places),
    )
