"""Hardness from the two sizes of an indentation, keyed instead of the tester's number. Pure.

Source: ISO 6506-1 (Brinell: two diameters at right angles) and ISO 6507-1 (Vickers: both
diagonals), from memory; the arithmetic is judging's.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.judging.rounding import round_to_place
from app.judging.witness.indentation import (
    BrinellIndentation,
    VickersIndentation,
    hardness_number,
)
from app.judging.witness.indentation_scale import check_asymmetry

SHOWN_TO = Decimal("0.1")
"""The last place to which a computed number is kept for reading; verdicts use the sizes."""


@dataclass(frozen=True, slots=True)
class SizedTester:
    """A tester whose indentations may be keyed: force in N, a Brinell ball in mm.

    ``asymmetry_percent`` is the most by which the two sizes may differ, in % of the larger,
    included; None: no limit is stated.
    """

    force_n: Decimal
    ball_mm: Decimal | None
    asymmetry_percent: Decimal | None

    @property
    def size_words(self) -> str:
        """What is measured on the indentation."""
        return "diagonal" if self.ball_mm is None else "diameter"


Sizes = tuple[Decimal, Decimal]
"""An indentation's size in both directions, mm."""


def sized_tester(
    unit: str,
    force_n: Decimal | None,
    ball_mm: Decimal | None,
    asymmetry_percent: Decimal | None,
) -> SizedTester | None:
    """The tester as one whose sizes may be keyed; None where they give no number.

    A Vickers tester needs its force, a Brinell tester its ball too; Rockwell has no such sizes.
    """
    if force_n is None:
        return None
    if unit.startswith("HV"):
        return SizedTester(force_n, None, asymmetry_percent)
    if unit.startswith("HBW") and ball_mm is not None:
        return SizedTester(force_n, ball_mm, asymmetry_percent)
    return None


def number_from(sizes: Sizes, tester: SizedTester) -> Fraction:
    """The hardness number of one indentation, not rounded.

    Raises:
        Refusal: a size is not above zero, as wide as the ball, or the two differ by more than the
            method admits.
    """
    number = hardness_number(indentation_of(sizes, tester)).value
    if tester.asymmetry_percent is not None:
        check_asymmetry(sizes, tester.asymmetry_percent)
    return number


def number_shown(sizes: Sizes, tester: SizedTester) -> Decimal:
    """The number rounded to 0.1 for reading.

    Raises:
        Refusal: as `number_from`.
    """
    return round_to_place(number_from(sizes, tester), to=SHOWN_TO)


def indentation_paper(sizes: Sizes, tester: SizedTester) -> dict[str, Any]:
    """The indentation as it is kept with a reading, and as a coupon's paper has it."""
    measured = [str(size) for size in sizes]
    if tester.ball_mm is None:
        return {"method": "vickers", "force_n": str(tester.force_n), "diagonals_mm": measured}
    return {
        "method": "brinell",
        "force_n": str(tester.force_n),
        "ball_mm": str(tester.ball_mm),
        "diameters_mm": measured,
    }


def indentation_of(sizes: Sizes, tester: SizedTester) -> BrinellIndentation | VickersIndentation:
    """The indentation as judging knows it."""
    if tester.ball_mm is None:
        return VickersIndentation(tester.force_n, sizes)
    return BrinellIndentation(tester.force_n, tester.ball_mm, sizes)
