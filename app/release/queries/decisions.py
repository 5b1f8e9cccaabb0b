"""What is read about decisions as they were made."""

from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.audit.actor import Actor
from app.panels.records import Decided, Panel, PanelDescent
from app.people.records import Authorisation
from app.people.rights import NEEDS, Act
from app.release.records import Decision
from app.release.rules.facts import DecisionKind

LEAVES: dict[DecisionKind, Decided] = {
    DecisionKind.RELEASED: Decided.RELEASED,
    DecisionKind.NO_DEPARTURE: Decided.OPEN,
    DecisionKind.USE_AS_IS: Decided.USE_AS_IS,
    DecisionKind.REWORK: Decided.REWORK,
    DecisionKind.REPAIR: Decided.REPAIR,
    DecisionKind.RETURNED: Decided.RETURNED,
    DecisionKind.SCRAPPED: Decided.SCRAPPED,
    DecisionKind.CONFIRMED: Decided.RELEASED,
    DecisionKind.WITHDRAWN: Decided.OPEN,
}
"""How each decision leaves a panel's ``decided``."""


def kept_evidence(session: Session, panel_id: int, number: int) -> dict[str, Any]:
    """The evidence as it stood when the panel's decision of that number was signed."""
    kept: dict[str, Any] = session.execute(
        select(Decision.evidence).where(Decision.panel_id == panel_id, Decision.number == number)
    ).scalar_one()
    return kept


def authorised_until(session: Session, by: Actor, act: Act) -> date | None:
    """The last day of the authorisation the person acts under; None where they hold none."""
    key = by.authorised.get(NEEDS[act].value)
    return None if key is None else session.get_one(Authorisation, key).last_day


def misstated(session: Session) -> list[str]:
    """A sentence for each panel whose ``decided`` is not what its last decision says.

    The column only makes lists fast; this recomputes it for every panel.
    """
    later = aliased(Decision)
    last = (
        select(func.max(later.number))
        .where(later.panel_id == Panel.id)
        .correlate(Panel)
        .scalar_subquery()
    )
    replaced = set(session.scalars(select(PanelDescent.parent_id)))
    rows = session.execute(
        select(Panel.id, Panel.code, Panel.decided, Decision.kind)
        .outerjoin(Decision, (Decision.panel_id == Panel.id) & (Decision.number == last))
        .order_by(Panel.id)
    )
    told = []
    for key, code, decided, kind in rows:
        left = Decided.OPEN if kind is None else LEAVES[kind]
        if key in replaced:
            left = Decided.REPLACED
        if decided is not left:
            told.append(
                f"Panel {code} is listed as {decided.value}, but its decisions leave it "
                f"{left.value}: the list was changed from outside."
            )
    return told
