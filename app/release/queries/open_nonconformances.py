"""Which nonconformances of panels are open. Panels' facts ask this, and ask for nothing more."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import case, exists, select
from sqlalchemy.orm import Session, aliased

from app.panels.records import Panel
from app.people.records import Person
from app.release.records import Decision, DispositionProposal, Nonconformance
from app.release.rules.facts import DecisionKind, NonconformanceFacts

_closing, _carried, _disposed = (
    aliased(Decision),
    aliased(DispositionProposal),
    aliased(Nonconformance),
)
_CARRIED_OUT = exists().where(
    _closing.proposal_id == _carried.id,
    _carried.nonconformance_id == _disposed.id,
    _disposed.panel_id == Nonconformance.panel_id,
    _disposed.id >= Nonconformance.id,
)
"""A disposition disposes of the panel: it closes what was opened on it before, too."""
_cleared = aliased(Decision)
_NOT_FOUND = exists().where(
    _cleared.panel_id == Nonconformance.panel_id,
    _cleared.kind == DecisionKind.NO_DEPARTURE,
    _cleared.decided_at >= Nonconformance.opened_at,
)
IS_OPEN = ~_CARRIED_OUT & ~_NOT_FOUND
"""Nothing has carried out its disposition, and nobody found that nothing departed."""


def open_nonconformances(
    session: Session, panel_ids: Iterable[int]
) -> dict[int, tuple[NonconformanceFacts, ...]]:
    """The open nonconformances by panel id, oldest first; panels without one are left out."""
    found: dict[int, tuple[NonconformanceFacts, ...]] = {}
    rows = session.execute(
        select_nonconformances()
        .where(Nonconformance.panel_id.in_(list(panel_ids)), IS_OPEN)
        .order_by(Nonconformance.id)
    )
    for row in rows:
        found[row.panel_id] = (*found.get(row.panel_id, ()), facts_of(row))
    return found


def select_nonconformances() -> Any:
    """Every nonconformance, with its panel and who opened it, as :func:`facts_of` takes them."""
    return (
        select(
            Nonconformance.id,
            Nonconformance.code,
            Nonconformance.description,
            Nonconformance.opened_by_id,
            Nonconformance.opened_at,
            Nonconformance.panel_id,
            case((IS_OPEN, 1), else_=0).label("is_open"),
            Panel.code.label("panel"),
            Person.full_name.label("opened_by"),
        )
        .join(Panel, Panel.id == Nonconformance.panel_id)
        .join(Person, Person.id == Nonconformance.opened_by_id)
    )


def facts_of(row: Any) -> NonconformanceFacts:
    """One of these rows as the gates know it."""
    return NonconformanceFacts(
        id=row.id,
        code=row.code,
        description=row.description,
        opened_by_id=row.opened_by_id,
        opened_at=row.opened_at,
        is_open=bool(row.is_open),
    )
