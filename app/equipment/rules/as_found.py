"""How a tester was found at its calibration, before any adjustment. Pure.

What it read since the calibration before rests on it. Source: the judging rules, 3.6.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from app.judging.rounding import last_place, round_to_place, shown
from app.judging.verdict import Finding, Outcome


class AsFound(StrEnum):
    """What a certificate shows of the tester as it came in."""

    WITHIN = "found within its tolerance"
    OUTSIDE = "found outside its tolerance"
    UNKNOWN = "how it was found is not shown"


@dataclass(frozen=True, slots=True)
class FoundPaper:
    """What a certificate says of the tester as found, and the accuracy its maker states.

    ``points`` are pairs [reference value, value read] in ``unit``, empty where none are stated;
    ``within`` is the certificate's own word, None where it has none.
    """

    points: Sequence[Sequence[str]]
    within: bool | None
    accuracy: Decimal | None
    unit: str


def as_found(paper: FoundPaper) -> AsFound:
    """How the tester was found: outside where the certificate or any figure says so.

    An error as large as the accuracy is within it. Without figures, and with figures that neither
    an accuracy nor the certificate's word judges, it is not shown.
    """
    if paper.within is False or any(_is_beyond(point, paper) for point in paper.points):
        return AsFound.OUTSIDE
    if paper.points and (paper.within or paper.accuracy is not None):
        return AsFound.WITHIN
    return AsFound.UNKNOWN


def as_found_findings(paper: FoundPaper) -> tuple[Finding, ...]:
    """The error of every as-found point, judged by the accuracy where there is one.

    The error is rounded once, to the accuracy's last place (section 2), and compared with it,
    limit included; without an accuracy it is a note.
    """
    return tuple(_finding(point, paper) for point in paper.points)


def largest_error(points: Sequence[Sequence[str]]) -> Decimal | None:
    """The error farthest from 0 of the points, read minus reference; None where there are none."""
    return max((Decimal(read) - Decimal(at) for at, read in points), key=abs, default=None)


def _is_beyond(point: Sequence[str], paper: FoundPaper) -> bool:
    return paper.accuracy is not None and abs(_rounded(point, paper.accuracy)) > paper.accuracy


def _rounded(point: Sequence[str], accuracy: Decimal) -> Decimal:
    at, read = point
    return round_to_place(Decimal(read) - Decimal(at), to=last_place(accuracy))


def _finding(point: Sequence[str], paper: FoundPaper) -> Finding:
    at, read = point
    error = Decimal(read) - Decimal(at)
    working = [f"{read} - {at} = {shown(error)}"]
    if paper.accuracy is None:
        return Finding(
            "tester.as_found",
            Outcome.NOTE,
            f"At {at} {paper.unit} it read {read} {paper.unit}, {_signed(error)} {paper.unit} off; "
            "no accuracy is on record to compare with.",
            value=shown(error),
            unit=paper.unit,
            working=tuple(working),
        )
    rounded = _rounded(point, paper.accuracy)
    beyond = _is_beyond(point, paper)
    working.append(f"to the nearest {last_place(paper.accuracy)} (ties to even) {shown(rounded)}")
    return Finding(
        "tester.as_found",
        Outcome.DOES_NOT_CONFORM if beyond else Outcome.CONFORMS,
        f"At {at} {paper.unit} it read {read} {paper.unit}, {_signed(rounded)} {paper.unit} off: "
        f"{'beyond' if beyond else 'within'} its accuracy of {shown(paper.accuracy)} "
        f"{paper.unit} either side.",
        value=shown(rounded),
        limit=shown(paper.accuracy),
        unit=paper.unit,
        working=tuple(working),
    )


def _signed(error: Decimal) -> str:
    return f"{error:+f}"
