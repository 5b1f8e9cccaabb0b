"""A panel as it is put before the person who decides, and the one way a decision is kept."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench.queries.papers_since import spoken_since_judged
from app.bench.service.verdicts import judge_again, moved
from app.database import Base, Database, paper_sha256
from app.errors import Conflict, Refusal
from app.judging.verdict import Outcome, Verdict
from app.panels import queries as panels
from app.panels.records import Panel
from app.people import queries as people
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import NEEDS, Act
from app.release.queries.decisions import LEAVES, authorised_until
from app.release.queries.panel_facts import panel_facts
from app.release.records import Decision, HoldLift
from app.release.rules.facts import DecisionKind, HoldFacts, PanelFacts
from app.release.rules.gates import Gate, evidence, recommend
from app.release.rules.snapshot import signed_content, snapshot, with_hands
from app.release.rules.standing import Standing, standing_of
from app.release.service.hands import hands

SHORTEST_REASON = 10
"""Letters and signs of the reason for a disposition, or for closing a recall."""


@dataclass(frozen=True, slots=True)
class Case:
    """A panel as it is put before the person who decides.

    ``seen`` names the last decision and the evidence; a form carries it back, so that a decision is
    made only on what was read.
    """

    facts: PanelFacts
    gates: tuple[Gate, ...]
    recommendation: Verdict
    standing: Standing
    snapshot: dict[str, Any]
    evidence_sha256: str

    @property
    def seen(self) -> str:
        """Number of the last decision and digest of the evidence."""
        last = self.facts.last_decision
        return f"{last.number if last else 0}-{self.evidence_sha256[:16]}"

    def failing(self, *, but: frozenset[str] = frozenset()) -> list[Gate]:
        """The gates that do not conform, those of the codes ``but`` left out."""
        return [
            gate
            for gate in self.gates
            if gate.code not in but and gate.outcome is not Outcome.CONFORMS
        ]


def case_of(facts: PanelFacts) -> Case:
    """The evidence, what it recommends and where the panel stands, from the facts alone."""
    gates = tuple(evidence(facts))
    paper = snapshot(facts, gates)
    return Case(facts, gates, recommend(gates), standing_of(facts), paper, paper_sha256(paper))


def needed_reason(reason: str) -> str:
    """The reason without needless spaces.

    Raises:
        Refusal: it is shorter than ten signs.
    """
    reason = " ".join(reason.split())
    if len(reason) < SHORTEST_REASON:
        sentence = f"Give the reason in {SHORTEST_REASON} signs or more; it is kept for good."
        raise Refusal(sentence, fields={"reason": sentence})
    return reason


class VerdictMoved(Conflict):
    """What verdicts of coupons rest on has changed since they were judged; ``coupons`` says whose.

    Nothing is decided on such a verdict.
    """

    def __init__(self, code: str, coupons: Sequence[tuple[int, str]]) -> None:
        self.coupons = [key for key, _ in coupons]
        one = len(coupons) == 1
        super().__init__(
            f"What the verdict{'' if one else 's'} on {', '.join(name for _, name in coupons)} "
            f"rest{'s' if one else ''} on has changed since {'it was' if one else 'they were'} "
            f"judged. {'It has' if one else 'They have'} been judged again now. Your decision on "
            f"{code} was not recorded; read the evidence list again."
        )


@contextmanager
def deciding(database: Database, *, by: Actor, at: datetime, zone: tzinfo) -> Iterator[Session]:
    """A deciding session for decisions on panels.

    Where one would rest on a verdict that has moved, it is undone and the coupons judged again.
    """
    try:
        with database.write() as session:
            yield session
    except VerdictMoved as stale:
        with database.write() as session:
            judge_again(session, stale.coupons, by=by, at=at, zone=zone)
        raise


def open_case(session: Session, code: str, *, seen: str, zone: tzinfo) -> tuple[Panel, Case]:
    """The panel as it stands now, under the write lock, if it is still as the person saw it.

    Raises:
        NotFound: there is no such panel.
        VerdictMoved: a paper spoke since a coupon was judged, and its verdict rests on that.
        Conflict: somebody decided, or the evidence changed, since.
    """
    panel = panels.panel(session, code)
    facts = panel_facts(session, [panel.id], zone=zone, in_full=True)[panel.id]
    _refuse_moved(session, facts, zone)
    case = case_of(facts)
    if seen == case.seen:
        return panel, case
    last = facts.last_decision
    if last is not None and not seen.startswith(f"{last.number}-"):
        name = people.names(session)[last.decided_by_id]
        when = last.decided_at.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")
        raise Conflict(
            f"{name} decided on {code} at {when} while you were reading: {last.kind.value}. Your "
            "decision was not recorded; read the page again."
        )
    raise Conflict(
        f"The evidence on {code} changed while you were reading. Your decision was not recorded; "
        "read the evidence list again."
    )


def _refuse_moved(session: Session, facts: PanelFacts, zone: tzinfo) -> None:
    """Pass where the panel's verdicts rest on the records as they are; mostly one statement."""
    names = {coupon.id: coupon.code for coupon in facts.concerned_coupons}
    if spoken_since_judged(session, names):
        stale = moved(session, list(names), zone=zone)
        if stale:
            raise VerdictMoved(facts.code, [(key, names[key]) for key in stale])


