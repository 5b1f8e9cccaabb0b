"""Holds placed inside the decision that calls for them."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.errors import Conflict
from app.panels.queries import Used, why_held, with_heirs
from app.panels.records import ENDED, IN_USE, Hold, HoldCause, HoldOn, Panel


def hold_panel(
    session: Session,
    panel_id: int,
    code: str,
    *,
    reason: str,
    by: Actor,
    at: datetime,
    cause: HoldCause | None = None,
    upstream_hold_id: int | None = None,
) -> None:
    """Put one panel on hold, whatever stands with it; part of a deciding transaction.

    ``cause`` is None where a person places it of their own accord.
    """
    hold = Hold(
        panel_id=panel_id,
        reason=reason,
        cause=cause,
        upstream_hold_id=upstream_hold_id,
        placed_by_id=by.id,
        placed_at=at,
    )
    session.add(hold)
    append(session, Tag.HOLD_PLACED, by=by, at=at, about=("panel", code), rows=[hold], note=reason)


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

    A panel that is scrapped or returned has nothing left to hold; for one that was replaced the
    panels that came of it are held.
    """
    panels = session.scalars(
        select(Panel)
        .where(Panel.id.in_(with_heirs(session, panel_ids)), Panel.decided.not_in(ENDED))
        .order_by(Panel.code)
    ).all()
    for panel in panels:
        hold_panel(session, panel.id, panel.code, reason=reason, cause=cause, by=by, at=at)
    return [panel.code for panel in panels]


def recall(
    session: Session, panel_ids: Collection[int], *, reason: str, by: Actor, at: datetime
) -> list[str]:
    """Recall those of the panels that are in use, because their evidence changed; hand back which.

    Part of the deciding transaction that changed it. One that the same decision has put on hold
    for another cause is recalled by that already.
    """
    held_just_now = exists().where(Hold.panel_id == Panel.id, Hold.placed_at == at)
    in_use = session.scalars(
        select(Panel.id).where(
            Panel.id.in_(with_heirs(session, panel_ids)),
            Panel.decided.in_(IN_USE),
            ~held_just_now,
        )
    ).all()
    if not in_use:
        return []
    cause = HoldCause.EVIDENCE_CHANGED
    return put_on_hold(session, in_use, reason=reason, cause=cause, by=by, at=at)


def refuse_held(
    session: Session, kind: HoldOn, code: str, *, at: datetime, fields: dict[str, str] | None = None
) -> None:
    """Pass if no hold on the instrument or block is open; part of a deciding transaction.

    Raises:
        Conflict: one is; says who placed it and why; ``fields`` go with it.
    """
    held = why_held(session, [Used(kind, code, at, at)])
    if held:
        raise Conflict(held[0].words, fields=fields)
