"""What departed on a panel: gates that do not conform, with what was asked and found. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from app.judging.verdict import Finding, Outcome
from app.release.rules.facts import DecisionKind, PanelFacts
from app.release.rules.gate import Gate
from app.release.rules.standing_gates import ASIDE


@dataclass(frozen=True, slots=True)
class Departure:
    """One gate that stands in the way, and the findings of its evidence that do."""

    title: str
    text: str
    findings: tuple[Finding, ...]

    @property
    def asked(self) -> str:
        """What was asked for, with document and clause, as far as the findings name them."""
        return " ".join(dict.fromkeys(_asked(one) for one in self.findings if one.source))


def departures(facts: PanelFacts, gates: Sequence[Gate]) -> tuple[Departure, ...]:
    """The gates that do not conform, holds apart, in their order; what is only unproven is last."""
    wrong = [gate for gate in gates if gate.code not in ASIDE]
    by_outcome = (Outcome.DOES_NOT_CONFORM, Outcome.NOT_PROVEN)
    return tuple(
        Departure(gate.title, gate.text, tuple(_against(_findings(facts, gate))))
        for outcome in by_outcome
        for gate in wrong
        if gate.outcome is outcome
    )


def described(found: Sequence[Departure]) -> str:
    """What departed, one gate a line; a start for the person who describes it."""
    return "\n".join(f"{one.title}: {one.text}" for one in found)


def asked_for(found: Sequence[Departure]) -> str:
    """What was asked for, one gate a line, where the evidence names a source."""
    return "\n".join(f"{one.title}: {one.asked}" for one in found if one.asked)


_DONE = {
    DecisionKind.USE_AS_IS: "Released by use as is",
    DecisionKind.REPAIR: "Repaired",
    DecisionKind.REWORK: "Reworked",
    DecisionKind.RETURNED: "Returned to the supplier",
    DecisionKind.SCRAPPED: "SCRAP",
}


def departure_note(kind: DecisionKind, under: str | None, evidence: dict[str, Any]) -> str:
    """What a disposition says of its panel ever after, by the evidence it was signed on."""
    wrong = [
        gate["title"]
        for gate in evidence.get("gates", ())
        if gate["outcome"] != Outcome.CONFORMS and gate["code"] not in ASIDE
    ]
    told = _DONE[kind] + (f" under {under}" if under else "")
    return f"{told}, not conforming in: {', '.join(wrong)}." if wrong else f"{told}."


def _asked(finding: Finding) -> str:
    limit = "" if finding.limit is None else f"limit {finding.limit} {finding.unit or ''}".strip()
    return f"{limit}, {finding.source}." if limit else f"{finding.source}."


def _findings(facts: PanelFacts, gate: Gate) -> Iterator[Finding]:
    for load in facts.round_loads:
        if gate.code == f"record.{load.code}" and load.record is not None:
            yield from load.record.findings
        elif gate.code == f"furnace.{load.code}":
            yield from load.furnace
        for coupon in load.coupons:
            if gate.code == f"coupon.{coupon.code}":
                yield from coupon.findings


def _against(findings: Iterable[Finding]) -> Iterator[Finding]:
    for one in findings:
        if one.outcome in {Outcome.DOES_NOT_CONFORM, Outcome.NOT_PROVEN}:
            yield one
