"""Whether a reference block may be used: accepted, in date, and with room for an indent. Pure."""

from datetime import date

from app.equipment.rules.dates import Due, DueState, due_by

FEW_INDENTS = 20
"""So many indents left, included, and the next block should be ordered. Our own choice."""


def indents_left_of(most: int | None, used: int) -> int | None:
    """How many indents a block has room for yet, never below 0; None where it is not used up."""
    return None if most is None else max(0, most - used)


def block_due(expires_on: date, accepted: bool | None, *, on: date) -> Due:  # noqa: FBT001 - a review's answer, None before there is one
    """How a block stands on a day by its certificate and the second person's answer to it."""
    if accepted is None:
        return Due(DueState.WAITING, "waits for review")
    if not accepted:
        return Due(DueState.MISSING, "its certificate was rejected")
    return due_by(expires_on, on=on)


def indents_due(left: int) -> Due:
    """How a block stands by the indents it has room for yet."""
    if left == 0:
        return Due(DueState.USED_UP, "used up: no indent left")
    words = "one indent left" if left == 1 else f"{left} indents left"
    return Due(DueState.DUE_SOON if left <= FEW_INDENTS else DueState.IN_DATE, words)