@dataclass(frozen=True, slots=True)
class _Way:
    """How a kind of decision is signed and entered; ``lifts`` whether it ends the open holds."""

    act: Act
    meaning: Meaning
    tag: Tag
    lifts: bool = True


_DISPOSED = _Way(Act.LIFT_HOLD, Meaning.DISPOSED, Tag.PANEL_DISPOSED)
_WAYS = {
    DecisionKind.RELEASED: _Way(Act.RELEASE_PANEL, Meaning.RELEASED, Tag.PANEL_RELEASED),
    DecisionKind.CONFIRMED: _Way(
        Act.CLOSE_RECALL, Meaning.CONFIRMED_RELEASE, Tag.RELEASE_CONFIRMED
    ),
    DecisionKind.WITHDRAWN: _Way(
        Act.CLOSE_RECALL, Meaning.WITHDREW_RELEASE, Tag.RELEASE_WITHDRAWN, lifts=False
    ),
}


def decide(
    session: Session,
    panel: Panel,
    case: Case,
    proof: signing.Proof,
    *,
    kind: DecisionKind,
    reason: str,
    at: datetime,
    carries_out: int | None = None,
) -> None:
    """Sign, keep the decision with its evidence and why the person might, lift what is held.

    Part of a deciding transaction; ``carries_out`` is the approved proposal of a departure.
    """
    way = _WAYS.get(kind, _DISPOSED)
    last = case.facts.last_decision
    number = last.number + 1 if last else 1
    until = authorised_until(session, proof.by, way.act)
    paper = with_hands(case.snapshot, hands(case.facts, proof.by, way.act, until=until))
    kept = paper_sha256(paper)
    content = signed_content(
        panel=panel.code, number=number, kind=kind, reason=reason, evidence_sha256=kept
    )
    signature = signing.sign(
        session, proof, meaning=way.meaning, content_sha256=paper_sha256(content), at=at
    )
    decision = Decision(
        panel_id=panel.id,
        number=number,
        kind=kind,
        reason=reason,
        evidence=paper,
        evidence_sha256=kept,
        signature_id=signature.id,
        decided_by_id=proof.by.id,
        decided_at=at,
        proposal_id=carries_out,
        authorisation_id=proof.by.authorised.get(NEEDS[way.act].value),
    )
    session.add(decision)
    session.flush()
    held: Sequence[HoldFacts] = case.facts.open_holds if way.lifts else ()
    lifts = [HoldLift(hold_id=hold.id, decision_id=decision.id) for hold in held]
    session.add_all(lifts)
    panel.decided = LEAVES[kind]
    tag = Tag.HOLD_LIFTED if lifts and way is _DISPOSED else way.tag
    rows: Sequence[Base] = [signature, decision, *lifts, panel]
    note = f"{kind.value}: {reason}" if reason else kind.value
    append(session, tag, by=proof.by, at=at, about=("panel", panel.code), rows=rows, note=note)


def is_intact(facts: PanelFacts, number: int) -> bool:
    """Whether the signature of that decision still covers exactly what the decision says."""
    made = next(decision for decision in facts.decisions if decision.number == number)
    content = signed_content(
        panel=facts.code,
        number=number,
        kind=made.kind,
        reason=made.reason,
        evidence_sha256=made.evidence_sha256,
    )
    return paper_sha256(content) == made.signed_sha256
