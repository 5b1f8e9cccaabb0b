"""Decisions on panels: hold, release, and the dispositions that lift a hold.

Each is signed by a person who proves themselves again, keeps the evidence as it stood, and stands
only if nobody decided, and nothing in the evidence moved, since the person read it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.verdict import Outcome, Verdict
from app.panels import queries as panels
from app.panels.records import Hold, Panel
from app.people import queries as people
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import Act, require
from app.release.queries.decisions import LEAVES
from app.release.queries.panel_facts import panel_facts
from app.release.records import Decision, HoldLift
from app.release.rules.facts import FINAL, DecisionKind, PanelFacts
from app.release.rules.gates import Gate, evidence, recommend
from app.release.rules.snapshot import signed_content, snapshot
from app.release.rules.standing import Standing, standing_of

SHORTEST_REASON = 10
"""Letters and signs of the reason for a disposition."""
DISPOSITIONS = tuple(kind for kind in DecisionKind if kind is not DecisionKind.RELEASED)
"""What a supervisor can say of a held panel."""


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


def case_of(facts: PanelFacts) -> Case:
    """The evidence, what it recommends and where the panel stands, from the facts alone."""
    gates = tuple(evidence(facts))
    paper = snapshot(facts, gates)
    return Case(facts, gates, recommend(gates), standing_of(facts), paper, paper_sha256(paper))


def place_hold(database: Database, code: str, *, reason: str, by: Actor, at: datetime) -> None:
    """Put a panel on hold, whatever was decided before. Anyone but an auditor may.

    Raises:
        Refusal: no reason, or the panel is scrapped or returned.
    """
    require(by, Act.PLACE_HOLD)
    reason = " ".join(reason.split())
    if not reason:
        sentence = "Say why the panel is to be held; a few words are enough."
        raise Refusal(sentence, fields={"reason": sentence})
    with database.write() as session:
        panel = panels.panel(session, code)
        if panel.decided.value in {kind.value for kind in FINAL}:
            raise Refusal(
                f"{code} was decided as {panel.decided.value}: nothing more is decided on it."
            )
        hold = Hold(panel_id=panel.id, reason=reason, placed_by_id=by.id, placed_at=at)
        session.add(hold)
        append(
            session, Tag.HOLD_PLACED, by=by, at=at, about=("panel", code), rows=[hold], note=reason
        )


def release_panel(
    database: Database,
    code: str,
    *,
    seen: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Release a panel whose every gate conforms, signed by an inspector who took no reading of it.

    Raises:
        Refusal: a gate does not conform (the sentence names them), or the password is wrong.
        NotAllowed: the person is no inspector, or had a hand in the readings.
        Conflict: somebody decided, or the evidence changed, since the page was opened.
    """
    require(by, Act.RELEASE_PANEL)
    proof = signing.re_authenticate(database, by, password=password)
    with database.write() as session:
        panel, case = _open_case(session, code, seen=seen, zone=zone)
        why_not = why_not_release(case, by)
        if why_not is not None:
            raise why_not
        _decide(session, panel, case, proof, kind=DecisionKind.RELEASED, reason="", at=at)


def why_not_release(case: Case, by: Actor) -> Refusal | None:
    """What stands between this inspector and a release; None if nothing does."""
    code = case.facts.code
    if case.standing not in {Standing.READY, Standing.REPAIR} and (
        case.recommendation is Verdict.CONFORMS
    ):
        return Refusal(f"{code} stands at {case.standing.value}: there is nothing to release.")
    if case.recommendation is not Verdict.CONFORMS:
        failing = [gate for gate in case.gates if gate.outcome is not Outcome.CONFORMS]
        told = " ".join(gate.text for gate in failing)
        return Refusal(f"{code} cannot be released. {told}")
    if by.id in case.facts.takers:
        return NotAllowed(
            f"You took readings that {code} rests on, so another inspector decides on it."
        )
    if by.id in case.facts.voiders:
        return NotAllowed(
            f"You asked for or answered a void of readings that {code} rests on, so another "
            "inspector decides on it."
        )
    return None


