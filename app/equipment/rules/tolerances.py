"""A sensor's corrections beside the published tolerance of its type: notes, no verdict. Pure.

Source: IEC 60584-1:2013, tolerance class 2, as kept in `app.judging.furnace.thermocouples`.
"""

from collections.abc import Sequence
from decimal import Decimal

from app.judging.furnace.thermocouples import tolerance_c
from app.judging.rounding import shown
from app.judging.verdict import Finding, Outcome

_CLASS = 2
_SOURCE = "IEC 60584-1:2013, tolerance class 2"


def tolerance_notes(letter: str, corrections: Sequence[Sequence[str]]) -> tuple[Finding, ...]:
    """A note for each correction, in pairs [degC read, degC to add], beyond the type's tolerance.

    A correction as large as the tolerance is within it. A type or temperature for which none is
    published has no note.
    """
    notes = []
    for read, add in corrections:
        at, correction = Decimal(read), Decimal(add)
        tolerance = tolerance_c(letter, _CLASS, at)
        if tolerance is None or abs(correction) <= tolerance:
            continue
        notes.append(
            Finding(
                "sensor.tolerance",
                Outcome.NOTE,
                f"At {shown(at)} degC the correction of {format(correction, '+f')} degC is larger "
                f"than the {shown(tolerance)} degC of a new type {letter} thermocouple of class "
                f"{_CLASS}: it may have drifted, or the certificate was misread.",
                value=shown(correction),
                limit=shown(tolerance),
                unit="degC",
                source=_SOURCE,
            )
        )
    return tuple(notes)
