"""What a hardness scale's symbol says of ball, force and depth, and if it is kept. Pure.

Source: ISO 6506-1, 6507-1 and 6508-1 (designations; from memory); forces within 1 % as ISO 6506-2
and 6507-2 permit a machine (from memory).
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import mean, shown
from app.judging.witness.indentation import (
    BrinellIndentation,
    Indentation,
    RockwellIndentation,
    VickersIndentation,
)

NEWTONS_OF_ONE_KGF = Decimal("9.80665")
PERMITTED_FORCE_ERROR = Fraction(1, 100)
_BRINELL = re.compile(r"HBW (?P<ball>[\d.]+)/(?P<kgf>[\d.]+)")
_VICKERS = re.compile(r"HV(?P<kgf>[\d.]+)")
_SUPERFICIAL = re.compile(r"HR(?:15|30|45)(?P<letter>[NTW])W?")
_SIXTEENTH_MM, _EIGHTH_MM = Decimal("1.5875"), Decimal("3.175")
_BALL_OF_SCALE = {
    **dict.fromkeys("BF", _SIXTEENTH_MM),
    **dict.fromkeys("EHK", _EIGHTH_MM),
    "T": _SIXTEENTH_MM,
    "W": _EIGHTH_MM,
}


@dataclass(frozen=True, slots=True)
class RockwellScale:
    """A Rockwell scale's full number N, step S in mm, and ball in mm (None: the diamond cone)."""

    full_number: Decimal
    step_mm: Decimal
    ball_mm: Decimal | None


def brinell_scale(scale: str) -> tuple[Decimal, Decimal] | None:
    """Ball in mm and force in N of "HBW 5/250"; None for "HBW" alone and for other scales."""
    found = _BRINELL.fullmatch(scale)
    if found is None:
        return None
    return Decimal(found["ball"]), Decimal(found["kgf"]) * NEWTONS_OF_ONE_KGF


def vickers_scale(scale: str) -> Decimal | None:
    """The force in N of "HV10"; None for "HV" alone and for other scales."""
    found = _VICKERS.fullmatch(scale)
    return None if found is None else Decimal(found["kgf"]) * NEWTONS_OF_ONE_KGF


def rockwell_scale(scale: str) -> RockwellScale | None:
    """What a Rockwell symbol says; None for any other scale."""
    found = _SUPERFICIAL.fullmatch(scale)
    if found is not None:
        return RockwellScale(Decimal(100), Decimal("0.001"), _BALL_OF_SCALE.get(found["letter"]))
    letter = scale.removeprefix("HR").removesuffix("W")
    if not scale.startswith("HR") or letter not in {*"ABCEFHK"}:
        return None
    ball = _BALL_OF_SCALE.get(letter)
    return RockwellScale(Decimal(100 if ball is None else 130), Decimal("0.002"), ball)


def check_scale(scale: str, indentation: Indentation, *, where: str) -> None:
    """Refuse an indentation made otherwise than its scale's symbol says.

    Raises:
        Refusal: another method, ball, force, full number or step; one sentence with both figures.
    """
    if isinstance(indentation, BrinellIndentation):
        _check_brinell(scale, indentation, where)
    elif isinstance(indentation, VickersIndentation):
        if not scale.startswith("HV"):
            _refuse_method(scale, "Vickers", where)
        force = vickers_scale(scale)
        if force is not None:
            _check_force(scale, indentation.force_n, force, where)
    else:
        _check_rockwell(scale, indentation, where)


def _check_brinell(scale: str, indentation: BrinellIndentation, where: str) -> None:
    if not scale.startswith("HBW"):
        _refuse_method(scale, "Brinell", where)
    says = brinell_scale(scale)
    if says is None:
        return
    ball, force = says
    if indentation.ball_mm != ball:
        raise Refusal(
            f"{where}, ball_mm: {scale} is measured with a ball of {shown(ball)} mm, not "
            f"{shown(indentation.ball_mm)} mm; correct the scale or the ball."
        )
    _check_force(scale, indentation.force_n, force, where)


def _check_rockwell(scale: str, indentation: RockwellIndentation, where: str) -> None:
    says = rockwell_scale(scale)
    if says is None:
        _refuse_method(scale, "Rockwell", where)
        return
    given = (indentation.full_number, indentation.step_mm)
    if given != (says.full_number, says.step_mm):
        raise Refusal(
            f"{where}: {scale} counts down from {shown(says.full_number)} in steps of "
            f"{shown(says.step_mm)} mm, not from {shown(given[0])} in steps of {shown(given[1])} "
            "mm; correct them."
        )


def _check_force(scale: str, given: Decimal, wanted: Decimal, where: str) -> None:
    if abs(Fraction(given) / Fraction(wanted) - 1) > PERMITTED_FORCE_ERROR:
        raise Refusal(
            f"{where}, force_n: {scale} is measured with {shown(wanted)} N, and "
            f"{shown(given)} N is more than 1 % from it; correct the scale or the force."
        )


def _refuse_method(scale: str, method: str, where: str) -> None:
    raise Refusal(f"{where}: {scale} is no {method} scale; correct the scale or the method.")


def asymmetry_percent(sizes: tuple[Decimal, ...]) -> Fraction:
    """By how much the sizes of one indentation differ, in % of the larger; 0 for a single one.

    Raises:
        Refusal: there is none, or one is not above zero.
    """
    if not sizes or min(sizes) <= 0:
        raise Refusal("The sizes of an indentation must be above zero; measure them again.")
    return (Fraction(max(sizes)) - Fraction(min(sizes))) / Fraction(max(sizes)) * 100


def check_asymmetry(sizes: tuple[Decimal, ...], most_percent: Decimal) -> None:
    """Refuse an indentation whose sizes differ by more than the limit, which is included.

    Raises:
        Refusal: one sentence with the sizes and both figures.
    """
    found = asymmetry_percent(sizes)
    if found > most_percent:
        figures = " and ".join(shown(size) for size in sizes)
        raise Refusal(
            f"The indentation's sizes {figures} mm differ by {shown(round(found, 2))} % of the "
            f"larger, more than the {shown(most_percent)} % permitted: measure it again, or make "
            "another one."
        )


def mean_size(indentation: BrinellIndentation | VickersIndentation) -> Fraction:
    """The mean diameter or diagonal in mm."""
    if isinstance(indentation, BrinellIndentation):
        return mean(tuple(Fraction(size) for size in indentation.diameters_mm))
    return mean(tuple(Fraction(size) for size in indentation.diagonals_mm))