def lift_hold(
    database: Database,
    code: str,
    *,
    disposition: DecisionKind,
    reason: str,
    seen: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Dispose of a held panel, whether a person or its evidence holds it; lifts all open holds.

    Raises:
        Refusal: the panel is not held, the reason is shorter than ten signs, the disposition does
            not fit the evidence, or the password is wrong.
        NotAllowed: the person is no supervisor, or recorded readings the panel rests on.
        Conflict: somebody decided, or the evidence changed, since the page was opened.
    """
    require(by, Act.LIFT_HOLD)
    reason = " ".join(reason.split())
    if len(reason) < SHORTEST_REASON:
        sentence = f"Give the reason in {SHORTEST_REASON} signs or more; it is kept for good."
        raise Refusal(sentence, fields={"reason": sentence})
    if disposition not in DISPOSITIONS:
        sentence = "Choose a disposition; a release is an inspector's decision."
        raise Refusal(sentence, fields={"disposition": sentence})
    proof = signing.re_authenticate(database, by, password=password)
    with database.write() as session:
        panel, case = _open_case(session, code, seen=seen, zone=zone)
        why_not = why_not_lift(case, by)
        if why_not is not None:
            raise why_not
        _check_disposition(case, disposition)
        _decide(session, panel, case, proof, kind=disposition, reason=reason, at=at)


def why_not_lift(case: Case, by: Actor) -> Refusal | None:
    """What stands between this supervisor and a disposition; None if nothing does."""
    code = case.facts.code
    if case.standing not in {Standing.HELD, Standing.REWORK, Standing.REPAIR}:
        return Refusal(f"{code} stands at {case.standing.value}: there is no hold to lift.")
    if by.id in case.facts.takers:
        return NotAllowed(
            f"You recorded readings that {code} rests on, so another supervisor disposes of it."
        )
    return None


def _check_disposition(case: Case, disposition: DecisionKind) -> None:
    """*No departure found* needs every gate but the hold; the other dispositions need none."""
    if disposition is not DecisionKind.NO_DEPARTURE:
        return
    failing = [
        gate for gate in case.gates if gate.code != "hold" and gate.outcome is not Outcome.CONFORMS
    ]
    if failing:
        told = " ".join(gate.text for gate in failing)
        sentence = f"There is a departure, so it cannot be said that none was found. {told}"
        raise Refusal(sentence, fields={"disposition": "Choose another disposition."})


def _open_case(session: Session, code: str, *, seen: str, zone: tzinfo) -> tuple[Panel, Case]:
    """The panel as it stands now, under the write lock, if it is still as the person saw it."""
    panel = panels.panel(session, code)
    facts = panel_facts(session, [panel.id], zone=zone, in_full=True)[panel.id]
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


def _decide(
    session: Session,
    panel: Panel,
    case: Case,
    proof: signing.Proof,
    *,
    kind: DecisionKind,
    reason: str,
    at: datetime,
) -> None:
    """Sign, keep the decision with its evidence, lift what is held, and enter it on the trail."""
    last = case.facts.last_decision
    number = last.number + 1 if last else 1
    content = signed_content(
        panel=panel.code,
        number=number,
        kind=kind,
        reason=reason,
        evidence_sha256=case.evidence_sha256,
    )
    released = kind is DecisionKind.RELEASED
    signature = signing.sign(
        session,
        proof,
        meaning=Meaning.RELEASED if released else Meaning.DISPOSED,
        content_sha256=paper_sha256(content),
        at=at,
    )
    decision = Decision(
        panel_id=panel.id,
        number=number,
        kind=kind,
        reason=reason,
        evidence=case.snapshot,
        evidence_sha256=case.evidence_sha256,
        signature_id=signature.id,
        decided_by_id=proof.by.id,
        decided_at=at,
    )
    session.add(decision)
    session.flush()
    lifts = [HoldLift(hold_id=hold.id, decision_id=decision.id) for hold in case.facts.open_holds]
    session.add_all(lifts)
    panel.decided = LEAVES[kind]
    tag = Tag.PANEL_RELEASED if released else Tag.HOLD_LIFTED if lifts else Tag.PANEL_DISPOSED
    rows: Sequence[Base] = [signature, decision, *lifts, panel]
    note = kind.value if released else f"{kind.value}: {reason}"
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
