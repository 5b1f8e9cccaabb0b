"""Findings and the verdict over them. Pure.

Source of the rules: section 1 of the project's judging rules (DEVELOPERS.md, "Judging").
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """What one rule found."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    NOT_PROVEN = "not_proven"
    NOTE = "note"


class Verdict(StrEnum):
    """What all deciding findings together say."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    NOT_PROVEN = "not_proven"


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's answer.

    ``value`` and ``limit`` are as a person would write them (a figure keeps its digits) or, for
    furnace records, floats in ``unit``; ``None`` where the rule has none. ``working`` is the
    arithmetic line by line, so that a person can redo it on paper.
    """

    code: str
    outcome: Outcome
    text: str
    value: str | float | None = None
    limit: str | float | None = None
    unit: str | None = None
    source: str | None = None
    working: tuple[str, ...] = ()


def worst(findings: Iterable[Finding]) -> Verdict:
    """The worst finding decides; notes do not count, and nothing decided is *not proven*."""
    outcomes = {finding.outcome for finding in findings}
    if Outcome.DOES_NOT_CONFORM in outcomes:
        return Verdict.DOES_NOT_CONFORM
    if Outcome.NOT_PROVEN in outcomes or Outcome.CONFORMS not in outcomes:
        return Verdict.NOT_PROVEN
    return Verdict.CONFORMS
