"""Quantities, the closed list of their scales and units, and exact conversion. Pure."""

from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from app.errors import Refusal


class Quantity(StrEnum):
    """What is measured on a coupon."""

    HARDNESS = "hardness"
    CONDUCTIVITY = "conductivity"
    TENSILE_STRENGTH = "tensile_strength"
    YIELD_STRENGTH = "yield_strength"
    ELONGATION = "elongation"

    @property
    def words(self) -> str:
        """The quantity as spoken: "yield strength"."""
        return self.value.replace("_", " ")


MS_PER_M = "MS/m"
PERCENT_IACS = "%IACS"
KSI = "ksi"
MPA = "MPa"
PERCENT = "%"

# 100 %IACS is 58 MS/m by definition: IEC 60028.
MS_PER_M_OF_ONE_PERCENT_IACS = Fraction(58, 100)
# 1 ksi in MPa, as the judging rules state it (from 1 lbf = 4.4482216152605 N, 1 in = 25.4 mm).
MPA_OF_ONE_KSI = Fraction(Decimal("6.894757293168"))
CELSIUS_OF_ONE_FAHRENHEIT_STEP = Fraction(5, 9)
FREEZING_FAHRENHEIT = 32

# Rockwell (regular and superficial), Brinell and Vickers symbols of ASTM E18, E10 and E92.
HARDNESS_SCALES = (
    *("HRA", "HRB", "HRBW", "HRC", "HRE", "HREW", "HRF", "HRFW", "HRH", "HRHW", "HRK", "HRKW"),
    *("HR15N", "HR30N", "HR45N", "HR15T", "HR15TW", "HR30T", "HR30TW", "HR45T", "HR45TW"),
    *("HR15W", "HR30W", "HR45W"),
    *("HBW", "HBW 10/1000", "HBW 10/500", "HBW 5/250", "HBW 5/125"),
    *("HBW 2.5/62.5", "HBW 2.5/31.25", "HBW 2.5/15.625", "HBW 1/10", "HBW 1/5"),
    *("HV", "HV0.1", "HV0.2", "HV0.3", "HV0.5", "HV1", "HV2", "HV3", "HV5", "HV10", "HV20"),
    *("HV30", "HV50", "HV100"),
)
UNITS: dict[Quantity, tuple[str, ...]] = {
    Quantity.HARDNESS: HARDNESS_SCALES,
    Quantity.CONDUCTIVITY: (PERCENT_IACS, MS_PER_M),
    Quantity.TENSILE_STRENGTH: (MPA, KSI),
    Quantity.YIELD_STRENGTH: (MPA, KSI),
    Quantity.ELONGATION: (PERCENT,),
}
# What one of a unit is in the quantity's base unit; scales of hardness have no common base.
_IN_BASE_UNIT = {
    MS_PER_M: Fraction(1),
    PERCENT_IACS: MS_PER_M_OF_ONE_PERCENT_IACS,
    MPA: Fraction(1),
    KSI: MPA_OF_ONE_KSI,
}


def check_unit(quantity: Quantity, unit: str, *, where: str) -> None:
    """Refuse a scale or unit that is not on the list for its quantity; ``where`` names the field.

    Raises:
        Refusal: the unit is not on the list.
    """
    if unit in UNITS[quantity]:
        return
    kind = "scale" if quantity is Quantity.HARDNESS else "unit"
    raise Refusal(
        f"{where}: {unit!r} is no {kind} of {quantity.words} here; "
        f"use one of {', '.join(UNITS[quantity])}."
    )


def conversion_factor(unit: str, *, to: str) -> Fraction | None:
    """What to multiply a value in ``unit`` by to have it in ``to``; None where nothing is exact.

    MS/m and %IACS (IEC 60028), MPa and ksi; a unit to itself is 1. Scales of hardness are never
    converted.
    """
    if unit == to:
        return Fraction(1)
    same_quantity = any(unit in units and to in units for units in UNITS.values())
    if not same_quantity or unit not in _IN_BASE_UNIT:
        return None
    return _IN_BASE_UNIT[unit] / _IN_BASE_UNIT[to]


def conversion_words(unit: str, *, to: str) -> str:
    """The arithmetic of an exact conversion, to be written behind the figure: "* 100 / 58"."""
    return {
        (MS_PER_M, PERCENT_IACS): "* 100 / 58",
        (PERCENT_IACS, MS_PER_M): "* 58 / 100",
        (KSI, MPA): "* 6.894757293168",
        (MPA, KSI): "/ 6.894757293168",
    }[unit, to]


def convert(value: Decimal | Fraction, unit: str, *, to: str) -> Fraction:
    """The value in another unit of the same quantity, exactly.

    Raises:
        Refusal: no exact conversion joins the two.
    """
    factor = conversion_factor(unit, to=to)
    if factor is None:
        raise Refusal(f"{unit} does not convert exactly to {to}; measure in {to}.")
    return Fraction(value) * factor


def celsius(fahrenheit: Decimal) -> Fraction:
    """A temperature in degC from degF, exactly: one degF step is 5/9 degC."""
    return (Fraction(fahrenheit) - FREEZING_FAHRENHEIT) * CELSIUS_OF_ONE_FAHRENHEIT_STEP


_KG_M3_OF_MERCURY = Fraction(Decimal("13595.1"))
_G_N = Fraction(Decimal("9.80665"))
_INCH_M = Fraction(Decimal("0.0254"))
_N_OF_ONE_LBF = Fraction(Decimal("4.4482216152605"))
# One of a pressure unit in Pa, exactly. kPa, mbar, hPa: SI. mmHg and inHg, the conventional ones:
# mercury of 13 595.1 kg/m3 (0 degC) under 9.80665 m/s2. Torr: 101 325/760 Pa. psi: lbf/in2.
# Source: NIST SP 811 (2008), Appendix B.8 and its footnotes; ISO 80000-4 for the conventional mmHg.
PASCALS: dict[str, Fraction] = {
    "kPa": Fraction(1000),
    "mbar": Fraction(100),
    "hPa": Fraction(100),
    "Pa": Fraction(1),
    "inHg": _KG_M3_OF_MERCURY * _G_N * _INCH_M,
    "mmHg": _KG_M3_OF_MERCURY * _G_N / 1000,
    "Torr": Fraction(101325, 760),
    "psi": _N_OF_ONE_LBF / _INCH_M**2,
}
VACUUM_UNITS = tuple(PASCALS)
"""Units in which a bag's vacuum may be read, the unit of the rules first."""


def vacuum_factor(unit: str) -> Fraction:
    """How many kPa one of a unit of vacuum is, exactly.

    Raises:
        Refusal: the unit is not on the list.
    """
    if unit not in PASCALS:
        raise Refusal(f"{unit!r} is no unit of vacuum here; use one of {', '.join(VACUUM_UNITS)}.")
    return PASCALS[unit] / PASCALS["kPa"]


def kilopascals(value: Decimal | Fraction, unit: str) -> Fraction:
    """A pressure difference in kPa, exactly.

    Raises:
        Refusal: the unit is not on the list.
    """
    return Fraction(value) * vacuum_factor(unit)
