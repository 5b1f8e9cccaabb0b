"""What is read about a load's run and bags: start and end, cancelling, leak checks, finds."""

from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.loads.bags.bag import LastCheck
from app.loads.queries import goes_ahead
from app.loads.records import (
    FurnaceRecord,
    LeakCheck,
    Load,
    LoadCancellation,
    LoadEnd,
    LoadStart,
    LotException,
    Photograph,
)


def load_start(session: Session, load_id: int) -> LoadStart | None:
    """When the door was closed on the load, as it was entered; None before."""
    return session.scalars(select(LoadStart).where(LoadStart.load_id == load_id)).one_or_none()


def load_end(session: Session, load_id: int) -> LoadEnd | None:
    """When the load was taken out, as it was entered; None before."""
    return session.scalars(select(LoadEnd).where(LoadEnd.load_id == load_id)).one_or_none()


def cancellation(session: Session, load_id: int) -> LoadCancellation | None:
    """The load's cancelling; None where it goes ahead."""
    return session.scalars(
        select(LoadCancellation).where(LoadCancellation.load_id == load_id)
    ).one_or_none()


def last_checks(session: Session, load_id: int) -> dict[int, LastCheck]:
    """The leak check that stands, by panel; one query."""
    rows = session.execute(
        select(LeakCheck.panel_id, LeakCheck.outcome, LeakCheck.taken_at)
        .where(LeakCheck.load_id == load_id)
        .order_by(LeakCheck.id)
    )
    return {row.panel_id: LastCheck(row.outcome, row.taken_at) for row in rows}


def furnace_taken(
    session: Session, furnace_id: int, *, start: datetime, end: datetime | None
) -> list[str]:
    """Loads in the furnace, or planned for it, in the span; those taken out or recorded are not."""
    out = select(LoadEnd.load_id)
    recorded = select(FurnaceRecord.load_id)
    # A load without a declared end counts at its start only.
    busy_until = func.coalesce(Load.planned_end, Load.planned_start)
    query = (
        select(Load.code)
        .where(Load.furnace_id == furnace_id, goes_ahead(Load.id))
        .where(Load.id.not_in(out), Load.id.not_in(recorded))
        .where(busy_until > start, Load.planned_start < (end or start))
        .order_by(Load.id)
    )
    return list(session.scalars(query))


def photograph(session: Session, load_id: int, key: int) -> tuple[bytes, str, str] | None:
    """A photograph's bytes, media type and file name; None where the load has no such one."""
    row = session.execute(
        select(Photograph.content, Photograph.media_type, Photograph.file_name).where(
            Photograph.id == key, Photograph.load_id == load_id
        )
    ).one_or_none()
    return None if row is None else (row.content, row.media_type, row.file_name)


def find_exception(session: Session, coupon_id: int, panel_id: int) -> LotException | None:
    """The signed exception for a coupon of another lot on a panel; None where there is none."""
    return session.scalars(
        select(LotException).where(
            LotException.coupon_id == coupon_id, LotException.panel_id == panel_id
        )
    ).one_or_none()
