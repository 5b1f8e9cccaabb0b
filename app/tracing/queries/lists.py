"""Panels in a list, and identities found by their first characters."""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.audit.records import Identity
from app.panels.records import ENDED, IN_USE, UNDECIDED, Decided, Hold, Panel
from app.release.queries.panel_facts import panel_facts
from app.release.records import HoldLift
from app.release.rules.facts import PanelFacts
from app.release.rules.standing import Standing, standing_of

PANELS_SHOWN = 25
_LOOKED_THROUGH = 200
FOUND_SHOWN = 50


@dataclass(frozen=True, slots=True)
class PanelLine:
    """A panel as a list shows it."""

    facts: PanelFacts
    standing: Standing


@dataclass(frozen=True, slots=True)
class PanelPage:
    """A part of the list, newest first; ``before`` asks for the next part, None at the end."""

    lines: tuple[PanelLine, ...]
    before: int | None


def panel_page(
    session: Session, *, zone: tzinfo, standing: Standing | None, before: int | None
) -> PanelPage:
    """Up to 25 panels registered before the panel of id ``before``, newest first.

    With a standing, two hundred panels are looked through at a time, so a part can be short and
    still have a next one. The number of queries does not grow with either.
    """
    most = PANELS_SHOWN if standing is None else _LOOKED_THROUGH
    query = select(Panel.id).order_by(Panel.id.desc()).limit(most + 1)
    if before is not None:
        query = query.where(Panel.id < before)
    if standing is not None:
        query = query.where(Panel.decided.in_(_may_be_left(standing)))
    ids = list(session.scalars(query))
    looked, more = ids[:most], len(ids) > most
    facts = panel_facts(session, looked, zone=zone)
    lines = [PanelLine(facts[key], standing_of(facts[key])) for key in looked]
    if standing is not None:
        lines = [line for line in lines if line.standing is standing]
    if len(lines) > PANELS_SHOWN:
        lines = lines[:PANELS_SHOWN]
        return PanelPage(tuple(lines), lines[-1].facts.id)
    return PanelPage(tuple(lines), looked[-1] if more else None)


def _may_be_left(standing: Standing) -> tuple[Decided, ...]:
    """How the last decision may have left a panel that stands there."""
    if standing is Standing.RECALLED:
        return IN_USE
    if standing.value in set(Decided):
        return (Decided(standing.value),)
    return tuple(left for left in Decided if left not in ENDED)


def undecided(session: Session, *, most: int) -> list[int]:
    """Ids of panels that can be waiting for somebody: not settled, or with an open hold."""
    held = (
        select(Hold.panel_id)
        .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
        .where(HoldLift.id.is_(None))
    )
    return list(
        session.scalars(
            select(Panel.id)
            .where(
                or_(Panel.decided.in_(UNDECIDED), Panel.id.in_(held)), Panel.decided.not_in(ENDED)
            )
            .order_by(Panel.id)
            .limit(most)
        )
    )


@dataclass(frozen=True, slots=True)
class Match:
    """An identity that was found."""

    code: str
    kind: str
    given_at: datetime


def find_identity(session: Session, code: str) -> Match | None:
    """The thing of exactly that identity, or None."""
    found = session.get(Identity, code)
    return None if found is None else Match(found.code, found.kind, found.given_at)


def identities_from(session: Session, start: str, *, after: str | None) -> list[Match]:
    """Identities that begin with ``start``, in order, from behind ``after``: up to 51 of them."""
    query = select(Identity.code, Identity.kind, Identity.given_at).order_by(Identity.code)
    query = query.where(Identity.code.startswith(start, autoescape=True))
    if session.get_bind().dialect.name == "sqlite":
        # SQLite's LIKE does not use the key's index; a range does.
        query = query.where(Identity.code >= start, Identity.code < start + "\uffff")
    if after is not None:
        query = query.where(Identity.code > after)
    return [Match(*row) for row in session.execute(query.limit(FOUND_SHOWN + 1))]


def panels_of(session: Session, codes: list[str], *, zone: tzinfo) -> dict[str, PanelLine]:
    """Panels by identity, of those codes that are panels."""
    ids = list(session.scalars(select(Panel.id).where(Panel.code.in_(codes))))
    facts = panel_facts(session, ids, zone=zone)
    return {one.code: PanelLine(one, standing_of(one)) for one in facts.values()}
