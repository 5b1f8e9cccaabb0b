"""How much room and thickness an indentation in a light metal needs. Pure.

Multiples of its diameter d (diagonal, for Vickers) or permanent depth h:

- Brinell: thickness 8 h (ISO 6506-1:2014, 6.3, seen), centres 3 d, edge 2.5 d (clause 7, from
  memory; the same figures seen in a summary of IS 1587). Its edition of 1999 asked 6 d and 3 d of
  light metals (from memory); the one in force makes no difference;
- Vickers, light metals: centres 6 d, edge 3 d (ISO 6507-1:2018, clause 7, seen; steel has 3 d and
  2.5 d), thickness 1.5 d (ISO 6507-1:1997, 6.3, seen);
- Rockwell: centres 3 d, edge 2.5 d, thickness 15 h with a ball and 10 h with the cone (ISO
  6508-1:2015, 6.4 and 7.9, from memory).

Lengths are rounded up to the hundredth of a mm, so that whoever keeps to them keeps the rule.
"""

import math
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext
from fractions import Fraction

from app.judging.rounding import shown
from app.judging.witness.budget import root
from app.judging.witness.indentation import (
    DIGITS,
    PI,
    BrinellIndentation,
    Indentation,
    VickersIndentation,
)
from app.judging.witness.indentation_scale import (
    brinell_scale,
    mean_size,
    rockwell_scale,
    vickers_scale,
)

_PLACE = Decimal("0.01")
_FINE_PLACE = Decimal("0.0001")
_LEAST_RATIO, _MOST_RATIO = Fraction(24, 100), Fraction(6, 10)
"""d / D of a Brinell indentation, ends included (ISO 6506-1; seen on a public engineering page)."""
_CONE_SLOPE_SQUARED = Fraction(3)
"""tan(60 deg) squared: the flank of the 120 deg cone."""


@dataclass(frozen=True, slots=True)
class Room:
    """Least distances from centre to centre and to the edge, and least thickness, all in mm.

    ``doubt`` says why the indentation itself is not valid, where its size says so.
    """

    centres_mm: Decimal
    edge_mm: Decimal
    thickness_mm: Decimal
    size_mm: Decimal
    source: str
    working: tuple[str, ...]
    doubt: str | None = None

    @property
    def words(self) -> str:
        """The rule as a sentence for the bench."""
        return (
            f"At least {shown(self.centres_mm)} mm from the centre of one indentation to the "
            f"next, {shown(self.edge_mm)} mm to the edge, and {shown(self.thickness_mm)} mm of "
            f"thickness ({self.source})."
        )

    def why_too_thin(self, thickness_mm: Decimal) -> str | None:
        """Why the piece is too thin for it, as a phrase; None where it is not."""
        if thickness_mm >= self.thickness_mm:
            return None
        return (
            f"the coupon's {shown(thickness_mm)} mm is thinner than the "
            f"{shown(self.thickness_mm)} mm that this indentation needs ({self.source})"
        )


def room_of_indentation(indentation: Indentation, scale: str) -> Room | None:
    """The room of a measured indentation; None where the scale does not tell the indenter."""
    if isinstance(indentation, BrinellIndentation):
        return _brinell(mean_size(indentation), Fraction(indentation.ball_mm))
    if isinstance(indentation, VickersIndentation):
        return _vickers(mean_size(indentation))
    return _rockwell(Fraction(indentation.depth_mm), scale)


def room_of_number(number: Decimal, scale: str) -> Room | None:
    """The room of an indentation that gave ``number``; None where the scale tells too little.

    Its size follows from the number by the scale's own formula. ``number`` is above zero.
    """
    brinell, force = brinell_scale(scale), vickers_scale(scale)
    if brinell is not None:
        ball, newtons = brinell
        surface = Fraction(Decimal("0.102")) * Fraction(newtons) / Fraction(number)
        depth = surface / (Fraction(PI) * Fraction(ball))
        if 2 * depth >= Fraction(ball):
            return None
        return _brinell(2 * root(depth * (Fraction(ball) - depth)), Fraction(ball))
    if force is not None:
        return _vickers(root(Fraction(Decimal("0.1891")) * Fraction(force) / Fraction(number)))
    rockwell = rockwell_scale(scale)
    if rockwell is None or number > rockwell.full_number:
        return None
    return _rockwell(Fraction(rockwell.full_number - number) * Fraction(rockwell.step_mm), scale)


