"""The open holds on a thing, for the page that is about it.

Holds stand above most of what they can be placed on, so that their tables are named here by name.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import column, select, table
from sqlalchemy.orm import Session

from app.database import Moment
from app.people.records import Person

_HOLD = table(
    "upstream_hold",
    column("id"),
    column("kind"),
    column("code"),
    column("revision"),
    column("reason"),
    column("placed_by_id"),
    column("placed_at", Moment),
)
_LIFT = table("upstream_hold_lift", column("upstream_hold_id"))


@dataclass(frozen=True, slots=True)
class OpenHold:
    """An open hold as the page of what is held tells it; ``revision`` None: all of it is held."""

    id: int
    revision: str | None
    reason: str
    placed_by: str
    placed_at: datetime


def open_holds_about(session: Session, kind: str, code: str) -> list[OpenHold]:
    """The holds on the thing of that kind that are not lifted, oldest first; one statement."""
    rows = session.execute(
        select(_HOLD.c.id, _HOLD.c.revision, _HOLD.c.reason, Person.full_name, _HOLD.c.placed_at)
        .join(Person, Person.id == _HOLD.c.placed_by_id)
        .outerjoin(_LIFT, _LIFT.c.upstream_hold_id == _HOLD.c.id)
        .where(_HOLD.c.kind == kind, _HOLD.c.code == code, _LIFT.c.upstream_hold_id.is_(None))
        .order_by(_HOLD.c.id)
    )
    return [OpenHold(*row) for row in rows]
