"""Who has to agree before a departure is disposed of, and what is still in the way. Pure.

Source of the rules: judging rules, "Panels", dispositions of a departure.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from app.release.rules.facts import DecisionKind, PanelFacts


class Capacity(StrEnum):
    """In what capacity a proposed disposition is answered."""

    QUALITY = "quality"
    SUPERVISION = "supervision"
    DESIGN = "design organisation"
    CUSTOMER = "customer"


_BY_SHOP = frozenset({Capacity.SUPERVISION, Capacity.QUALITY})
_BY_DESIGN = frozenset({Capacity.SUPERVISION, Capacity.DESIGN})
_REQUIRED: Mapping[DecisionKind, frozenset[Capacity]] = {
    DecisionKind.USE_AS_IS: _BY_DESIGN,
    DecisionKind.REPAIR: _BY_DESIGN,
    DecisionKind.REWORK: _BY_SHOP,
    DecisionKind.RETURNED: _BY_SHOP,
    DecisionKind.SCRAPPED: _BY_SHOP,
}
DEPARTURES = tuple(_REQUIRED)
"""The dispositions of a departure, each of which needs an approved proposal."""
NEEDS_INSTRUCTIONS = frozenset({DecisionKind.REWORK, DecisionKind.REPAIR})
"""What somebody has to carry out by words written beforehand."""

WHO: Mapping[Capacity, str] = {
    Capacity.QUALITY: "an engineer",
    Capacity.SUPERVISION: "a supervisor who is authorised for dispositions",
    Capacity.DESIGN: "an engineer who is authorised by the design organisation",
    Capacity.CUSTOMER: "a supervisor or engineer who has the customer's letter",
}
"""Who can answer in a capacity."""
FALLEN = (
    "The evidence is not what it was when this was proposed and answered, so the answers count no "
    "more. Propose the disposition anew."
)
"""Said of a proposal that rests on other evidence than stands now."""


@dataclass(frozen=True, slots=True)
class AnswerFacts:
    """A signed answer. ``intact``: its signature covers exactly this answer to this proposal."""

    capacity: Capacity
    approves: bool
    remark: str
    document: str
    document_sha256: str | None
    answered_by_id: int
    answered_at: datetime
    printed_name: str
    meaning: str
    grounds: str | None
    """What the authorisation rests on that it was given under; None where none was needed."""
    intact: bool


@dataclass(frozen=True, slots=True)
class ProposalFacts:
    """A proposed disposition with its answers in the order given."""

    id: int
    number: int
    disposition: DecisionKind
    reason: str
    instructions: str
    evidence_sha256: str
    proposed_by_id: int
    proposed_at: datetime
    answers: tuple[AnswerFacts, ...]

    @property
    def is_refused(self) -> bool:
        """Whether somebody refused it, which ends it."""
        return any(not answer.approves for answer in self.answers)


def required(disposition: DecisionKind, *, customer_asked: bool) -> frozenset[Capacity]:
    """The capacities that have to approve; none for what is no disposition of a departure.

    ``customer_asked``: the order says that rework needs the customer.
    """
    capacities = _REQUIRED.get(disposition, frozenset())
    if disposition is DecisionKind.REWORK and customer_asked:
        return capacities | {Capacity.CUSTOMER}
    return capacities


def missing(proposal: ProposalFacts, *, customer_asked: bool) -> tuple[Capacity, ...]:
    """The capacities in which nobody has approved yet, in their order."""
    approved = {answer.capacity for answer in proposal.answers if answer.approves}
    wanted = required(proposal.disposition, customer_asked=customer_asked) - approved
    return tuple(capacity for capacity in Capacity if capacity in wanted)


def what_stands_in_the_way(
    proposal: ProposalFacts,
    *,
    evidence_sha256: str,
    customer_asked: bool,
    hands: Collection[int],
    one_person: Mapping[int, int],
) -> list[str]:
    """A sentence for everything between the proposal and its being carried out; empty: nothing.

    ``hands`` are the accounts of those who took, corrected or voided a reading the panel rests on;
    ``one_person`` gives a person's first account where they have several.
    """
    if proposal.is_refused:
        refused = next(answer for answer in proposal.answers if not answer.approves)
        who = f"{refused.printed_name} refused it for {refused.capacity.value}"
        return [f"{who}: {refused.remark.rstrip('.')}. Propose a disposition anew."]
    if proposal.evidence_sha256 != evidence_sha256:
        return [FALLEN]
    told = [
        f"{answer.printed_name}'s signature does not cover this answer, so it does not count."
        for answer in proposal.answers
        if not answer.intact
    ]
    told.extend(
        f"Nobody has approved it for {capacity.value}; {WHO[capacity]} can."
        for capacity in missing(proposal, customer_asked=customer_asked)
    )
    people = [one_person.get(a.answered_by_id, a.answered_by_id) for a in proposal.answers]
    if len(set(people)) < len(people):
        told.append("One person answered it in two capacities. Propose the disposition anew.")
    concerned = {one_person.get(hand, hand) for hand in hands}
    told.extend(
        f"{answer.printed_name} took, corrected or voided readings that the panel rests on, so "
        "the answer does not count. Propose the disposition anew."
        for answer, person in zip(proposal.answers, people, strict=True)
        if person in concerned
    )
    return told


def hands_in(facts: PanelFacts) -> frozenset[int]:
    """The accounts that took, corrected or voided a reading the panel rests on."""
    return facts.takers | facts.correctors | facts.voiders


def why_no_rework(facts: PanelFacts) -> str | None:
    """Why one more thermal treatment is not permitted, with count and limit; None where it is."""
    seen = facts.treatments_before + len(facts.loads)
    if seen + 1 <= facts.treatments_most:
        return None
    return (
        f"{facts.code} has seen {seen} of at most {facts.treatments_most} thermal treatments; "
        f"rework would be number {seen + 1}. Propose another disposition."
    )


def proposal_content(*, nonconformance: str, panel: str, proposal: ProposalFacts) -> dict[str, Any]:
    """What is proposed, as every answer to it signs it."""
    return {
        "nonconformance": nonconformance,
        "panel": panel,
        "proposal": proposal.number,
        "disposition": proposal.disposition.value,
        "reason": proposal.reason,
        "instructions": proposal.instructions,
        "evidence_sha256": proposal.evidence_sha256,
    }


def answer_content(
    proposed: Mapping[str, Any],
    *,
    capacity: Capacity,
    approves: bool,
    remark: str,
    document: str,
    document_sha256: str | None,
) -> dict[str, Any]:
    """What an answer's signature is made over: the answer, and all of what it answers."""
    return {
        **proposed,
        "capacity": capacity.value,
        "approves": approves,
        "remark": remark,
        "document": document,
        "document_sha256": document_sha256,
    }


def waits_for(
    proposals: Sequence[ProposalFacts], *, in_the_way: Sequence[str], customer_asked: bool
) -> str:
    """What an open nonconformance waits for, in a few words."""
    if not proposals:
        return "a proposed disposition"
    last = proposals[-1]
    if last.is_refused:
        return f"a new proposal: {last.disposition.value} was refused"
    words = last.disposition.value
    if not in_the_way:
        return f"a supervisor, to carry out {words}"
    if FALLEN in in_the_way:
        return f"a new proposal: {words} rests on other evidence"
    wanted = missing(last, customer_asked=customer_asked)
    if len(in_the_way) > len(wanted):
        return f"a new proposal: an answer to {words} does not count"
    named = " and ".join(capacity.value for capacity in wanted)
    return f"an answer to {words} for {named}"
