"""A sensor's corrections as typed, one pair a line. Pure: texts in, pairs out."""

from decimal import Decimal
from typing import NoReturn

from app.errors import Refusal

THERMOCOUPLE_TYPES = ("K", "N", "T", "J", "E", "R", "S", "B", "C", "A")
"""Letter designations of IEC 60584-1:2013 (from memory)."""

LARGEST_CORRECTION_C = Decimal(10)
"""A larger correction is taken for a slip of the pen, included. Our own choice."""

_MOST_POINTS = 40
_PAIR = 2


def corrections_from_lines(typed: str) -> list[list[str]]:
    """Pairs [temperature read, correction to add] in degC, as texts, from one pair a line.

    Empty lines are passed over; the sign of a correction may be left out where it is plus.

    Raises:
        Refusal: a line is no pair of numbers, the temperatures do not rise, or a correction is
            larger than ``LARGEST_CORRECTION_C``; the sentence names the line.
    """
    pairs: list[list[str]] = []
    previous: Decimal | None = None
    for number, line in enumerate(typed.splitlines(), start=1):
        if not line.strip():
            continue
        read, add = _pair(line, number)
        if previous is not None and read <= previous:
            _refuse(
                f"Line {number}: {read} degC does not come after {previous} degC; give the "
                "temperatures in rising order, each once."
            )
        previous = read
        pairs.append([format(read, "f"), format(add, "f")])
    if len(pairs) > _MOST_POINTS:
        _refuse(f"{len(pairs)} pairs are more than a certificate has; give at most {_MOST_POINTS}.")
    return pairs


def _pair(line: str, number: int) -> tuple[Decimal, Decimal]:
    parts = line.split()
    if len(parts) != _PAIR:
        _refuse(
            f"Line {number}: {line.strip()[:40]!r} is not a temperature and a correction; write "
            "both in degC with a space between, such as 150 +0.4."
        )
    read, add = (_figure(part, number) for part in parts)
    if abs(add) > LARGEST_CORRECTION_C:
        _refuse(
            f"Line {number}: a correction of {add} degC is more than {LARGEST_CORRECTION_C} degC; "
            "check the certificate and the decimal point."
        )
    return read, add


def _figure(part: str, number: int) -> Decimal:
    text = part.replace(",", ".").replace("\N{MINUS SIGN}", "-")
    plain = text.removeprefix("-").removeprefix("+").replace(".", "", 1)
    if not (plain.isascii() and plain.isdigit()):
        _refuse(f"Line {number}: {part[:40]!r} is not a number; write it like 150 or -0.4.")
    return Decimal(text)


def _refuse(sentence: str) -> NoReturn:
    raise Refusal(sentence, fields={"corrections": sentence})
