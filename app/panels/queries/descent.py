"""What is read about panels that came from panels: by division, or under a new mark."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import bindparam, literal, select
from sqlalchemy.orm import Session

from app.panels.records import ENDED, Decided, Descent, Panel, PanelDescent
from app.people.records import Person

_KEYS: Any = bindparam("keys", expanding=True)


def _lines_up() -> Any:
    """Each panel asked about with everything it came from, and how many steps up that is."""
    step = (
        select(PanelDescent.panel_id, PanelDescent.parent_id, literal(1).label("steps"))
        .where(PanelDescent.panel_id.in_(_KEYS))
        .cte("lines_up", recursive=True)
    )
    onward = select(step.c.panel_id, PanelDescent.parent_id, step.c.steps + 1).join(
        PanelDescent, PanelDescent.panel_id == step.c.parent_id
    )
    step = step.union_all(onward)
    return select(step.c.panel_id, step.c.parent_id).order_by(step.c.steps.desc())


def _lines_down() -> Any:
    """Everything that came from the panels asked about."""
    step = (
        select(PanelDescent.parent_id.label("first_id"), PanelDescent.panel_id)
        .where(PanelDescent.parent_id.in_(_KEYS))
        .cte("lines_down", recursive=True)
    )
    onward = select(step.c.first_id, PanelDescent.panel_id).join(
        step, PanelDescent.parent_id == step.c.panel_id
    )
    step = step.union_all(onward)
    return select(step.c.first_id, step.c.panel_id).order_by(step.c.panel_id)


_UP, _DOWN = _lines_up(), _lines_down()


def forebears(session: Session, panel_ids: Iterable[int]) -> dict[int, tuple[int, ...]]:
    """What each panel came from, the first of them first, by panel; one statement.

    Panels that came from no other are left out.
    """
    found: dict[int, tuple[int, ...]] = {}
    for panel_id, parent_id in session.connection().execute(_UP, {"keys": list(panel_ids)}):
        found[panel_id] = (*found.get(panel_id, ()), parent_id)
    return found


def with_heirs(session: Session, panel_ids: Collection[int]) -> set[int]:
    """The panels and everything that came from them; one statement."""
    keys = list(panel_ids)
    return {*keys, *(row.panel_id for row in session.execute(_DOWN, {"keys": keys}))}


def heirs(session: Session, panel_ids: Collection[int]) -> dict[int, tuple[int, ...]]:
    """Everything that came of each panel, by panel; panels of which none came are left out."""
    found: dict[int, tuple[int, ...]] = {}
    for row in session.execute(_DOWN, {"keys": list(panel_ids)}):
        found[row.first_id] = (*found.get(row.first_id, ()), row.panel_id)
    return found


def came_to(standing: Collection[Decided]) -> Any:
    """Selects the keys of panels of which something came that was decided so, at any remove."""
    step = (
        select(PanelDescent.parent_id)
        .join(Panel, Panel.id == PanelDescent.panel_id)
        .where(Panel.decided.in_(standing))
        .cte("came_to", recursive=True)
    )
    onward = select(PanelDescent.parent_id).join(step, step.c.parent_id == PanelDescent.panel_id)
    return select(step.union(onward).c.parent_id)


_LIVES_ON = came_to([one for one in Decided if one not in ENDED])


def lives_on(session: Session, panel_ids: Collection[int]) -> set[int]:
    """Those of the replaced panels of which something came that is not ended; one statement."""
    if not panel_ids:
        return set()
    return set(
        session.scalars(select(Panel.id).where(Panel.id.in_(panel_ids) & Panel.id.in_(_LIVES_ON)))
    )


@dataclass(frozen=True, slots=True)
class Came:
    """One step of descent as a page tells it: the other panel, how, why, and who signed it when."""

    code: str
    decided: Decided
    kind: Descent
    reason: str
    by: str
    at: datetime
    length_mm: Decimal
    width_mm: Decimal


def _came(near: Any, far: Any) -> Any:
    return (
        select(
            Panel.code,
            Panel.decided,
            PanelDescent.kind,
            PanelDescent.reason,
            Person.full_name,
            PanelDescent.at,
            Panel.length_mm,
            Panel.width_mm,
        )
        .join(Panel, Panel.id == far)
        .join(Person, Person.id == PanelDescent.by_id)
        .where(near == bindparam("key"))
        .order_by(PanelDescent.id)
    )


_PARENT = _came(PanelDescent.panel_id, PanelDescent.parent_id)
_CHILDREN = _came(PanelDescent.parent_id, PanelDescent.panel_id)


def came_from(session: Session, panel_id: int) -> Came | None:
    """The panel that this one came from; None where it was cut from its lot."""
    row = session.execute(_PARENT, {"key": panel_id}).one_or_none()
    return None if row is None else Came(*row)


def came_of(session: Session, panel_id: int) -> list[Came]:
    """The panels that came of this one, in the order marked."""
    return [Came(*row) for row in session.execute(_CHILDREN, {"key": panel_id})]
