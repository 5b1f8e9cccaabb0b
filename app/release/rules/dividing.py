"""Into what a panel can be divided, what it is then marked as, and when. Pure.

Source of the rules: judging rules, "Panels that come of panels".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, NoReturn

from app.errors import Refusal
from app.release.rules.facts import PanelFacts

MOST_PIECES = 50
_FIELD = "pieces"
_PARTS_OF_A_LINE = 3


@dataclass(frozen=True, slots=True)
class Piece:
    """A panel that comes of another: its new identity as typed, and its size in mm."""

    code: str
    length_mm: Decimal
    width_mm: Decimal


def pieces_from_lines(typed: str) -> list[Piece]:
    """The pieces as typed, one a line: identity, length and width in mm.

    Raises:
        Refusal: a line has not these three, a figure is none, or there is no line; fields
            ``pieces``.
    """
    pieces: list[Piece] = []
    for number, line in enumerate(typed.splitlines(), start=1):
        words = line.replace(";", " ").split()
        if not words:
            continue
        if len(words) != _PARTS_OF_A_LINE:
            _refuse(f"Line {number}: give identity, length and width in mm, such as P-7-A 900 400.")
        pieces.append(Piece(words[0].upper(), _figure(number, words[1]), _figure(number, words[2])))
    if not pieces:
        _refuse("Give at least one piece: identity, length and width in mm, one piece a line.")
    return pieces


def _figure(line: int, word: str) -> Decimal:
    try:
        figure = Decimal(word.replace(",", "."))
    except InvalidOperation:
        _refuse(f"Line {line}: {word[:20]!r} is no length in mm.")
    if not figure.is_finite() or figure <= 0:
        _refuse(f"Line {line}: {word[:20]} mm cannot be; give it above 0.")
    return figure


def check_pieces(parent: str, length_mm: Decimal, width_mm: Decimal, given: list[Piece]) -> None:
    """Pass if the pieces can be cut from a panel of that size.

    Each fits into it, laid along or across, and together they have no more area than it, equal
    included: what is left over is offcut. Identities differ.

    Raises:
        Refusal: they cannot; fields ``pieces``.
    """
    if not given:
        _refuse("Give at least one piece.")
    if len(given) > MOST_PIECES:
        _refuse(f"{len(given)} pieces are too many at once; give at most {MOST_PIECES}.")
    codes = [one.code for one in given]
    twice = next((code for code in codes if codes.count(code) > 1), None)
    if twice is not None:
        _refuse(f"{twice} stands there twice; every piece has an identity of its own.")
    size = f"{length_mm} × {width_mm} mm"  # noqa: RUF001 - the sign of sizes
    short, long = sorted((length_mm, width_mm))
    for one in given:
        narrow, wide = sorted((one.length_mm, one.width_mm))
        if narrow > short or wide > long:
            _refuse(f"{one.code} does not fit into {parent}, which is {size}.")
    area = sum((one.length_mm * one.width_mm for one in given), Decimal(0))
    if area > length_mm * width_mm:
        _refuse(
            f"The pieces have {area} mm² together, more than {parent} has: {length_mm * width_mm} "
            f"mm² ({size})."
        )


def why_under_way(facts: PanelFacts) -> str | None:
    """Why the panel cannot be divided or marked anew just now; None where it can.

    From the plan of a load to its record, and to what unwrapping found, it stays what the load's
    papers call it.
    """
    for load in facts.loads:
        if load.record is None:
            return (
                f"{facts.code} is between plan and record of load {load.code}. Import the "
                "record first, or cancel the load where it did not run."
            )
        if load.unwrapping is None or load.unwrapping.surface_clear is None:
            return (
                f"{facts.code} is not unwrapped and searched after load {load.code} yet. Record "
                "that first, under the mark it has now."
            )
    return None


def descent_content(
    *, parent: str, kind: str, reason: str, drawing: str, pieces: Sequence[Piece]
) -> dict[str, Any]:
    """What the signature under a division, or a new mark, is made over."""
    return {
        "panel": parent,
        "came_of_it": kind,
        "reason": reason,
        "drawing": drawing,
        "pieces": [
            {
                "panel": one.code,
                "length_mm": str(one.length_mm),
                "width_mm": str(one.width_mm),
            }
            for one in pieces
        ],
    }


def _refuse(sentence: str) -> NoReturn:
    raise Refusal(sentence, fields={_FIELD: sentence})
