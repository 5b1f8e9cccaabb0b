"""In which order an operator measures the parts of a study. Pure."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Piece:
    """One measurement to make: which part, and for the how-manieth time, from 1."""

    part: str
    trial: int


def order_of(
    study_id: int, operator_id: int, parts: Sequence[str], trials: int
) -> tuple[Piece, ...]:
    """Every piece of one operator: all parts once in a mixed order, then all again in another.

    The order follows from SHA-256 of study, operator, trial and part, so that it is on record with
    the study, the same on every machine, and different for every operator.
    """

    def drawn(piece: Piece) -> tuple[int, bytes]:
        text = f"{study_id}/{operator_id}/{piece.trial}/{piece.part}"
        return piece.trial, hashlib.sha256(text.encode()).digest()

    pieces = [Piece(part, trial) for trial in range(1, trials + 1) for part in parts]
    return tuple(sorted(pieces, key=drawn))
