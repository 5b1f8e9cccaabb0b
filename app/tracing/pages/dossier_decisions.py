"""The decisions on a panel as its dossier shows them, and the one that comes next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.audit.actor import Actor
from app.people.rights import Act, lacks, may
from app.release.rules.check_line import short_line
from app.release.rules.facts import PanelFacts
from app.release.rules.gates import address
from app.release.rules.signed import SignatureStanding, signature_standing
from app.release.rules.standing import Standing
from app.release.service import (
    Case,
    is_intact,
    why_not_close,
    why_not_lift,
    why_not_release,
)
from app.tracing.queries.dossier import Name


@dataclass(frozen=True, slots=True)
class SignedDecision:
    """A decision as printed, with whether its signature still stands."""

    number: int
    kind: str
    reason: str
    printed_name: str
    user: str
    at: datetime
    meaning: str
    hash: str
    signature: SignatureStanding
    short_line: str
    """Of the check line that a printed dossier bears, what follows its panel."""


def signed_decisions(
    facts: PanelFacts, names: dict[int, Name], changed: Sequence[str]
) -> list[SignedDecision]:
    """The decisions, newest first; ``changed`` is how the evidence differs from the last one's."""
    return [
        SignedDecision(
            number=made.number,
            kind=made.kind.value,
            reason=made.reason,
            printed_name=made.printed_name,
            user=names[made.decided_by_id].user,
            at=made.decided_at,
            meaning=made.meaning,
            hash=made.evidence_sha256[:12],
            signature=signature_standing(
                facts,
                made.number,
                is_intact=is_intact(facts, made.number),
                changed=changed if made.number == len(facts.decisions) else (),
            ),
            short_line=short_line(facts.code, made),
        )
        for made in reversed(facts.decisions)
    ]


def next_decision(case: Case, by: Actor) -> tuple[str, str | None]:
    """The decision that waits, where it is this visitor's; else whose it is, or why not theirs."""
    decision = f"{address('panel', case.facts.code)}/decision"
    if case.standing is Standing.READY:
        act, why_not = Act.RELEASE_PANEL, why_not_release(case, by)
        label, others = f"Release {case.facts.code}", "An inspector decides next."
    elif case.standing is Standing.RECALLED:
        act, why_not = Act.CLOSE_RECALL, why_not_close(case, by)
        label, decision = "Confirm or withdraw the release", "/recalls"
        others = "A supervisor who had no hand in its readings confirms or withdraws its release."
    else:
        act, why_not = Act.LIFT_HOLD, why_not_lift(case, by)
        label = "Dispose of the hold"
        others = "A supervisor who recorded none of its readings disposes of it next."
    if not may(by, act):
        return lacks(by, act) or others, None
    return (label, decision) if why_not is None else (why_not.sentence, None)
