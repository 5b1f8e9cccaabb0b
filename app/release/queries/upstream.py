"""Upstream holds, open and lifted, and the panels that each still holds."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFound
from app.panels.records import (
    IN_USE,
    Decided,
    Hold,
    HoldCause,
    HoldOn,
    Panel,
    UpstreamHold,
    UpstreamHoldLift,
)
from app.people.records import Person
from app.release.queries.links import AnySelect
from app.release.records import HoldLift, Nonconformance


@dataclass(frozen=True, slots=True)
class UpstreamLine:
    """An upstream hold in a list; ``lifted_at``, ``lifted_by`` and ``finding`` once it is lifted.

    ``still_held`` counts the panels that no decision has freed of it.
    """

    id: int
    kind: HoldOn
    code: str
    revision: str | None
    since: datetime | None
    until: datetime | None
    reason: str
    panels_found: int
    placed_by: str
    placed_at: datetime
    lifted_at: datetime | None
    lifted_by: str | None
    finding: str | None
    still_held: int

    @property
    def name(self) -> str:
        """What is held, as spoken."""
        return self.kind.named(self.code, self.revision)


@dataclass(frozen=True, slots=True)
class HeldPanel:
    """A panel with an open hold: its reason, who placed it and when."""

    code: str
    decided: Decided
    reason: str
    placed_by: str
    placed_at: datetime
    cause: HoldCause | None
    upstream_hold_id: int | None

    @property
    def needs(self) -> str:
        """What frees it."""
        if self.decided in IN_USE:
            return "recalled: a supervisor confirms or withdraws its release"
        return "held: a supervisor disposes of the hold"


def upstream_hold(session: Session, hold_id: int) -> UpstreamHold:
    """The upstream hold of that number.

    Raises:
        NotFound: there is none.
    """
    found = session.get(UpstreamHold, hold_id)
    if found is None:
        raise NotFound(f"There is no hold {hold_id}. Open it from the list of holds.")
    return found


def upstream_lines(
    session: Session,
    *,
    open_ones: bool | None = None,
    thing: tuple[HoldOn, str] | None = None,
    hold_id: int | None = None,
    most: int = 100,
) -> list[UpstreamLine]:
    """Upstream holds, newest first; only the open or the lifted, or those on one thing."""
    query = _lines()
    if open_ones is not None:
        lifted = UpstreamHoldLift.id.is_(None)
        query = query.where(lifted if open_ones else ~lifted)
    if thing is not None:
        query = query.where(UpstreamHold.kind == thing[0], UpstreamHold.code == thing[1])
    if hold_id is not None:
        query = query.where(UpstreamHold.id == hold_id)
    rows = session.execute(query.order_by(UpstreamHold.id.desc()).limit(most))
    return [UpstreamLine(*row) for row in rows]


def _lines() -> AnySelect:
    placer, lifter = aliased(Person), aliased(Person)
    still = (
        select(func.count())
        .select_from(Hold)
        .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
        .where(Hold.upstream_hold_id == UpstreamHold.id, HoldLift.id.is_(None))
        .correlate(UpstreamHold)
        .scalar_subquery()
    )
    return (
        select(
            UpstreamHold.id,
            UpstreamHold.kind,
            UpstreamHold.code,
            UpstreamHold.revision,
            UpstreamHold.since,
            UpstreamHold.until,
            UpstreamHold.reason,
            UpstreamHold.panels_found,
            placer.full_name,
            UpstreamHold.placed_at,
            UpstreamHoldLift.lifted_at,
            lifter.full_name,
            UpstreamHoldLift.finding,
            still,
        )
        .join(placer, placer.id == UpstreamHold.placed_by_id)
        .outerjoin(UpstreamHoldLift, UpstreamHoldLift.upstream_hold_id == UpstreamHold.id)
        .outerjoin(lifter, lifter.id == UpstreamHoldLift.lifted_by_id)
    )


def still_held_by(session: Session, hold_id: int, *, most: int = 500) -> list[HeldPanel]:
    """Panels whose hold by that upstream hold is still open, by identity."""
    query = _open_holds().where(Hold.upstream_hold_id == hold_id).order_by(Panel.code)
    return [HeldPanel(*row) for row in session.execute(query.limit(most))]


def open_holds_of(session: Session, panel_id: int) -> list[HeldPanel]:
    """The open holds of one panel, oldest first."""
    query = _open_holds().where(Hold.panel_id == panel_id).order_by(Hold.id)
    return [HeldPanel(*row) for row in session.execute(query)]


def _open_holds() -> AnySelect:
    return (
        select(
            Panel.code,
            Panel.decided,
            Hold.reason,
            Person.full_name,
            Hold.placed_at,
            Hold.cause,
            Hold.upstream_hold_id,
        )
        .join(Panel, Panel.id == Hold.panel_id)
        .join(Person, Person.id == Hold.placed_by_id)
        .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
        .where(HoldLift.id.is_(None))
    )


def nonconformances_of(session: Session, panel_id: int) -> Sequence[str]:
    """The numbers of a panel's nonconformances, oldest first."""
    return session.scalars(
        select(Nonconformance.code)
        .where(Nonconformance.panel_id == panel_id)
        .order_by(Nonconformance.id)
    ).all()
