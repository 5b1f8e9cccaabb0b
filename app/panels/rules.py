"""In which order a coupon changes hands, codes as they are typed, and walks past a place. Pure."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from app.errors import Refusal

MOST_AT_ONCE = 200


class Custody(StrEnum):
    """What happened to a coupon, in the order it should happen."""

    CUT = "cut and marked"
    PLACED = "placed on the panel"
    RECOVERED = "recovered"
    AT_BENCH = "handed over to the bench"
    SHELVED = "shelved"
    MISSING = "missing"


ORDER = (Custody.CUT, Custody.PLACED, Custody.RECOVERED, Custody.AT_BENCH, Custody.SHELVED)


WHAT_NEXT: dict[Custody, str] = {
    Custody.CUT: "read its baseline at the bench where one is wanted, and place it on its panel",
    Custody.PLACED: "take it off when the panel is unwrapped",
    Custody.RECOVERED: "hand it over to the bench",
    Custody.AT_BENCH: "measure it, then shelve it",
    Custody.SHELVED: "it is kept; for another test it goes back to the bench",
    Custody.MISSING: "a supervisor decides about it",
}
"""What is to be done with a coupon after each step."""


def next_steps(last: Custody | None) -> tuple[Custody, ...]:
    """What may happen to a coupon next.

    Each step follows the one before it in ``ORDER``. A coupon that was never placed may simply be
    missing; one that was is reported, so that its panel is held. A shelved coupon may go back to
    the bench, for a retest or after an instrument was found wrong; a missing one is no evidence
    any more, even if it turns up again.
    """
    if last is None:
        return (Custody.CUT,)
    if last is Custody.MISSING:
        return ()
    if last is Custody.SHELVED:
        return (Custody.AT_BENCH,)
    following = ORDER[ORDER.index(last) + 1]
    return (following, Custody.MISSING) if last is Custody.CUT else (following,)


def why_not(last: Custody | None, step: Custody) -> str | None:
    """Why ``step`` may not follow ``last``, with what comes first; None where it may."""
    allowed = next_steps(last)
    if step in allowed:
        return None
    if last is Custody.MISSING:
        return (
            "It is recorded as missing, so nothing more can prove whose it is, even if it has "
            "turned up; a supervisor decides about it on its load's page."
        )
    if step is Custody.MISSING and last not in {None, Custody.SHELVED}:
        return (
            "It rode on a panel: report it as missing on its load's page, so that the panel is "
            "put on hold."
        )
    if last is not None and step in ORDER and ORDER.index(step) <= ORDER.index(last):
        return f"It is {last.value} already; next it is {allowed[0].value}."
    stands = "nothing about it is recorded yet" if last is None else f"it is {last.value}"
    return f"It cannot be {step.value}: {stands}, and first it has to be {allowed[0].value}."


def codes_from_lines(typed: str) -> list[str]:
    """The codes typed or scanned one a line, empty lines passed over.

    Raises:
        Refusal: there is none, one comes twice, or there are more than ``MOST_AT_ONCE``; the
            sentence names the lines.
    """
    first_line: dict[str, int] = {}
    for number, line in enumerate(typed.splitlines(), start=1):
        code = line.strip().upper()
        if not code:
            continue
        if code in first_line:
            raise _refusal(
                f"Line {number}: {code} stands on line {first_line[code]} already; remove one."
            )
        first_line[code] = number
    if not first_line:
        raise _refusal("No identity was given; type or scan one a line.")
    if len(first_line) > MOST_AT_ONCE:
        raise _refusal(
            f"{len(first_line)} identities are too many at once; give at most {MOST_AT_ONCE}."
        )
    return list(first_line)


def one_line(typed: str) -> str:
    """Words as they are kept: no spaces around them, one between them."""
    return " ".join(typed.split())


def wrong_surface(surface: str, allowed: Sequence[str]) -> str | None:
    """What is wrong with a surface as typed; None where it is one of those a table may ask for."""
    if surface in allowed:
        return None
    return f"{surface[:40]!r} is no surface; choose {', '.join(allowed)}."


def _refusal(sentence: str) -> Refusal:
    return Refusal(sentence, fields={"codes": sentence})


@dataclass(frozen=True, slots=True)
class Walk:
    """A walk past a place: what was found there against what is on record there."""

    found: tuple[str, ...]
    missing: tuple[str, ...]
    """On record there, but not scanned."""
    unexpected: tuple[str, ...]
    """Scanned there, but not on record there."""


def walked(on_record: Collection[str], scanned: Collection[str]) -> Walk:
    """What differs, each part by identity."""
    known, seen = set(on_record), set(scanned)
    return Walk(
        tuple(sorted(known & seen)), tuple(sorted(known - seen)), tuple(sorted(seen - known))
    )


FIGURES: dict[str, str] = {
    "alloy": "alloy",
    "incoming_temper": "incoming temper",
    "form": "product form",
    "thickness_mm": "thickness, mm",
    "surface": "surface",
    "cast": "cast",
    "certificate": "mill certificate",
}
"""What is entered of a lot and can be entered wrongly, by column, with its words."""


@dataclass(frozen=True, slots=True)
class Change:
    """One figure of a lot as it was entered and as it should be."""

    name: str
    words: str
    old: str
    new: str


def changes_of(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[Change, ...]:
    """What differs between two sets of a lot's figures, in their order.

    Figures are compared as they are written: 12.5 and 12.50 differ in what was measured.
    """
    return tuple(
        Change(name, words, before[name], after[name])
        for name, words in FIGURES.items()
        if before[name] != after[name]
    )


def changes_words(changes: Sequence[Change]) -> str:
    """The changes as a phrase: "surface bare to clad, cast M-1 to M-2"."""
    return ", ".join(f"{one.words} {one.old} to {one.new}" for one in changes)
