"""Propose a disposition for a nonconformance, and answer what is proposed, signed.

An answer signs the whole proposal with the evidence it rests on. A later proposal replaces the one
before; a refusal, or evidence that moved, ends a proposal.
"""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.equipment.rules.reports import SentFile
from app.equipment.service.terms import keep_file
from app.errors import Conflict, NotAllowed, Refusal, refuse
from app.panels.records import Panel
from app.panels.service import refuse_final
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import NEEDS, Act, require
from app.release.queries import nonconformances as queries
from app.release.queries.open_nonconformances import open_nonconformances
from app.release.queries.panel_facts import panel_facts
from app.release.records import DispositionProposal, Nonconformance, ProposalAnswer
from app.release.rules.dispositions import (
    DEPARTURES,
    NEEDS_INSTRUCTIONS,
    WHO,
    Capacity,
    ProposalFacts,
    answer_content,
    hands_in,
    proposal_content,
    required,
    why_no_rework,
)
from app.release.rules.facts import DecisionKind, PanelFacts
from app.release.rules.gates import evidence
from app.release.rules.snapshot import snapshot

SHORTEST_WORDS = 10
"""Letters and signs of a reason, of instructions, and of the remark of a refusal."""

ANSWERS = {
    Capacity.QUALITY: Act.ANSWER_AS_QUALITY,
    Capacity.SUPERVISION: Act.ANSWER_AS_SUPERVISION,
    Capacity.DESIGN: Act.ANSWER_AS_DESIGN,
    Capacity.CUSTOMER: Act.ENTER_CUSTOMER_ANSWER,
}
"""The act of answering in a capacity."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """A disposition as a form proposes it."""

    disposition: DecisionKind
    reason: str
    instructions: str


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer as a form sends it. ``seen`` names the proposal that was read."""

    capacity: Capacity
    approves: bool
    remark: str
    document: str
    file: SentFile | None
    seen: str


def seen_of(proposal: ProposalFacts) -> str:
    """What a form carries back, so that an answer is given only to what was read."""
    return f"{proposal.number}-{proposal.evidence_sha256[:16]}"


def propose(
    database: Database, code: str, proposed: Proposed, *, by: Actor, at: datetime, zone: tzinfo
) -> int:
    """Propose a disposition; hands back the proposal's number within its nonconformance.

    Raises:
        NotAllowed: the person is no supervisor or engineer.
        NotFound: no such nonconformance.
        Conflict: it is closed, or another was opened on the panel since.
        Refusal: it is no disposition of a departure, the reason or the instructions are missing,
            or rework would be one thermal treatment too many.
    """
    require(by, Act.PROPOSE_DISPOSITION)
    proposed = _whole(proposed)
    with database.write() as session:
        row, panel, facts = _open(session, code, zone)
        if proposed.disposition is DecisionKind.REWORK:
            why_not = why_no_rework(facts)
            if why_not is not None:
                refuse("disposition", why_not)
        earlier = queries.proposals_of(session, row.code, row.id, panel.code)
        words = proposed.disposition.value
        made = DispositionProposal(
            nonconformance_id=row.id,
            number=len(earlier) + 1,
            disposition=proposed.disposition,
            reason=proposed.reason,
            instructions=proposed.instructions,
            evidence_sha256=_evidence_sha256(facts),
            proposed_by_id=by.id,
            proposed_at=at,
        )
        session.add(made)
        append(
            session,
            Tag.DISPOSITION_PROPOSED,
            by=by,
            at=at,
            about=("nonconformance", row.code),
            rows=[made],
            note=f"{panel.code}, proposal {made.number}: {words}: {proposed.reason}",
        )
        return made.number


