"""What is read about places: what stands where, and where a panel stood."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFound
from app.panels.records import Decided, Panel, Place, Whereabouts
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class Stand:
    """A panel at a place: who brought it there, and when."""

    panel_id: int
    panel: str
    decided: Decided
    place: str
    place_name: str
    is_quarantine: bool
    by: str
    brought_at: datetime


_BROUGHT = (
    select(
        Panel.id,
        Panel.code,
        Panel.decided,
        Place.code.label("place"),
        Place.name,
        Place.is_quarantine,
        Person.full_name,
        Whereabouts.brought_at,
    )
    .join(Whereabouts, Whereabouts.panel_id == Panel.id)
    .join(Place, Place.id == Whereabouts.place_id)
    .join(Person, Person.id == Whereabouts.by_id)
)


def find_place(session: Session, code: str) -> Place | None:
    """The place of that identity, or None."""
    return session.scalars(select(Place).where(Place.code == code)).one_or_none()


def place(session: Session, code: str) -> Place:
    """The place of that identity.

    Raises:
        NotFound: there is none.
    """
    found = find_place(session, code)
    if found is None:
        raise NotFound(f"No place {code} is on record. Scan the place's own mark, or register it.")
    return found


def places(session: Session) -> Sequence[Place]:
    """All places, by identity."""
    return session.scalars(select(Place).order_by(Place.code)).all()


def where_stand(session: Session, panel_ids: Collection[int]) -> dict[int, Stand]:
    """Where panels stand now, those that were ever brought to a place; one statement."""
    rows = session.execute(_BROUGHT.where(Panel.id.in_(panel_ids), _is_last()))
    return {row.id: Stand(*row) for row in rows}


def where_are(session: Session, codes: Collection[str]) -> dict[str, Stand | None]:
    """Where the panels of these identities stand, None where never brought; others are left out."""
    keys = dict(session.execute(select(Panel.code, Panel.id).where(Panel.code.in_(codes))).all())
    stands = where_stand(session, keys.values())
    return {code: stands.get(key) for code, key in keys.items()}


def standing_at(session: Session, place_id: int) -> list[Stand]:
    """The panels that stand at a place now, by identity."""
    rows = session.execute(_BROUGHT.where(Place.id == place_id, _is_last()).order_by(Panel.code))
    return [Stand(*row) for row in rows]


def history_of(session: Session, panel_id: int) -> list[Stand]:
    """Where a panel was brought, newest first."""
    rows = session.execute(_BROUGHT.where(Panel.id == panel_id).order_by(Whereabouts.id.desc()))
    return [Stand(*row) for row in rows]


def _is_last() -> ColumnElement[bool]:
    other = aliased(Whereabouts)
    newest = select(func.max(other.id)).where(other.panel_id == Panel.id).scalar_subquery()
    return Whereabouts.id == newest
