"""A customer's order with its panels, and what governs them."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.loads import queries as loads
from app.loads.records import Load, LoadPanel
from app.panels.records import Panel
from app.requirements.order_queries import (
    ORDERED,
    OrderOnFile,
    by_code,
    governing_revision,
    order_on_file,
)
from app.requirements.records import RequirementKind

MOST_PANELS = 200


@dataclass(frozen=True, slots=True)
class Governs:
    """One table or cycle: the revision that would govern a load today, or None, and why."""

    code: str
    kind: RequirementKind
    name: str
    revision: str | None
    reason: str
    is_named: bool
    """Whether the order says something of it."""


@dataclass(frozen=True, slots=True)
class PanelOfOrder:
    """A panel, and each load it was planned into with why its cycle and table govern it."""

    code: str
    decided: str
    loads: tuple[tuple[str, str | None], ...]


@dataclass(frozen=True, slots=True)
class OrderSheet:
    """Everything that the page of an order shows; ``more`` panels are not listed."""

    on_file: OrderOnFile
    governs: tuple[Governs, ...]
    panels: tuple[PanelOfOrder, ...]
    more: bool


def order_sheet(session: Session, number: str, *, at: datetime, zone: tzinfo) -> OrderSheet:
    """An order by its number, as it stands at a time.

    Raises:
        NotFound: it is not on record.
    """
    on_file = order_on_file(session, number)
    rows = session.execute(
        select(Panel.id, Panel.code, Panel.decided)
        .where(Panel.order_number == number)
        .order_by(Panel.id.desc())
        .limit(MOST_PANELS + 1)
    ).all()
    shown = rows[:MOST_PANELS]
    seats = _seats(session, [row.id for row in shown])
    return OrderSheet(
        on_file,
        tuple(_governs(session, on_file, at=at, zone=zone)),
        tuple(
            PanelOfOrder(row.code, row.decided.value, tuple(seats.get(row.id, ()))) for row in shown
        ),
        more=len(rows) > MOST_PANELS,
    )


def _governs(
    session: Session, on_file: OrderOnFile, *, at: datetime, zone: tzinfo
) -> list[Governs]:
    """What the order states first, then every other table and cycle."""
    found = []
    for kind in ORDERED:
        for code, several in by_code(session, kind).items():
            _, why = governing_revision(several, on_file, at=at, zone=zone)
            is_named = on_file.of(code) is not None
            name = several[-1].name
            found.append(Governs(code, kind, name, why.revision, why.reason, is_named))
    return sorted(found, key=lambda one: not one.is_named)


def _seats(session: Session, panel_ids: list[int]) -> dict[int, list[tuple[str, str | None]]]:
    rows = session.execute(
        select(LoadPanel.panel_id, LoadPanel.governed, Load.code)
        .join(Load, Load.id == LoadPanel.load_id)
        .where(LoadPanel.panel_id.in_(panel_ids), loads.goes_ahead(Load.id))
        .order_by(LoadPanel.id)
    )
    found: dict[int, list[tuple[str, str | None]]] = {}
    for panel_id, governed, code in rows:
        found.setdefault(panel_id, []).append((code, _reason(governed)))
    return found


def _reason(governed: dict[str, Any] | None) -> str | None:
    return None if governed is None else str(governed["reason"])
