"""Loads as lists show them; the number of queries does not depend on the number of loads."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.equipment.records import Furnace
from app.loads.queries import current_records, latest_verdicts
from app.loads.records import (
    FurnaceRecord,
    LeakCheck,
    Load,
    LoadCancellation,
    LoadEnd,
    LoadPanel,
    LoadStart,
    Unwrapping,
)
from app.loads.rules import Progress, standing


@dataclass(frozen=True, slots=True)
class LoadLine:
    """A load as lists show it."""

    id: int
    code: str
    furnace_code: str
    planned_start: datetime
    panels: int
    standing: str
    verdict: str | None


def standings(session: Session, load_ids: Sequence[int]) -> dict[int, str]:
    """How far each load has come; seven queries however many loads."""
    panels = _panels_by_load(session, select(LoadPanel.load_id, LoadPanel.panel_id), load_ids)
    last_checks = (
        select(func.max(LeakCheck.id))
        .where(LeakCheck.load_id.in_(load_ids))
        .group_by(LeakCheck.load_id, LeakCheck.panel_id)
    )
    checked = _panels_by_load(
        session,
        select(LeakCheck.load_id, LeakCheck.panel_id)
        .where(LeakCheck.id.in_(last_checks))
        .where(LeakCheck.outcome == "conforms"),
        load_ids,
    )
    unwrapped = _panels_by_load(
        session, select(Unwrapping.load_id, Unwrapping.panel_id).distinct(), load_ids
    )
    started, ended, recorded, cancelled = (
        _loads_in(session, table, load_ids)
        for table in (LoadStart, LoadEnd, FurnaceRecord, LoadCancellation)
    )
    return {
        key: standing(
            Progress(
                panels=frozenset(panels[key]),
                checked=frozenset(checked[key]),
                unwrapped=frozenset(unwrapped[key]),
                started=key in started,
                ended=key in ended,
                recorded=key in recorded,
                cancelled=key in cancelled,
            )
        )
        for key in load_ids
    }


def _loads_in(session: Session, table: Any, load_ids: Sequence[int]) -> set[int]:
    """Those of the loads that a table has a row of."""
    rows = select(table.load_id).where(table.load_id.in_(load_ids)).distinct()
    return set(session.scalars(rows))


def _panels_by_load(session: Session, query: Any, load_ids: Sequence[int]) -> dict[int, set[int]]:
    found: dict[int, set[int]] = {key: set() for key in load_ids}
    table = query.selected_columns[0].table
    for load_id, panel_id in session.execute(query.where(table.c.load_id.in_(load_ids))):
        found[load_id].add(panel_id)
    return found


def load_lines(
    session: Session, *, before: int | None = None, most: int = 30
) -> tuple[list[LoadLine], int | None]:
    """Loads, newest first, from below the key ``before``; and the key to go on from, or None."""
    query = (
        select(Load.id, Load.code, Furnace.code.label("furnace"), Load.planned_start)
        .join(Furnace, Furnace.id == Load.furnace_id)
        .order_by(Load.id.desc())
        .limit(most + 1)
    )
    if before is not None:
        query = query.where(Load.id < before)
    rows = session.execute(query).all()
    shown = rows[:most]
    keys = [row.id for row in shown]
    counts = {
        row.load_id: row.panels
        for row in session.execute(
            select(LoadPanel.load_id, func.count().label("panels"))
            .where(LoadPanel.load_id.in_(keys))
            .group_by(LoadPanel.load_id)
        )
    }
    stands = standings(session, keys)
    current = current_records(session, keys)
    verdicts = latest_verdicts(session, [record.id for record in current.values()])
    lines = [
        LoadLine(
            row.id,
            row.code,
            row.furnace,
            row.planned_start,
            counts.get(row.id, 0),
            stands[row.id],
            verdicts.get(current[row.id].id) if row.id in current else None,
        )
        for row in shown
    ]
    return lines, (keys[-1] if len(rows) > most else None)
