"""The uncertainty budget of a result, line by line, so that a person can redo it. Pure.

Variances are exact; a square root is taken once, for showing, so that no rounding of U decides a
guarded comparison. Source: JCGM 100:2008 (GUM), 5.1.2 (combined), 6.2.1 (expanded, k = 2), 4.2
(repeated readings), 4.3.3 (from a certificate).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import mean, round_to_place, shown, shown_working

COVERAGE = 2
FEWEST_OWN_READINGS = 3
SIGNIFICANT_DIGITS = 2
_DIGITS = 50


@dataclass(frozen=True, slots=True)
class Part:
    """One contribution in the unit of the result; ``figure`` None: it is not known.

    ``is_expanded``: the figure is U with k = 2 and is halved, else a standard uncertainty.
    ``repeats``: it is scatter from reading to reading, so the mean of n has it over sqrt(n).
    """

    name: str
    figure: Decimal | None
    is_expanded: bool = False
    repeats: bool = False
    source: str = ""


@dataclass(frozen=True, slots=True)
class Budget:
    """What the uncertainty of a result is combined from.

    Without a part that repeats, the scatter of the coupon's own readings takes its place.
    """

    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Expanded:
    """U (k = 2) of a result: its exact square, what is left out, and the lines that gave it."""

    squared: Fraction
    text: str
    unknown: tuple[str, ...] = ()
    working: tuple[str, ...] = ()

    @property
    def value(self) -> Fraction:
        """U itself: exact where its square has an exact root, else to 50 digits."""
        return root(self.squared)


def part_of_tester(name: str, expanded: Decimal | None, *, source: str = "") -> Part:
    """A tester's U (k = 2) from its certificate."""
    return Part(f"tester {name}", expanded, is_expanded=True, source=source)


def part_of_block(name: str, expanded: Decimal | None, *, source: str = "") -> Part:
    """U (k = 2) of the certified value of a block or standard; None where none is stated."""
    return Part(f"block {name}", expanded, is_expanded=True, source=source)


def part_of_repeatability(deviation: Decimal, *, source: str = "") -> Part:
    """The standard deviation of a tester's readings under repeatability, from its study."""
    return Part("repeatability", deviation, repeats=True, source=source)


def check_budget(budget: Budget, where: str) -> None:
    """Refuse a budget that has no known part, a part without a name, or one below zero.

    Raises:
        Refusal: one sentence naming the part.
    """
    if all(part.figure is None for part in budget.parts):
        raise Refusal(f"{where}: no part of the budget is known; give one or leave the budget out.")
    for number, part in enumerate(budget.parts, start=1):
        if not part.name.strip():
            raise Refusal(f"{where}, part {number}, name: nothing is given; name it.")
        if part.figure is not None and part.figure < 0:
            raise Refusal(f"{where}, {part.name}: {shown(part.figure)} must not be below zero.")


def stated(expanded: Decimal, factor: Fraction = Fraction(1)) -> Expanded:
    """U (k = 2) as a whole, times ``factor`` into the unit of the result."""
    value = Fraction(expanded) * factor
    return Expanded(value**2, shown(expanded if factor == 1 else value))


def combine(
    budget: Budget,
    readings: Sequence[Fraction],
    *,
    averaged: bool,
    unit: str,
    factor: Fraction = Fraction(1),
    factor_words: str = "",
) -> Expanded:
    """U (k = 2) of one of the readings, or of their mean where ``averaged``.

    ``readings`` are in ``unit``; the budget's figures are brought to it by ``factor``, whose
    arithmetic ``factor_words`` writes out. Scatter counts over sqrt(n) for a mean of n.
    """
    over = len(readings) if averaged else 1
    variances: list[Fraction] = []
    lines: list[str] = []
    unknown: list[str] = []
    parts: list[Part] = list(budget.parts)
    for part in parts:
        if part.figure is None:
            unknown.append(part.name)
            lines.append(f"uncertainty, {part.name}: not known, left out")
            continue
        variance, line = _part(part, part.figure, over, factor, factor_words)
        variances.append(variance)
        lines.append(line)
    if not any(part.repeats and part.figure is not None for part in parts):
        if len(readings) >= FEWEST_OWN_READINGS:
            variance, line = _own_scatter(readings, over)
            variances.append(variance)
            lines.append(line)
        else:
            unknown.append("repeatability")
            lines.append(
                "uncertainty, repeatability: no study, and fewer than "
                f"{FEWEST_OWN_READINGS} readings; left out"
            )
    total = sum(variances, Fraction(0))
    squared = COVERAGE**2 * total
    terms = " + ".join(f"{shown_working(root(variance))}^2" for variance in variances)
    lines.append(
        f"uncertainty: u = sqrt({terms}) = {shown_working(root(total))} {unit}; "
        f"U = 2 * u = {shown_working(root(squared))} {unit} (k = 2; JCGM 100:2008, 5.1.2, 6.2.1)"
    )
    return Expanded(squared, two_digits(root(squared)), tuple(unknown), tuple(lines))


def _part(
    part: Part, figure: Decimal, over: int, factor: Fraction, factor_words: str
) -> tuple[Fraction, str]:
    """The variance of one known part, and its line."""
    symbol = "U" if part.is_expanded else "s" if part.repeats else "u"
    source = f" ({part.source})" if part.source else ""
    line = f"uncertainty, {part.name}{source}: {symbol} = {shown(figure)}"
    value = Fraction(figure)
    if factor != 1:
        value *= factor
        line += f" {factor_words} = {shown_working(value)}"
    variance = value**2
    if part.is_expanded:
        variance /= COVERAGE**2
        line += f", u = {shown_working(value)} / 2 = {shown_working(root(variance))}"
    if part.repeats and over > 1:
        variance /= over
        line += f", u = {shown_working(value)} / sqrt({over}) = {shown_working(root(variance))}"
    return variance, line


def _own_scatter(readings: Sequence[Fraction], over: int) -> tuple[Fraction, str]:
    """The variance of the readings about their mean, over ``over``, and its line."""
    variance = scatter(readings)
    line = (
        f"uncertainty, repeatability: s of the {len(readings)} readings about their mean "
        f"{shown_working(mean(tuple(readings)))} = {shown_working(root(variance))}"
    )
    if over > 1:
        line += f", u = {shown_working(root(variance))} / sqrt({over})"
        variance /= over
        line += f" = {shown_working(root(variance))}"
    return variance, line


def scatter(readings: Sequence[Fraction]) -> Fraction:
    """The experimental variance of two or more readings, exactly (JCGM 100:2008, 4.2.2)."""
    centre = mean(tuple(readings))
    return sum(((one - centre) ** 2 for one in readings), Fraction(0)) / (len(readings) - 1)


def root(square: Fraction) -> Fraction:
    """The square root of what is not below zero: exact where there is one, else to 50 digits."""
    above, below = math.isqrt(square.numerator), math.isqrt(square.denominator)
    if above**2 == square.numerator and below**2 == square.denominator:
        return Fraction(above, below)
    with localcontext() as context:
        context.prec = _DIGITS
        return Fraction((Decimal(square.numerator) / Decimal(square.denominator)).sqrt())


def two_digits(value: Fraction) -> str:
    """An uncertainty to two significant digits, as one is stated (JCGM 100:2008, 7.2.6)."""
    if value == 0:
        return "0"
    with localcontext() as context:
        context.prec = _DIGITS
        leading = (Decimal(value.numerator) / Decimal(value.denominator)).adjusted()
    place = Decimal((0, (1,), leading - SIGNIFICANT_DIGITS + 1))
    return format(round_to_place(value, to=place), "f")
