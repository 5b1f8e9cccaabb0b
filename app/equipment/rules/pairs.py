"""Pairs of figures as typed, one pair a line. Pure: texts in, pairs out."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from app.errors import Refusal

_MOST_PAIRS = 40
_PAIR = 2


@dataclass(frozen=True, slots=True)
class WantedPairs:
    """What the pairs of a field are: in words, with an example, for the sentences of refusals.

    ``rising`` names the first figures where they must rise, each once; None where they need not.
    """

    field: str
    words: str
    example: str
    unit: str
    rising: str | None = None


@dataclass(frozen=True, slots=True)
class TypedPair:
    """One pair and the line it stands on, counted from 1."""

    line: int
    first: Decimal
    second: Decimal

    @property
    def kept(self) -> list[str]:
        """The pair as it is kept: texts, digit for digit."""
        return [format(self.first, "f"), format(self.second, "f")]


def pairs_from_lines(typed: str, wanted: WantedPairs) -> list[TypedPair]:
    """The pairs typed, in their order; empty lines are passed over.

    A sign may be left out where it is plus; a decimal comma counts as a point.

    Raises:
        Refusal: a line is no pair of numbers, the first figures do not rise where they must, or
            there are more pairs than a certificate has; the sentence names the line.
    """
    pairs = list(_read(typed, wanted))
    if len(pairs) > _MOST_PAIRS:
        raise refused(
            wanted.field,
            f"{len(pairs)} pairs are more than a certificate has; give at most {_MOST_PAIRS}.",
        )
    return pairs


def refused(field: str, sentence: str) -> Refusal:
    """A refusal with its sentence beside the field."""
    return Refusal(sentence, fields={field: sentence})


def _read(typed: str, wanted: WantedPairs) -> Iterator[TypedPair]:
    previous: Decimal | None = None
    for number, line in enumerate(typed.splitlines(), start=1):
        parts = line.split()
        if not parts:
            continue
        if len(parts) != _PAIR:
            raise refused(
                wanted.field,
                f"Line {number}: {line.strip()[:40]!r} is not {wanted.words}; write both in "
                f"{wanted.unit} with a space between, such as {wanted.example}.",
            )
        first, second = (_figure(part, number, wanted) for part in parts)
        if wanted.rising and previous is not None and first <= previous:
            raise refused(
                wanted.field,
                f"Line {number}: {first} {wanted.unit} does not come after {previous} "
                f"{wanted.unit}; give the {wanted.rising} in rising order, each once.",
            )
        previous = first
        yield TypedPair(number, first, second)


def _figure(part: str, number: int, wanted: WantedPairs) -> Decimal:
    text = part.replace(",", ".").replace("\N{MINUS SIGN}", "-")
    plain = text.removeprefix("-").removeprefix("+").replace(".", "", 1)
    if not (plain.isascii() and plain.isdigit()):
        raise refused(
            wanted.field,
            f"Line {number}: {part[:40]!r} is not a number; write it like those of "
            f"{wanted.example}.",
        )
    return Decimal(text)
