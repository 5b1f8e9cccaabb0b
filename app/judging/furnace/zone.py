"""The surveyed zone of a furnace, and whether what is in the load lies inside it. Pure.

Lengths in mm, in the furnace's own plan: x along the zone, y across it. A place on the zone's
edge is inside.

Source: the judging rules, 4.5.6.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.errors import Refusal
from app.judging.rounding import shown
from app.judging.verdict import Finding, Outcome
from app.judging.wording import listed

_MM2_OF_M2 = 1_000_000


@dataclass(frozen=True, slots=True)
class Zone:
    """A surveyed rectangle: its length and width, and where its lower left corner lies.

    Raises:
        Refusal: it has no length or no width.
    """

    length_mm: Decimal
    width_mm: Decimal
    x_mm: Decimal = Decimal(0)
    y_mm: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if self.length_mm <= 0 or self.width_mm <= 0:
            raise Refusal(
                f"A zone of {shown(self.length_mm)} by {shown(self.width_mm)} mm has no area; "
                "correct its length and width."
            )

    @property
    def area_m2(self) -> Decimal:
        """Its area in m2."""
        return self.length_mm * self.width_mm / _MM2_OF_M2

    @property
    def words(self) -> str:
        """The zone as written in a finding's working."""
        return (
            f"x from {shown(self.x_mm)} to {shown(self.x_mm + self.length_mm)} mm, "
            f"y from {shown(self.y_mm)} to {shown(self.y_mm + self.width_mm)} mm"
        )

    def holds(self, x_mm: Decimal, y_mm: Decimal) -> bool:
        """Whether a place lies inside, edges included."""
        along = self.x_mm <= x_mm <= self.x_mm + self.length_mm
        return along and self.y_mm <= y_mm <= self.y_mm + self.width_mm


@dataclass(frozen=True, slots=True)
class Position:
    """Where a panel's corner, a coupon or a sensor lies in the furnace; None: not on record."""

    name: str
    x_mm: Decimal | None
    y_mm: Decimal | None


def judge_zone(
    positions: Sequence[Position], zone: Zone | None, *, source: str | None = None
) -> Finding:
    """Whether every position lies inside the surveyed zone.

    One outside does not conform; a position or a zone that is not on record, or a load without any
    position, is not proven.
    """
    unknown = [place.name for place in positions if place.x_mm is None or place.y_mm is None]
    outside = [place.name for place in positions if _inside(place, zone) is False]
    if outside:
        outcome = Outcome.DOES_NOT_CONFORM
        says = f"Outside the surveyed zone: {listed(outside)}."
    elif zone is None:
        outcome, says = Outcome.NOT_PROVEN, "No surveyed zone is on record for the furnace."
    elif unknown:
        outcome = Outcome.NOT_PROVEN
        says = f"Where in the zone it lies is not on record for {listed(unknown)}."
    elif not positions:
        outcome, says = Outcome.NOT_PROVEN, "No position in the furnace is on record."
    else:
        outcome = Outcome.CONFORMS
        says = f"All {len(positions)} positions on record are inside the surveyed zone."
    return Finding(
        code="furnace.zone",
        outcome=outcome,
        text=says,
        source=source,
        working=(
            f"zone: {'none on record' if zone is None else zone.words}",
            *(_placed(place, zone) for place in positions),
        ),
    )


def _inside(place: Position, zone: Zone | None) -> bool | None:
    if zone is None or place.x_mm is None or place.y_mm is None:
        return None
    return zone.holds(place.x_mm, place.y_mm)


def _placed(place: Position, zone: Zone | None) -> str:
    x, y = ("not on record" if at is None else shown(at) for at in (place.x_mm, place.y_mm))
    said = {True: ": inside", False: ": outside", None: ""}[_inside(place, zone)]
    return f"{place.name} at x {x}, y {y}{said}"
