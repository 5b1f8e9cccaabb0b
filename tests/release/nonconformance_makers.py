"""An approved proposal for a panel, as plain rows: what a review of it would have written."""

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.audit.records import Identity
from app.database import Database, paper_sha256
from app.panels.records import Panel
from app.people.records import Meaning, Person, Signature
from app.release.queries.panel_facts import panel_facts
from app.release.records import DispositionProposal, Nonconformance, ProposalAnswer
from app.release.rules.dispositions import (
    Capacity,
    ProposalFacts,
    answer_content,
    proposal_content,
    required,
)
from app.release.rules.facts import DecisionKind
from app.release.service import case_of
from tests.makers import NOW, bind, password_hash

UTC = ZoneInfo("UTC")
_NAMES = {
    Capacity.QUALITY: "Tove Aldane",
    Capacity.SUPERVISION: "Ibo Renn",
    Capacity.DESIGN: "Priya Hsu",
    Capacity.CUSTOMER: "Sana Whitlock",
}


def approved(
    database: Database,
    panel: Panel,
    *dispositions: DecisionKind,
    at: datetime = NOW,
    zone: ZoneInfo = UTC,
) -> str:
    """Have each disposition answered by people who have nothing else to do with the panel.

    Hands back the code of the nonconformance. Of several dispositions the last one stands.
    """
    with database.write() as session:
        count = session.scalar(select(func.count(Nonconformance.id))) or 0
        code = f"N-2026-{count + 1:04d}"
        opened = Nonconformance(
            code=code,
            panel_id=panel.id,
            description="A departure, invented for the tests.",
            requirement="Invented drawing, note 1.",
            containment="Kept apart.",
            evidence={},
            evidence_sha256=paper_sha256({}),
            opened_by_id=_person(session, Capacity.CUSTOMER),
            opened_at=at,
        )
        bind(session, Identity(code=code, kind="nonconformance", given_at=at), opened)
        facts = panel_facts(session, [panel.id], zone=zone, in_full=True)[panel.id]
        evidence_sha256 = case_of(facts).evidence_sha256
        for number, disposition in enumerate(dispositions, start=1):
            proposal = DispositionProposal(
                nonconformance_id=opened.id,
                number=number,
                disposition=disposition,
                reason="Reviewed, invented for the tests.",
                instructions="As the invented sheet says.",
                evidence_sha256=evidence_sha256,
                proposed_by_id=opened.opened_by_id,
                proposed_at=at,
            )
            bind(session, proposal)
            _answer(session, code, facts.code, proposal, at)
    return code


def _answer(
    session: Session, code: str, panel: str, proposal: DispositionProposal, at: datetime
) -> None:
    facts = ProposalFacts(
        id=proposal.id,
        number=proposal.number,
        disposition=proposal.disposition,
        reason=proposal.reason,
        instructions=proposal.instructions,
        evidence_sha256=proposal.evidence_sha256,
        proposed_by_id=proposal.proposed_by_id,
        proposed_at=at,
        answers=(),
    )
    proposed = proposal_content(nonconformance=code, panel=panel, proposal=facts)
    for capacity in _in_order(required(proposal.disposition, customer_asked=False)):
        content = answer_content(
            proposed,
            capacity=capacity,
            approves=True,
            remark="",
            document="",
            document_sha256=None,
        )
        person_id = _person(session, capacity)
        signature = Signature(
            person_id=person_id,
            printed_name=_NAMES[capacity],
            meaning=Meaning.ANSWERED_PROPOSAL,
            signed_at=at,
            content_sha256=paper_sha256(content),
        )
        bind(session, signature)
        given = ProposalAnswer(
            proposal_id=proposal.id,
            capacity=capacity,
            approves=True,
            remark="",
            document="",
            document_sha256=None,
            answered_by_id=person_id,
            answered_at=at,
            signature_id=signature.id,
            authorisation_id=None,
        )
        bind(session, given)


def _in_order(capacities: Iterable[Capacity]) -> list[Capacity]:
    return sorted(capacities)


def _person(session: Session, capacity: Capacity) -> int:
    """The account of the person who answers in that capacity; added where it is not there."""
    username = capacity.name.lower()
    found = session.scalars(select(Person.id).where(Person.username == username)).one_or_none()
    if found is not None:
        return found
    person = Person(
        username=username,
        full_name=_NAMES[capacity],
        roles=[],
        password_hash=password_hash(),
        active=True,
        added_at=NOW,
    )
    bind(session, person, about=("person", username))
    return person.id
