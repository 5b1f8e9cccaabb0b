"""What is said of a panel ever after: under which nonconformances it was disposed of."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.release.records import Decision, DispositionProposal, Nonconformance
from app.release.rules.departures import departure_note
from app.release.rules.dispositions import DEPARTURES
from app.release.rules.facts import PanelFacts


def departure_notes(session: Session, facts: PanelFacts) -> list[str]:
    """A sentence for each disposition of a departure, in their order; usually none.

    Asks the database only for a panel that has one.
    """
    if not any(made.kind in DEPARTURES for made in facts.decisions):
        return []
    rows = session.execute(
        select(Decision.kind, Decision.evidence, Nonconformance.code)
        .outerjoin(DispositionProposal, DispositionProposal.id == Decision.proposal_id)
        .outerjoin(Nonconformance, Nonconformance.id == DispositionProposal.nonconformance_id)
        .where(Decision.panel_id == facts.id, Decision.kind.in_(DEPARTURES))
        .order_by(Decision.number)
    )
    return [departure_note(row.kind, row.code, row.evidence) for row in rows]