def _whole(proposed: Proposed) -> Proposed:
    """The proposal with its words trimmed, if they are all there."""
    if proposed.disposition not in DEPARTURES:
        refuse("disposition", "Choose a disposition of the departure.")
    reason = " ".join(proposed.reason.split())
    instructions = proposed.instructions.strip()
    if len(reason) < SHORTEST_WORDS:
        refuse("reason", f"Give the reason in {SHORTEST_WORDS} signs or more; it is kept.")
    if proposed.disposition in NEEDS_INSTRUCTIONS and len(instructions) < SHORTEST_WORDS:
        refuse(
            "instructions",
            f"Say how the {proposed.disposition.value} is done, in {SHORTEST_WORDS} signs or more.",
        )
    return Proposed(proposed.disposition, reason, instructions)


def answer(
    database: Database,
    code: str,
    answered: Answered,
    *,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Answer the proposal that stands, in one capacity, signed. A refusal ends the proposal.

    Raises:
        NotAllowed: the person may not answer in that capacity, answered in another one already,
            or took, corrected or voided a reading the panel rests on.
        NotFound: no such nonconformance.
        Conflict: another proposal stands, the evidence moved since, or it was answered already.
        Refusal: nobody asked in that capacity, a remark or the customer's letter is missing, or
            the password is wrong.
    """
    require(by, ANSWERS[answered.capacity])
    remark, document = " ".join(answered.remark.split()), " ".join(answered.document.split())
    if not answered.approves and len(remark) < SHORTEST_WORDS:
        refuse("remark", f"Say why it is refused, in {SHORTEST_WORDS} signs or more.")
    if answered.capacity is Capacity.CUSTOMER and (not document or answered.file is None):
        field = "document" if not document else "file"
        refuse(field, "Give the number and day of the customer's letter, and attach its file.")
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        row, panel, facts = _open(session, code, zone)
        proposal, content = _answerable(session, row, facts, answered)
        _check_person(by, facts, proposal)
        digest, kept = keep_file(session, answered.file, at=at)
        content = answer_content(
            content,
            capacity=answered.capacity,
            approves=answered.approves,
            remark=remark,
            document=document,
            document_sha256=digest,
        )
        signature = signing.sign(
            session,
            proof,
            meaning=Meaning.ANSWERED_PROPOSAL,
            content_sha256=paper_sha256(content),
            at=at,
        )
        given = ProposalAnswer(
            proposal_id=proposal.id,
            capacity=answered.capacity,
            approves=answered.approves,
            remark=remark,
            document=document,
            document_sha256=digest,
            answered_by_id=by.id,
            answered_at=at,
            signature_id=signature.id,
            authorisation_id=_entitlement(by, answered.capacity),
        )
        session.add(given)
        word = "approved" if answered.approves else "refused"
        note = (
            f"{panel.code}, proposal {proposal.number}: {proposal.disposition.value} {word} for "
            f"{answered.capacity.value}{': ' if remark else ''}{remark}"
        )
        append(
            session,
            Tag.PROPOSAL_ANSWERED,
            by=by,
            at=at,
            about=("nonconformance", row.code),
            rows=[*kept, signature, given],
            note=note,
        )


def _entitlement(by: Actor, capacity: Capacity) -> int | None:
    """The authorisation that entitles to the capacity; None where the role alone does."""
    act = ANSWERS[capacity]
    return by.authorised[NEEDS[act].value] if act in NEEDS else None


def _open(session: Session, code: str, zone: tzinfo) -> tuple[Nonconformance, Panel, PanelFacts]:
    """The nonconformance, if it is open and the newest of its panel, and the panel's facts."""
    row = queries.nonconformance(session, code)
    newer = queries.overtaken_by(session, row)
    if newer is not None:
        raise Conflict(
            f"{newer} was opened on the same panel after {code}: propose and answer there. Its "
            "disposition disposes of both."
        )
    if not queries.is_open(session, row.id):
        raise Conflict(f"{code} is closed: its panel was decided on. Nothing was recorded.")
    panel = session.get_one(Panel, row.panel_id)
    refuse_final(panel)
    return row, panel, panel_facts(session, [panel.id], zone=zone, in_full=True)[panel.id]


def _answerable(
    session: Session, row: Nonconformance, facts: PanelFacts, answered: Answered
) -> tuple[ProposalFacts, dict[str, object]]:
    """The proposal that stands, if it is the one that was read and can still be answered."""
    proposals = queries.proposals_of(session, row.code, row.id, facts.code)
    if not proposals:
        raise Refusal(f"Nothing has been proposed for {row.code} yet.")
    last = proposals[-1]
    if seen_of(last) != answered.seen:
        raise Conflict(
            f"Proposal {last.number} of {row.code} ({last.disposition.value}) stands now. Your "
            "answer was not recorded; read the page again."
        )
    if last.is_refused:
        raise Conflict(f"Proposal {last.number} of {row.code} was refused: propose anew.")
    if last.evidence_sha256 != _evidence_sha256(facts):
        raise Conflict(
            f"The evidence on {facts.code} changed since proposal {last.number} was made. Your "
            "answer was not recorded; propose the disposition anew."
        )
    asked = queries.customer_asked(session, facts.order_number)
    if answered.capacity not in required(last.disposition, customer_asked=asked):
        refuse(
            "capacity",
            f"{last.disposition.value.capitalize()} is not answered for "
            f"{answered.capacity.value}; choose another capacity.",
        )
    if any(one.capacity is answered.capacity for one in last.answers):
        raise Conflict(
            f"Proposal {last.number} of {row.code} was answered for {answered.capacity.value} "
            "already."
        )
    content = proposal_content(nonconformance=row.code, panel=facts.code, proposal=last)
    return last, content


def _check_person(by: Actor, facts: PanelFacts, proposal: ProposalFacts) -> None:
    """Nobody answers twice, under whatever name, or on readings they had a hand in.

    Whoever proposed it may answer once, as anybody may: every disposition asks for two capacities,
    so that two persons at least sign.
    """
    told = next((a for a in proposal.answers if by.is_person(a.answered_by_id)), None)
    if told is not None:
        raise NotAllowed(
            f"You answered this proposal for {told.capacity.value}, so another person answers it "
            "in any other capacity."
        )
    if by.is_among(hands_in(facts)):
        raise NotAllowed(
            f"You took, corrected or voided readings that {facts.code} rests on, so another "
            "person answers."
        )


def approved_proposal(
    session: Session, panel_id: int, disposition: DecisionKind, facts: PanelFacts
) -> int | None:
    """The id of the approved proposal that the disposition carries out; None for no departure.

    Raises:
        Refusal: there is no open nonconformance, nothing or something else is proposed, or an
            answer is missing; the sentence says who can give it.
    """
    if disposition not in DEPARTURES:
        return None
    opened = open_nonconformances(session, [panel_id]).get(panel_id, ())
    words = disposition.value
    if not opened:
        needed = required(disposition, customer_asked=False)
        who = " and ".join(WHO[capacity] for capacity in Capacity if capacity in needed)
        refuse(
            "disposition",
            f"{words.capitalize()} needs an open nonconformance of {facts.code} with an approved "
            f"proposal. Open one on the panel's page; then {who} answer.",
        )
    newest = opened[-1]
    weighed = queries.weigh(session, newest.code, newest.id, facts)
    last = weighed.last
    if last is None or last.disposition is not disposition:
        instead = "nothing" if last is None else last.disposition.value
        refuse(
            "disposition",
            f"For {newest.code}, {instead} is proposed, not {words}. A supervisor or an engineer "
            "can propose it.",
        )
    if weighed.in_the_way:
        told = " ".join(weighed.in_the_way)
        refuse("disposition", f"{words.capitalize()} under {newest.code} is not approved. {told}")
    return last.id


def _evidence_sha256(facts: PanelFacts) -> str:
    return paper_sha256(snapshot(facts, evidence(facts)))
