"""Recall panels in use where what was decided of their load has turned; inside that decision."""

from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.judging.verdict import Verdict
from app.loads.records import FurnaceRecord, Load, LoadPanel, RecordVerdict, Unwrapping
from app.panels.service import recall


def recall_by_record(
    session: Session,
    load: Load,
    former: FurnaceRecord | None,
    verdict: str,
    *,
    by: Actor,
    at: datetime,
) -> None:
    """Recall the load's panels in use where its record conformed and the new judgement does not.

    ``former`` is the record that stood before; called before the new verdict is added. One that
    conforms, and a load's first, cost no query.
    """
    if former is None or verdict == Verdict.CONFORMS.value:
        return
    before = session.scalar(
        select(RecordVerdict.verdict)
        .where(RecordVerdict.record_id == former.id)
        .order_by(RecordVerdict.id.desc())
        .limit(1)
    )
    if before != Verdict.CONFORMS.value:
        return
    panels = session.scalars(select(LoadPanel.panel_id).where(LoadPanel.load_id == load.id)).all()
    words = verdict.replace("_", " ")
    reason = f"The furnace record of load {load.code} conformed and was judged anew: {words}."
    recall(session, panels, reason=reason, by=by, at=at)


def recall_by_unwrapping(
    session: Session, load: Load, row: Unwrapping, *, by: Actor, at: datetime
) -> None:
    """Recall the panel, if it is in use, where an earlier unwrapping found better than this one.

    Called before ``row`` is added.
    """
    before = session.scalars(
        select(Unwrapping)
        .where(Unwrapping.load_id == load.id, Unwrapping.panel_id == row.panel_id)
        .order_by(Unwrapping.id.desc())
        .limit(1)
    ).one_or_none()
    worse = [] if before is None else list(_worse(before, row))
    if worse:
        reason = f"The unwrapping from load {load.code} was corrected: {'; '.join(worse)}."
        recall(session, [row.panel_id], reason=reason, by=by, at=at)


def _worse(before: Unwrapping, now: Unwrapping) -> Iterator[str]:
    if before.bag_intact and not now.bag_intact:
        yield "the bag was not intact"
    if before.surface_clear and not now.surface_clear:
        yield "the surface was not found clear"
    if _fits(before) and not _fits(now):
        yield "the contour is not shown to be within its limit"


def _fits(found: Unwrapping) -> bool:
    gap, limit = found.contour_gap_mm, found.contour_limit_mm
    return gap is not None and limit is not None and gap <= limit
