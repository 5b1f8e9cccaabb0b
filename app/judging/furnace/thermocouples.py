"""Thermocouple voltage and temperature on the ITS-90, and the tolerance classes. Pure.

All in `Decimal`: a recorder that was given millivolts is judged in degC, and no binary float may
decide that comparison. Temperatures in degC (ITS-90), voltages in mV.

Source: NIST Monograph 175 and IEC 60584-1:2013 (`its90`); tolerances: IEC 60584-1:2013, as quoted
by makers of thermocouples.
"""

from dataclasses import dataclass
from decimal import Decimal, localcontext

from app.errors import Refusal
from app.judging.furnace.its90 import REFERENCE_FUNCTIONS, TYPE_K_BUMP, Range
from app.judging.rounding import shown

LETTERS = tuple(REFERENCE_FUNCTIONS)
"""The types with a reference function here."""

SOLVED_WITHIN_C = Decimal("1e-10")
"""How near a solved temperature lies to the exact root."""

_DIGITS = 40
# Below 250 degC a type B gives less than 0.3 mV, and below 42 degC a voltage may have two
# temperatures; NIST's inverse begins at 250 degC too.
_INVERSE_FROM_C = {"B": Decimal(250)}


def emf_mv(letter: str, temperature_c: Decimal) -> Decimal:
    """The voltage in mV of a thermocouple at a temperature, reference junction at 0 degC.

    Raises:
        Refusal: the letter is unknown or the temperature lies outside the type's range.
    """
    for part in _ranges(letter):
        if part.lower_c <= temperature_c <= part.upper_c:
            with localcontext() as context:
                context.prec = _DIGITS
                voltage = Decimal(0)
                for coefficient in reversed(part.coefficients):
                    voltage = voltage * temperature_c + coefficient
                if letter == "K" and part.lower_c >= 0:
                    height, width, middle = TYPE_K_BUMP
                    voltage += height * (width * (temperature_c - middle) ** 2).exp()
            return voltage
    lower, upper = lowest_c(letter), highest_c(letter)
    raise Refusal(
        f"{shown(temperature_c)} degC is outside the range of a type {letter} thermocouple, "
        f"{shown(lower)} to {shown(upper)} degC; correct the temperature or the type."
    )


def temperature_c(
    letter: str, voltage_mv: Decimal, *, reference_c: Decimal = Decimal(0)
) -> Decimal:
    """The temperature at which a thermocouple gives a voltage, within ``SOLVED_WITHIN_C``.

    ``reference_c`` is the temperature of the reference junction: voltages add, not temperatures.
    The reference function itself is solved by halving, as every function here rises throughout.

    Raises:
        Refusal: the letter is unknown, or no temperature of the type's range gives the voltage.
    """
    lower, upper = _INVERSE_FROM_C.get(letter, lowest_c(letter)), highest_c(letter)
    with localcontext() as context:
        context.prec = _DIGITS
        sought = voltage_mv + emf_mv(letter, reference_c)
        if not emf_mv(letter, lower) <= sought <= emf_mv(letter, upper):
            raise Refusal(
                f"{shown(voltage_mv)} mV is no voltage of a type {letter} thermocouple between "
                f"{shown(lower)} and {shown(upper)} degC; correct the voltage or the type."
            )
        while upper - lower > SOLVED_WITHIN_C:
            middle = (lower + upper) / 2
            if emf_mv(letter, middle) < sought:
                lower = middle
            else:
                upper = middle
        return ((lower + upper) / 2).quantize(SOLVED_WITHIN_C)


def lowest_c(letter: str) -> Decimal:
    """The lower end of a type's range in degC, included."""
    return _ranges(letter)[0].lower_c


def highest_c(letter: str) -> Decimal:
    """The upper end of a type's range in degC, included."""
    return _ranges(letter)[-1].upper_c


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A tolerance class between two temperatures, both included: the greater of the two figures."""

    lower_c: Decimal
    upper_c: Decimal
    at_least_c: Decimal
    per_degree: Decimal

    def at(self, temperature: Decimal) -> Decimal:
        """The tolerance in degC, plus or minus, at a temperature."""
        return max(self.at_least_c, self.per_degree * abs(temperature)).normalize()


def _tolerance(lower: str, upper: str, at_least: str, per_degree: str) -> Tolerance:
    return Tolerance(Decimal(lower), Decimal(upper), Decimal(at_least), Decimal(per_degree))


# IEC 60584-1:2013, tolerance classes 1, 2 and 3 for wires as delivered, reference junction at
# 0 degC; quoted from two makers' tables that agree. Class 1 of R and S, and what a maker's table
# does not state, is left out: the figures serve a note only.
_BASE_METAL_COLD = _tolerance("-200", "40", "2.5", "0.015")
TOLERANCES: dict[tuple[str, int], Tolerance] = {
    ("T", 1): _tolerance("-40", "350", "0.5", "0.004"),
    ("T", 2): _tolerance("-40", "350", "1", "0.0075"),
    ("T", 3): _tolerance("-200", "40", "1", "0.015"),
    ("E", 1): _tolerance("-40", "800", "1.5", "0.004"),
    ("E", 2): _tolerance("-40", "900", "2.5", "0.0075"),
    ("E", 3): _BASE_METAL_COLD,
    ("J", 1): _tolerance("-40", "750", "1.5", "0.004"),
    ("J", 2): _tolerance("-40", "750", "2.5", "0.0075"),
    ("K", 1): _tolerance("-40", "1000", "1.5", "0.004"),
    ("K", 2): _tolerance("-40", "1200", "2.5", "0.0075"),
    ("K", 3): _BASE_METAL_COLD,
    ("N", 1): _tolerance("-40", "1000", "1.5", "0.004"),
    ("N", 2): _tolerance("-40", "1200", "2.5", "0.0075"),
    ("N", 3): _BASE_METAL_COLD,
    ("R", 2): _tolerance("0", "1600", "1.5", "0.0025"),
    ("S", 2): _tolerance("0", "1600", "1.5", "0.0025"),
    ("B", 2): _tolerance("600", "1700", "1.5", "0.0025"),
    ("B", 3): _tolerance("600", "1700", "4", "0.005"),
}


def tolerance_c(letter: str, tolerance_class: int, temperature: Decimal) -> Decimal | None:
    """The class's tolerance in degC at a temperature; None where the class states none."""
    found = TOLERANCES.get((letter, tolerance_class))
    if found is None or not found.lower_c <= temperature <= found.upper_c:
        return None
    return found.at(temperature)


def _ranges(letter: str) -> tuple[Range, ...]:
    if letter not in REFERENCE_FUNCTIONS:
        raise Refusal(
            f"{letter!r} is no thermocouple type with a reference function here; use one of "
            f"{', '.join(LETTERS)}."
        )
    return REFERENCE_FUNCTIONS[letter]
