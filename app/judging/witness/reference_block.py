"""The opening or closing check of a tester on a reference block. Pure."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import last_place, mean, round_to_place, shown, shown_working
from app.judging.verdict import Finding, Outcome


def judge_block_check(
    readings: Sequence[Decimal],
    *,
    certified: Decimal,
    permitted_error: Decimal,
    unit: str,
    readings_min: int = 1,
    source: str | None = None,
) -> Finding:
    """Whether the tester reads the block rightly: the mean's error within the permitted one.

    All figures in ``unit``. The error is rounded once, to the permitted error's last place; an
    error equal to the permitted one conforms. Too few readings are not proven.

    Source: the judging rules, 3.4.
    """
    working = tuple(
        f"check reading {n}: {shown(r)} {unit}" for n, r in enumerate(readings, start=1)
    )
    if len(readings) < max(readings_min, 1):
        return Finding(
            code="block_check",
            outcome=Outcome.NOT_PROVEN,
            text=(
                f"Only {len(readings)} of {max(readings_min, 1)} check readings on the reference "
                "block: take the others."
            ),
            value=str(len(readings)),
            limit=str(max(readings_min, 1)),
            unit="readings",
            source=source,
            working=working,
        )
    middle = mean(tuple(Fraction(reading) for reading in readings))
    error = middle - Fraction(certified)
    step = last_place(permitted_error)
    rounded = round_to_place(error, to=step)
    met = abs(rounded) <= permitted_error
    says = "within" if met else "beyond"
    total = " + ".join(shown(reading) for reading in readings)
    return Finding(
        code="block_check",
        outcome=Outcome.CONFORMS if met else Outcome.DOES_NOT_CONFORM,
        text=(
            f"{_what(readings)} is {shown(rounded)} {unit} from the block's certified "
            f"{shown(certified)} {unit}, {says} the permitted "
            f"{shown(permitted_error)} {unit}."
        ),
        value=shown(rounded),
        limit=shown(permitted_error),
        unit=unit,
        source=source,
        working=(
            *working,
            f"mean: ({total}) / {len(readings)} = {shown_working(middle)}",
            (
                f"error: {shown_working(middle)} - {shown(certified)} = {shown_working(error)}, "
                "to the "
                f"nearest {shown(step)} (ties to even) {shown(rounded)}"
            ),
            f"|{shown(rounded)}| {'<=' if met else '>'} {shown(permitted_error)}",
        ),
    )


def _what(readings: Sequence[Decimal]) -> str:
    return (
        "The check reading" if len(readings) == 1 else f"The mean of {len(readings)} check readings"
    )
