"""What holds leave to be seen and done: where a panel is kept, and held ones not kept apart."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session, aliased

from app.panels.queries import Stand, history_of
from app.panels.records import ENDED, Hold, Panel, Place, Whereabouts
from app.release.queries.upstream import HeldPanel, open_holds_of
from app.release.records import HoldLift

MOST = 100


@dataclass(frozen=True, slots=True)
class NotKeptApart:
    """A held panel, since when, and the place it stands at (None: never brought to one)."""

    code: str
    since: datetime
    place: str | None


@dataclass(frozen=True, slots=True)
class Keeping:
    """What holds a panel now, oldest first, and where it was brought, newest first."""

    holds: list[HeldPanel]
    history: list[Stand]


def keeping_of(session: Session, panel_id: int) -> Keeping:
    """The open holds of a panel and the places it stood at; two statements."""
    return Keeping(open_holds_of(session, panel_id), history_of(session, panel_id))


def not_kept_apart(session: Session, *, most: int = MOST) -> list[NotKeptApart]:
    """Held panels that stand in no quarantine place, longest held first; one statement.

    None while no quarantine place is on record: there is nowhere to bring them.
    """
    other = aliased(Whereabouts)
    newest = select(func.max(other.id)).where(other.panel_id == Panel.id).scalar_subquery()
    since = func.min(Hold.placed_at)
    rows = session.execute(
        select(Panel.code, since, Place.code)
        .join(Hold, Hold.panel_id == Panel.id)
        .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
        .outerjoin(Whereabouts, Whereabouts.id == newest)
        .outerjoin(Place, Place.id == Whereabouts.place_id)
        .where(
            HoldLift.id.is_(None),
            Panel.decided.not_in(ENDED),
            func.coalesce(Place.is_quarantine, False).is_(False),
            exists(select(Place.id).where(Place.is_quarantine.is_(True)).correlate(None)),
        )
        .group_by(Panel.id, Panel.code, Place.code)
        .order_by(since, Panel.code)
        .limit(most)
    )
    return [NotKeptApart(*row) for row in rows]
