"""Whether what a signature covers still stands. Pure.

A signature is over the decision and the evidence it was made on. Where the evidence was changed
since, the signature has fallen: it is shown with what changed, and never removed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from app.release.rules.facts import DecisionKind, PanelFacts

_LEAVES_EVIDENCE = frozenset({DecisionKind.REWORK, DecisionKind.NO_DEPARTURE})
"""Decisions after which the evidence is meant to go on."""


class Word(StrEnum):
    """What is said of a signature."""

    STANDS = "stands"
    FALLEN = "fallen"
    OVERTAKEN = "overtaken"


@dataclass(frozen=True, slots=True)
class SignatureStanding:
    """Whether a signature stands, why not, and what else is to be known about it."""

    word: Word
    sentence: str
    namely: tuple[str, ...] = ()


def rests_on_evidence(facts: PanelFacts, number: int) -> bool:
    """Whether that decision is the last one, and still rests on the evidence it was made on."""
    made = facts.decisions[number - 1]
    return number == len(facts.decisions) and made.kind not in _LEAVES_EVIDENCE


def signature_standing(
    facts: PanelFacts, number: int, *, is_intact: bool, changed: Sequence[str]
) -> SignatureStanding:
    """Whether the signature of the decision of that number stands.

    ``is_intact``: its digest still covers the decision as it is on record. ``changed`` are the
    differences between the evidence now and what the decision was made on.
    """
    made = facts.decisions[number - 1]
    if not is_intact:
        return SignatureStanding(
            Word.FALLEN, "The signature has fallen: it no longer covers what this decision says."
        )
    if number < len(facts.decisions):
        word, sentence = Word.OVERTAKEN, f"It stood until decision {number + 1}."
    elif changed and rests_on_evidence(facts, number):
        word, sentence = Word.FALLEN, "The signature has fallen: what it covered was changed since."
    else:
        word, sentence = Word.STANDS, "The signature stands."
    if made.authorisation_ended_at is not None:
        sentence += " It was made under an authorisation that ended later, and keeps its meaning."
    return SignatureStanding(word, sentence, tuple(changed) if word is Word.FALLEN else ())
