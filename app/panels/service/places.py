"""Decisions about places: one is registered, a panel is brought to one."""

from datetime import datetime

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import NotFound, Refusal
from app.panels import queries
from app.panels.records import Place, Whereabouts
from app.panels.rules import one_line
from app.people.rights import Act, require


def register_place(
    database: Database, *, code: str, name: str, is_quarantine: bool, by: Actor, at: datetime
) -> str:
    """Put a place with a mark of its own on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_PLACE)
    if not one_line(name):
        sentence = "Say in words where it is, such as: cage by the west door."
        raise Refusal(sentence, fields={"name": sentence})
    with database.write() as session:
        row = Place(
            code=as_code(code),
            name=one_line(name),
            is_quarantine=is_quarantine,
            registered_by_id=by.id,
            registered_at=at,
        )
        identity = claim(session, row.code, kind="place", at=at)
        session.flush()
        session.add(row)
        append(
            session,
            Tag.PLACE_REGISTERED,
            by=by,
            at=at,
            about=("place", row.code),
            rows=[identity, row],
            note=f"{row.name}{', quarantine' if is_quarantine else ''}",
        )
        return row.code


def bring_panel(
    database: Database, *, panel: str, place: str, by: Actor, at: datetime
) -> tuple[str, str]:
    """Keep that a panel was brought to a place; hands back both identities.

    Any panel may be brought, a scrapped one too: it stands somewhere until it is gone.

    Raises:
        NotAllowed: the person moves no panels.
        NotFound: what was scanned is no panel, or no place (fields ``panel``, ``place``).
    """
    require(by, Act.BRING_PANEL)
    with database.write() as session:
        try:
            found = queries.panel(session, panel.strip().upper())
        except NotFound as fault:
            raise NotFound(fault.sentence, fields={"panel": fault.sentence}) from None
        try:
            where = queries.place(session, place.strip().upper())
        except NotFound as fault:
            raise NotFound(fault.sentence, fields={"place": fault.sentence}) from None
        row = Whereabouts(
            panel_id=found.id, place_id=where.id, by_id=by.id, brought_at=at, entered_at=at
        )
        session.add(row)
        append(
            session,
            Tag.PANEL_BROUGHT,
            by=by,
            at=at,
            about=("panel", found.code),
            rows=[row],
            note=f"to {where.code}, {where.name}",
        )
        return found.code, where.code
