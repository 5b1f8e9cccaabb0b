"""Whether a printed dossier still says what is on record. Pure.

Source of the rule: judging rules, "Panels".
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from app.release.rules.facts import DecisionFacts, DecisionKind, HoldFacts, PanelFacts
from app.release.rules.signed import SignatureStanding, Word
from app.release.rules.standing import AT_WORK, Standing

_WAS = {
    DecisionKind.RELEASED: "was released",
    DecisionKind.NO_DEPARTURE: "was found without departure",
    DecisionKind.USE_AS_IS: "was accepted for use as is",
    DecisionKind.REWORK: "was sent to rework",
    DecisionKind.REPAIR: "was sent to repair",
    DecisionKind.RETURNED: "was returned to its supplier",
    DecisionKind.SCRAPPED: "was scrapped",
    DecisionKind.CONFIRMED: "had its release confirmed",
    DecisionKind.WITHDRAWN: "had its release withdrawn",
}


class Answer(StrEnum):
    """What a paper is told to be."""

    RIGHT = "right"
    OVERTAKEN = "overtaken"
    FOREIGN = "not of this record"


@dataclass(frozen=True, slots=True)
class Told:
    """The answer in one sentence; ``also`` is what else overtook it, ``namely`` what changed."""

    answer: Answer
    sentence: str
    also: tuple[str, ...] = ()
    namely: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Said:
    """How people and times are said: names by their keys, and a time in the shop's zone."""

    names: Mapping[int, str]
    moment: Callable[[datetime], str]

    def by(self, person_id: int, at: datetime) -> str:
        """Who and when, as one phrase."""
        return f"by {self.names[person_id]} on {self.moment(at)}"


def foreign(facts: PanelFacts) -> Told:
    """The answer where no decision on the panel has the line that was keyed."""
    why = (
        f"no decision on {facts.code} has this check line"
        if facts.decisions
        else f"nothing has been decided on {facts.code}, so that no paper of it has a check line"
    )
    return Told(
        Answer.FOREIGN,
        f"Not a paper of this record: {why}. Key it once more; if the paper does say so, do not go "
        "by it: put the panel on hold, or ask a supervisor.",
    )


def told_of(
    facts: PanelFacts,
    made: DecisionFacts,
    *,
    signature: SignatureStanding,
    standing: Standing,
    replaced: Sequence[str],
    said: Said,
) -> Told:
    """Whether the paper that bears this decision is right still, or what overtook it.

    ``replaced`` are clauses on the panels that stand for it now, none where it stands for itself.
    """
    was = f"{facts.code} {_WAS[made.kind]} by {made.printed_name} on {said.moment(made.decided_at)}"
    since = [*replaced, *_since(facts, made, said)]
    if signature.word is Word.FALLEN:
        since.append(_fallen(signature))
    if since:
        sentence = f"This paper is overtaken: {was}, and since then {since[0]}."
        return Told(Answer.OVERTAKEN, sentence, tuple(since[1:]), signature.namely)
    sentence = f"This paper is right: {was}, and nothing was decided or held since."
    if made.kind not in AT_WORK:
        sentence += f" The panel is not for use: it stands at {standing.value}."
    return Told(Answer.RIGHT, sentence)


def _fallen(signature: SignatureStanding) -> str:
    """What made the signature fall: what it rests on, or the decision itself."""
    if signature.namely:
        return "the evidence was changed, so that its signature has fallen"
    return "the decision was altered, so that its signature no longer covers what it says"


def _since(facts: PanelFacts, made: DecisionFacts, said: Said) -> list[str]:
    """What came after a decision, a clause each: decisions, holds, departures, loads."""
    later = [
        f"decision {one.number}, {one.kind.value}, was signed by {one.printed_name} on "
        f"{said.moment(one.decided_at)}"
        for one in reversed(facts.decisions[made.number :])
    ]
    held = [
        f"it was put on hold {said.by(hold.placed_by_id, hold.placed_at)}: "
        f"{hold.reason.rstrip('.')}"
        for hold in _held_since(facts, made)
    ]
    departed = [
        f"{one.code} was opened {said.by(one.opened_by_id, one.opened_at)} and is open: "
        f"{one.description.rstrip('.')}"
        for one in facts.nonconformances
        if one.is_open and one.opened_at > made.decided_at
    ]
    loaded = [
        f"it was planned into load {load.code} on {said.moment(load.planned_at)}"
        for load in facts.loads
        if load.planned_at > made.decided_at
    ]
    return [*later, *held, *departed, *loaded]


def _held_since(facts: PanelFacts, made: DecisionFacts) -> list[HoldFacts]:
    """The open holds that the decision did not leave open itself, as one that withdraws does."""
    left_open = made.kind is DecisionKind.WITHDRAWN
    return [
        hold
        for hold in facts.open_holds
        if not left_open or hold.placed_at > made.decided_at or made.number < len(facts.decisions)
    ]
