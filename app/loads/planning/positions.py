"""Where things lie in the furnace, from a panel's corner in the zone and shares along it. Pure.

A panel's length runs along the zone, or across it where the panel is turned; either way it is laid
from its lower left corner, and shares run from that same corner.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Protocol

from app.judging.furnace.zone import Position


class Laid(Protocol):
    """A panel as it lies in the zone."""

    @property
    def x_mm(self) -> Decimal | None:
        """Its lower left corner along the zone."""

    @property
    def y_mm(self) -> Decimal | None:
        """Its lower left corner across the zone."""

    @property
    def turned(self) -> bool | None:
        """Whether its length lies across the zone."""


def in_zone(
    laid: Laid, *, length_mm: Decimal, width_mm: Decimal, along: Decimal, across: Decimal
) -> tuple[Decimal, Decimal] | None:
    """Millimetres in the zone of a place on a panel; None where the panel's place is not known."""
    if laid.x_mm is None or laid.y_mm is None:
        return None
    if laid.turned:
        return laid.x_mm + across * width_mm, laid.y_mm + along * length_mm
    return laid.x_mm + along * length_mm, laid.y_mm + across * width_mm


_ZERO, _ONE = Decimal(0), Decimal(1)


def corners(panel: str, laid: Laid, *, length_mm: Decimal, width_mm: Decimal) -> list[Position]:
    """The panel's lower left and upper right corners; where they lie, the rest lies between."""
    found = []
    for name, along, across in (("near", _ZERO, _ZERO), ("far", _ONE, _ONE)):
        at = in_zone(laid, length_mm=length_mm, width_mm=width_mm, along=along, across=across)
        x, y = at if at is not None else (None, None)
        found.append(Position(f"the {name} corner of panel {panel}", x, y))
    return found


def overlaps(rectangles: Sequence[tuple[str, tuple[Decimal, ...]]]) -> Iterable[tuple[str, str]]:
    """Pairs of panels whose rectangles (left, bottom, right, top) cover common ground."""
    for number, (name, one) in enumerate(rectangles):
        for other_name, other in rectangles[number + 1 :]:
            apart = (
                one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            )
            if not apart:
                yield name, other_name
