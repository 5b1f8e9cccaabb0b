"""Corrections and as-found figures as typed, one pair a line. Pure: texts in, pairs out."""

from decimal import Decimal

from app.equipment.rules.pairs import TypedPair, WantedPairs, pairs_from_lines, refused

THERMOCOUPLE_TYPES = ("K", "N", "T", "J", "E", "R", "S", "B", "C", "A")
"""Letter designations of IEC 60584-1:2013 (from memory)."""

LARGEST_CORRECTION_C = Decimal(10)
"""A larger correction is taken for a slip of the pen, included. Our own choice."""
LARGEST_SHARE = Decimal("0.25")
"""A tester's error or correction beyond this share of the reading is taken for a slip of the pen:
a decimal point in the wrong place. Our own choice."""

_OF_SENSORS = WantedPairs(
    field="corrections",
    words="a temperature and a correction",
    example="150 +0.4",
    unit="degC",
    rising="temperatures",
)


def corrections_from_lines(typed: str) -> list[list[str]]:
    """A sensor's pairs [temperature read, correction to add] in degC, as texts.

    Raises:
        Refusal: a line is no pair of numbers, the temperatures do not rise, or a correction is
            larger than ``LARGEST_CORRECTION_C``; the sentence names the line.
    """
    pairs = pairs_from_lines(typed, _OF_SENSORS)
    for pair in pairs:
        if abs(pair.second) > LARGEST_CORRECTION_C:
            raise refused(
                "corrections",
                f"Line {pair.line}: a correction of {pair.second} degC is more than "
                f"{LARGEST_CORRECTION_C} degC; check the certificate and the decimal point.",
            )
    return [pair.kept for pair in pairs]


def bench_corrections_from_lines(typed: str, unit: str) -> list[list[str]] | None:
    """A tester's pairs [value read, correction to add] in its unit, as texts; None where empty.

    Raises:
        Refusal: a line is no pair of numbers, the values do not rise, or a correction cannot be;
            the sentence names the line. Or there is only one pair: nothing lies between.
    """
    wanted = WantedPairs(
        field="corrections",
        words="a value read and what is to be added",
        example="84.0 -0.3",
        unit=unit,
        rising="values read",
    )
    pairs = pairs_from_lines(typed, wanted)
    for pair in pairs:
        _refuse_slip("corrections", pair, pair.second, unit)
    if len(pairs) == 1:
        raise refused(
            "corrections",
            "One pair corrects nothing but that very value; give at least two, between which "
            "readings can lie, or none.",
        )
    return [pair.kept for pair in pairs] or None


def points_from_lines(typed: str, unit: str, *, field: str) -> list[list[str]] | None:
    """Pairs [reference value, value read] in a tester's unit, as texts; None where empty.

    Raises:
        Refusal: a line is no pair of numbers, or its error cannot be; the sentence names the line.
    """
    wanted = WantedPairs(
        field=field,
        words="a reference value and what the tester read",
        example="85.0 84.6",
        unit=unit,
    )
    pairs = pairs_from_lines(typed, wanted)
    for pair in pairs:
        _refuse_slip(field, pair, pair.second - pair.first, unit)
    return [pair.kept for pair in pairs] or None


def _refuse_slip(field: str, pair: TypedPair, difference: Decimal, unit: str) -> None:
    if pair.first <= 0:
        raise refused(
            field, f"Line {pair.line}: {pair.first} {unit} cannot be; give a value above 0."
        )
    if abs(difference) > LARGEST_SHARE * pair.first:
        raise refused(
            field,
            f"Line {pair.line}: {difference} {unit} at {pair.first} {unit} is more than a quarter "
            "of it; check the certificate and the decimal point.",
        )
