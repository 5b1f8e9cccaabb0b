"""What a notice to a customer says, drawn from the record, and the drafts that were kept."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal, InvalidOperation
from typing import Any

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFound
from app.panels.records import Hold, Panel
from app.people.records import Person
from app.release.queries.nonconformances import nonconformance, weigh
from app.release.queries.panel_facts import panel_facts
from app.release.records import CustomerNotice, Nonconformance
from app.release.rules.departures import Departure, departures
from app.release.rules.facts import PanelFacts
from app.release.rules.gates import evidence
from app.release.rules.standing import AT_WORK
from app.requirements.records import CustomerOrder

_TAIL_FROM = 12
"""Signs of a figure that no instrument shows."""


@dataclass(frozen=True, slots=True)
class KeptNotice:
    """A draft as it was kept, with the SHA-256 of its content."""

    id: int
    content: dict[str, Any]
    sha256: str
    drafted_by: str
    drafted_at: datetime


def notice_of(session: Session, code: str, *, zone: tzinfo) -> dict[str, Any]:
    """What the record has for a notice: every part but the contact and what is asked.

    Raises:
        NotFound: no such nonconformance.
    """
    row = nonconformance(session, code)
    facts = panel_facts(session, [row.panel_id], zone=zone, in_full=True)[row.panel_id]
    order = session.scalars(
        select(CustomerOrder).where(CustomerOrder.number == facts.order_number)
    ).one_or_none()
    weighed = weigh(session, row.code, row.id, facts)
    last = weighed.last
    return {
        "nonconformance": row.code,
        "customer": "" if order is None else order.customer,
        "order": facts.order_number,
        "drawing": facts.drawing,
        "panel": facts.code,
        "lot": facts.lot_code,
        "cast": facts.cast,
        "loads": [load.code for load in facts.loads],
        "required": row.requirement,
        "departs": row.description,
        "found": [_found(one) for one in departures(facts, evidence(facts))],
        "released": _releases(facts, zone),
        "others": _others(session, row.panel_id),
        "containment": row.containment,
        "proposed": "" if last is None else last.disposition.value,
    }


def _found(departure: Departure) -> dict[str, Any]:
    return {
        "gate": departure.title,
        "text": departure.text,
        "figures": [
            {
                "found": _as_read(one.value),
                "limit": one.limit,
                "unit": one.unit,
                "source": one.source,
                "text": one.text,
            }
            for one in departure.findings
        ],
    }


def _as_read(value: str | float | None) -> str | float | None:
    """A figure without the tail that a binary sum left on it, such as 154.79999999999998."""
    if value is None or len(str(value)) < _TAIL_FROM:
        return value
    try:
        return f"{Decimal(str(value)).quantize(Decimal('0.000001')).normalize():f}"
    except InvalidOperation:
        return value


def _releases(facts: PanelFacts, zone: tzinfo) -> list[dict[str, str]]:
    """The decisions by which the panel went out, in their order."""
    return [
        {
            "decision": made.kind.value,
            "by": made.printed_name,
            "at": made.decided_at.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z"),
        }
        for made in facts.decisions
        if made.kind in AT_WORK
    ]


def _others(session: Session, panel_id: int) -> list[dict[str, str]]:
    """Other panels held for the same thing: by one upstream hold, or by one act of one cause."""
    own, other = aliased(Hold), aliased(Hold)
    same = or_(
        own.upstream_hold_id == other.upstream_hold_id,
        and_(
            own.cause.is_not(None),
            own.upstream_hold_id.is_(None),
            other.cause == own.cause,
            other.reason == own.reason,
            other.placed_at == own.placed_at,
        ),
    )
    rows = session.execute(
        select(Panel.code, Panel.order_number, Panel.decided, other.reason)
        .join(other, other.panel_id == Panel.id)
        .join(own, same)
        .where(own.panel_id == panel_id, other.panel_id != panel_id)
        .order_by(Panel.id, other.id)
    )
    found: dict[str, dict[str, str]] = {}
    for row in rows:
        found.setdefault(
            row.code,
            {
                "panel": row.code,
                "order": row.order_number,
                "decided": row.decided.value,
                "reason": row.reason,
            },
        )
    return list(found.values())


def notices_of(session: Session, nonconformance_id: int) -> list[KeptNotice]:
    """The kept drafts of a nonconformance, newest first."""
    rows = session.execute(_kept().where(CustomerNotice.nonconformance_id == nonconformance_id))
    return [KeptNotice(*row) for row in rows]


def kept_notice(session: Session, code: str, key: int) -> KeptNotice:
    """One kept draft.

    Raises:
        NotFound: the nonconformance has none of that number.
    """
    row = session.execute(
        _kept()
        .join(Nonconformance, Nonconformance.id == CustomerNotice.nonconformance_id)
        .where(CustomerNotice.id == key, Nonconformance.code == code)
    ).one_or_none()
    if row is None:
        raise NotFound(f"No draft {key} of a notice is kept with {code}.")
    return KeptNotice(*row)


def _kept() -> Any:
    return (
        select(
            CustomerNotice.id,
            CustomerNotice.content,
            CustomerNotice.content_sha256,
            Person.full_name,
            CustomerNotice.drafted_at,
        )
        .join(Person, Person.id == CustomerNotice.drafted_by_id)
        .order_by(CustomerNotice.id.desc())
    )
