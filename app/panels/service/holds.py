"""Holds that the program places itself, inside the decision that calls for them."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.panels.records import Decided, Hold, HoldCause, Panel

_ENDED = (Decided.SCRAPPED, Decided.RETURNED)


def put_on_hold(
    session: Session,
    panel_ids: Collection[int],
    *,
    reason: str,
    cause: HoldCause,
    by: Actor,
    at: datetime,
) -> list[str]:
    """Put panels on hold and hand back their identities; part of a deciding transaction.

    A panel that is scrapped or returned has nothing left to hold.
    """
    panels = session.scalars(
        select(Panel)
        .where(Panel.id.in_(panel_ids), Panel.decided.not_in(_ENDED))
        .order_by(Panel.code)
    ).all()
    for panel in panels:
        hold = Hold(panel_id=panel.id, reason=reason, cause=cause, placed_by_id=by.id, placed_at=at)
        session.add(hold)
        about = ("panel", panel.code)
        append(session, Tag.HOLD_PLACED, by=by, at=at, about=about, rows=[hold], note=reason)
    return [panel.code for panel in panels]