def brinell_depth_mm(diameter: Fraction, ball: Fraction) -> Fraction:
    """The depth h = (D - sqrt(D^2 - d^2)) / 2 of a Brinell indentation (ISO 6506-1, table 1)."""
    with localcontext() as context:
        context.prec = DIGITS
        return (ball - root(ball**2 - diameter**2)) / 2


def _brinell(diameter: Fraction, ball: Fraction) -> Room:
    depth = brinell_depth_mm(diameter, ball)
    ratio = diameter / ball
    doubt = None
    if not _LEAST_RATIO <= ratio <= _MOST_RATIO:
        doubt = (
            f"its diameter is {shown(round(ratio, 3))} of the ball's, outside 0.24 to 0.6 (ISO "
            "6506-1): use another force"
        )
    lines = (
        (
            f"h = (D - sqrt(D^2 - d^2)) / 2 = ({shown(ball)} - sqrt({shown(ball)}^2 - "
            f"{_fine(diameter)}^2)) / 2 = {_fine(depth)} mm"
        ),
        *_lines(diameter, "3", "2.5"),
        f"thickness: 8 * {_fine(depth)} mm",
    )
    room = _room(diameter, (3, Fraction(5, 2)), 8 * depth, "ISO 6506-1", lines)
    return replace(room, doubt=doubt)


def _vickers(diagonal: Fraction) -> Room:
    lines = (*_lines(diagonal, "6", "3"), f"thickness: 1.5 * {_fine(diagonal)} mm")
    source = "ISO 6507-1, light metals"
    return _room(diagonal, (6, Fraction(3)), Fraction(3, 2) * diagonal, source, lines)


def _rockwell(depth: Fraction, scale: str) -> Room | None:
    """By the permanent depth: the rim is as wide as the indenter is at that depth (geometry)."""
    says = rockwell_scale(scale)
    if says is None:
        return None
    if says.ball_mm is None:
        diameter, times = 2 * root(_CONE_SLOPE_SQUARED * depth**2), 10
        geometry = f"d = 2 * {_fine(depth)} * tan(60 deg) = {_fine(diameter)} mm"
    else:
        ball = Fraction(says.ball_mm)
        diameter, times = 2 * root(depth * (ball - depth)), 15
        geometry = (
            f"d = 2 * sqrt(h * (D - h)) = 2 * sqrt({_fine(depth)} * ({shown(says.ball_mm)} - "
            f"{_fine(depth)})) = {_fine(diameter)} mm"
        )
    lines = (
        geometry,
        *_lines(diameter, "3", "2.5"),
        f"thickness: {times} * {_fine(depth)} mm",
    )
    return _room(diameter, (3, Fraction(5, 2)), times * depth, "ISO 6508-1", lines)


def _lines(size: Fraction, centres: str, edge: str) -> tuple[str, str]:
    return (
        f"centre to centre: {centres} * {_fine(size)} mm",
        f"centre to edge: {edge} * {_fine(size)} mm",
    )


def _room(
    size: Fraction,
    times: tuple[int, Fraction],
    thickness: Fraction,
    source: str,
    working: tuple[str, ...],
) -> Room:
    centres, edge = (_up(multiple * size) for multiple in times)
    return Room(centres, edge, _up(thickness), Decimal(_fine(size)), source, working)


def _up(length: Fraction) -> Decimal:
    """Rounded up to the hundredth of a mm."""
    return math.ceil(length / Fraction(_PLACE)) * _PLACE


def _fine(length: Fraction) -> str:
    """A length to the tenth of a micrometre, for the working."""
    steps = round(length / Fraction(_FINE_PLACE))
    return format(steps * _FINE_PLACE, "f")
