"""What is noted beside a coupon's findings. Notes decide nothing. Pure.

Source: the judging rules, 3.2.
"""

from collections.abc import Sequence
from datetime import datetime, tzinfo

from app.judging.units import Quantity
from app.judging.verdict import Finding, Outcome


def late_note(
    number: int, quantity: Quantity, times: tuple[datetime, datetime], reason: str, zone: tzinfo
) -> Finding:
    """A reading entered later than it was taken; ``times`` are when taken and when entered."""
    taken, entered = (at.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z") for at in times)
    return Finding(
        code="reading.late",
        outcome=Outcome.NOTE,
        text=(
            f"LATE: reading {number}, {quantity.words}, was taken {taken} and entered {entered}: "
            f"{reason.rstrip('.')}."
        ),
    )


def no_thermometer_note(numbers: Sequence[int]) -> Finding:
    """Conductivity readings that count, of a session that names no thermometer."""
    listed = ", ".join(str(number) for number in numbers)
    are = "reading" if len(numbers) == 1 else "readings"
    return Finding(
        code="conductivity.thermometer",
        outcome=Outcome.NOTE,
        text=(
            f"Conductivity, {are} {listed}: the session names no thermometer, so what its "
            "temperatures were taken with is not on record."
        ),
    )


def no_as_found_note(quantity: Quantity, tester: str, certificate: str, remark: str) -> Finding:
    """A tester's certificate without as-found figures, with the remark it was accepted with."""
    says = f'; it was accepted with the remark "{remark.rstrip(".")}"' if remark else ""
    return Finding(
        code=f"{quantity.value}.as_found",
        outcome=Outcome.NOTE,
        text=(
            f"{quantity.words.capitalize()}: certificate {certificate} of {tester} does not say "
            f"how the tester was found{says}."
        ),
    )
