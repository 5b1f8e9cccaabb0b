"""Hardness numbers from the raw indentation. Pure.

Forces in N, lengths in mm. Source: ISO 6506-1 (Brinell), ISO 6507-1 (Vickers), ISO 6508-1
(Rockwell); the formulas as the judging rules state them.
"""

from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import mean, shown, shown_working

# 50 digits: far beyond what any rounding of a hardness number can notice.
PI = Decimal("3.14159265358979323846264338327950288419716939937510")
DIGITS = 50


@dataclass(frozen=True, slots=True)
class BrinellIndentation:
    """Force, ball diameter, and the indentation's diameters as measured (one or more, averaged)."""

    force_n: Decimal
    ball_mm: Decimal
    diameters_mm: tuple[Decimal, ...]


@dataclass(frozen=True, slots=True)
class VickersIndentation:
    """Force, and the indentation's diagonals as measured (one or more, averaged)."""

    force_n: Decimal
    diagonals_mm: tuple[Decimal, ...]


@dataclass(frozen=True, slots=True)
class RockwellIndentation:
    """The scale's full number N and step S (mm), and the permanent depth h (mm)."""

    full_number: Decimal
    step_mm: Decimal
    depth_mm: Decimal


Indentation = BrinellIndentation | VickersIndentation | RockwellIndentation


@dataclass(frozen=True, slots=True)
class HardnessNumber:
    """The unrounded number and the line of arithmetic that gave it."""

    value: Fraction
    working: str


def hardness_number(indentation: Indentation) -> HardnessNumber:
    """The hardness number of one indentation, not rounded.

    Raises:
        Refusal: a length or force is not above zero, or the indentation is as wide as the ball.
    """
    if isinstance(indentation, BrinellIndentation):
        return _brinell(indentation)
    if isinstance(indentation, VickersIndentation):
        return _vickers(indentation)
    return _rockwell(indentation)


def _brinell(indentation: BrinellIndentation) -> HardnessNumber:
    """HBW = 0.102 * 2F / (pi D (D - sqrt(D^2 - d^2)))."""
    force, ball = indentation.force_n, indentation.ball_mm
    size = _mean_size("Brinell diameter", indentation.diameters_mm)
    _refuse_unless_positive("Brinell force", force)
    _refuse_unless_positive("Brinell ball", ball)
    if size >= Fraction(ball):
        raise Refusal(
            f"Brinell indentation: its diameter {shown(size)} mm must be smaller than the ball, "
            f"{shown(ball)} mm; measure it again."
        )
    with localcontext() as context:
        context.prec = DIGITS
        diameter = Decimal(size.numerator) / Decimal(size.denominator)
        cap = ball - (ball * ball - diameter * diameter).sqrt()
        number = Fraction(Decimal("0.102") * 2 * force / (PI * ball * cap))
    working = (
        f"HBW = 0.102 * 2 * {shown(force)} / (pi * {shown(ball)} * ({shown(ball)} - "
        f"sqrt({shown(ball)}^2 - {shown_working(size)}^2))) = {shown_working(number)}"
    )
    return HardnessNumber(number, working)


def _vickers(indentation: VickersIndentation) -> HardnessNumber:
    """HV = 0.1891 F / d^2."""
    _refuse_unless_positive("Vickers force", indentation.force_n)
    diagonal = _mean_size("Vickers diagonal", indentation.diagonals_mm)
    number = Fraction(Decimal("0.1891")) * Fraction(indentation.force_n) / diagonal**2
    working = (
        f"HV = 0.1891 * {shown(indentation.force_n)} / {shown_working(diagonal)}^2 "
        f"= {shown_working(number)}"
    )
    return HardnessNumber(number, working)


def _rockwell(indentation: RockwellIndentation) -> HardnessNumber:
    """HR = N - h / S."""
    _refuse_unless_positive("Rockwell step", indentation.step_mm)
    if indentation.depth_mm < 0:
        raise Refusal(
            f"Rockwell depth: {shown(indentation.depth_mm)} mm must not be below zero; "
            "read it again."
        )
    fall = Fraction(indentation.depth_mm) / Fraction(indentation.step_mm)
    number = Fraction(indentation.full_number) - fall
    working = (
        f"HR = {shown(indentation.full_number)} - {shown(indentation.depth_mm)} / "
        f"{shown(indentation.step_mm)} = {shown_working(number)}"
    )
    return HardnessNumber(number, working)


def _mean_size(name: str, sizes: tuple[Decimal, ...]) -> Fraction:
    if not sizes:
        raise Refusal(f"{name}: at least one measurement in mm is needed.")
    for size in sizes:
        _refuse_unless_positive(name, size)
    return mean(tuple(Fraction(size) for size in sizes))


def _refuse_unless_positive(name: str, figure: Decimal) -> None:
    if figure <= 0:
        raise Refusal(f"{name}: {shown(figure)} must be above zero; measure it again.")
