"""Exact figures: rounding once, ties to even, and showing a figure to a person. Pure.

Readings and limits are `Decimal`; between them everything is an exact `Fraction`, so that a mean of
thirds or a converted conductivity meets its limit without any error of arithmetic.
"""

from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

SHOWN_PLACES = 6
TEN = 10


class RoundingMethod(StrEnum):
    """How a value meets its limit (ASTM E29: the two methods, one of which must be named)."""

    ROUNDING = "rounding"
    ABSOLUTE = "absolute"


def last_place(limit: Decimal) -> Decimal:
    """The last place in which a limit is stated: 80 gives 1, 38.0 gives 0.1, 8E+1 gives 10."""
    return Decimal((0, (1,), exponent(limit)))


def exponent(figure: Decimal) -> int:
    """The power of ten of a finite figure's last digit."""
    power = figure.as_tuple().exponent
    if not isinstance(power, int):
        raise TypeError(f"{figure} is no finite figure")
    return power


def round_to_place(value: Decimal | Fraction, *, to: Decimal) -> Decimal:
    """The nearest multiple of ``to``; exactly half way, the even multiple. Trailing zeros are kept.

    ``to`` is above zero. Source: ISO 80000-1 Annex B, rule A; ASTM E29, rounding method.
    """
    steps = round(Fraction(value) / Fraction(to))
    sign, digits, _ = Decimal(steps * int(Decimal((0, to.as_tuple().digits, 0)))).as_tuple()
    return Decimal((sign if steps else 0, digits, exponent(to)))


def mean(values: tuple[Fraction, ...]) -> Fraction:
    """The exact mean of one or more values."""
    return sum(values, Fraction(0)) / len(values)


def shown(value: Decimal | Fraction) -> str:
    """A figure as a person writes it: a `Decimal` digit for digit, an exact value to 6 places."""
    if isinstance(value, Decimal):
        return format(value, "f")
    if is_terminating(value):
        return format(_as_decimal(value), "f")
    return format(round_to_place(value, to=Decimal((0, (1,), -SHOWN_PLACES))), "f")


def shown_working(value: Decimal | Fraction) -> str:
    """Like `shown`, with three dots where the figure goes on."""
    if isinstance(value, Fraction) and not is_terminating(value):
        return f"{shown(value)}..."
    return shown(value)


def is_terminating(value: Fraction) -> bool:
    """True where the value can be written out in at most 6 decimals."""
    return bool((value * TEN**SHOWN_PLACES).denominator == 1)


def _as_decimal(value: Fraction) -> Decimal:
    """The shortest decimal equal to a value that ends within 6 places."""
    places = 0
    while (value * TEN**places).denominator != 1:
        places += 1
    sign, digits, _ = Decimal((value * TEN**places).numerator).as_tuple()
    return Decimal((sign, digits, -places))
