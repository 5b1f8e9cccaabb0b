"""Put customers' orders on record, and what they state; compose the table of an order."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.documents.table import table_to_json
from app.errors import Conflict, NotFound, Refusal
from app.judging.witness.acceptance import EntryKey, Table
from app.judging.witness.strictest import Composed, Layer, compose
from app.people.rights import Act, require
from app.requirements import order_queries, queries
from app.requirements.order_queries import ORDERED, OrderOnFile
from app.requirements.queries import Revision
from app.requirements.records import CustomerOrder, OrderRequirement, RequirementKind
from app.requirements.service.kinds import Named
from app.requirements.service.writing import write_table


def enter_order(
    database: Database,
    *,
    number: str,
    customer: str,
    placed_on: date,
    later_revisions_allowed: bool,
    rework_needs_customer: bool,
    note: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> str:
    """Put an order on record; its number, as it is kept, comes back.

    ``zone`` is the shop's: an order is placed on a day of the shop's, not after today.

    Raises:
        NotAllowed, Conflict, Refusal: who may; the number is on record; the day is to come.
    """
    require(by, Act.ENTER_ORDER)
    kept = " ".join(number.split())
    if placed_on > at.astimezone(zone).date():
        sentence = f"{placed_on.isoformat()} is still to come; an order is entered once placed."
        raise Refusal(sentence, fields={"placed_on": sentence})
    with database.write() as session:
        if order_queries.orders_on_file(session, [kept]):
            sentence = (
                f"Order {kept} is on record already, and an order is never changed; what it states "
                "of requirements can be entered on its own page."
            )
            raise Conflict(sentence, fields={"number": sentence})
        row = CustomerOrder(
            number=kept,
            customer=" ".join(customer.split()),
            placed_on=placed_on,
            later_revisions_allowed=later_revisions_allowed,
            rework_needs_customer=rework_needs_customer,
            note=note.strip(),
            entered_by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        words = f"placed {placed_on.isoformat()}"
        append(
            session, Tag.ORDER_ENTERED, by=by, at=at, about=("order", kept), rows=[row], note=words
        )
    return kept


def state_requirement(
    database: Database,
    number: str,
    *,
    code: str,
    stated_revision: str | None,
    is_extra: bool,
    clause: str,
    by: Actor,
    at: datetime,
) -> None:
    """Keep what an order says of a table or cycle; what it was said to say before stays readable.

    The revision need not be on record yet: until it is, and verified, nothing can be planned by it.

    Raises:
        NotAllowed, NotFound, Refusal: who may; no such order or requirement; an extra cycle.
    """
    require(by, Act.ENTER_ORDER)
    with database.write() as session:
        found = order_queries.order_on_file(session, number)
        requirement = queries.find_requirement(session, as_code(code))
        if requirement is None or requirement.kind not in ORDERED:
            sentence = f"No acceptance table or cycle {code} is on record; choose one that is."
            raise NotFound(sentence, fields={"code": sentence})
        if is_extra and requirement.kind is not RequirementKind.ACCEPTANCE_TABLE:
            sentence = (
                "Only an acceptance table can be the customer's extra one: two cycles cannot be "
                "run at once. State the cycle that the order asks for."
            )
            raise Refusal(sentence, fields={"is_extra": sentence})
        row = OrderRequirement(
            order_id=found.order.id,
            requirement_id=requirement.id,
            stated_revision=stated_revision,
            is_extra=is_extra,
            clause=clause.strip(),
            entered_by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        which = f"revision {stated_revision}" if stated_revision else "as of the order's day"
        append(
            session,
            Tag.ORDER_CHANGED,
            by=by,
            at=at,
            about=("order", found.order.number),
            rows=[row],
            note=f"{requirement.code} {which}{', extra' if is_extra else ''}",
        )


@dataclass(frozen=True, slots=True)
class TableOfOrder:
    """The composed table, from which layers, and what of the extra ones was left out."""

    table: Table
    layers: tuple[str, ...]
    left_out: tuple[EntryKey, ...]


def compose_for_order(
    session: Session,
    found: OrderOnFile,
    base: str,
    *,
    name: str,
    revision: str,
    at: datetime,
    zone: tzinfo,
) -> TableOfOrder:
    """The base table and the order's extra ones as one paper, each at the revision that governs.

    Raises:
        NotFound, Refusal: no such table; no revision of one governs; the order has no extra table;
            or two of them cannot hold at once.
    """
    extras = found.stated(RequirementKind.ACCEPTANCE_TABLE, extra=True)
    if not extras:
        raise Refusal(
            f"Order {found.order.number} states no extra table; state the customer's first."
        )
    if base in extras:
        sentence = f"{base} is the customer's extra table; choose the shop's own."
        raise Refusal(sentence, fields={"base": sentence})
    layers = [_layer(session, found, code, at=at, zone=zone) for code in (base, *extras)]
    made = Composed(layers[0].table, ())
    left_out: list[EntryKey] = []
    for place, extra in enumerate(layers[1:]):
        # What was composed already carries its layers' names in its sources.
        below = layers[0] if place == 0 else Layer("", made.table)
        made = compose(below, extra, name=name, revision=revision)
        left_out += made.left_out
    return TableOfOrder(made.table, tuple(one.name for one in layers), tuple(left_out))


def compose_table(
    database: Database,
    number: str,
    *,
    base: str,
    code: str,
    name: str,
    revision: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Named:
    """Write the table of an order as a draft, and let the order state it.

    It is keyed again and verified like any other; until then nothing is planned by it.

    Raises:
        NotAllowed, NotFound, Refusal, Conflict: as `compose_for_order` and `write_table`.
    """
    require(by, Act.WRITE_REQUIREMENT)
    require(by, Act.ENTER_ORDER)
    with database.read() as session:
        found = order_queries.order_on_file(session, number)
        made = compose_for_order(
            session, found, as_code(base), name=name, revision=revision, at=at, zone=zone
        )
    source = f"order {number}: {', '.join(made.layers)}, strictest of each"
    named = write_table(
        database,
        code=code,
        paper=json.dumps(table_to_json(made.table)),
        filename=f"the table of order {number}",
        source_document=source[:200],
        by=by,
        at=at,
    )
    state_requirement(
        database,
        number,
        code=named.code,
        stated_revision=named.revision,
        is_extra=False,
        clause=f"composed of {' and '.join(made.layers)}"[:200],
        by=by,
        at=at,
    )
    return named


def _layer(session: Session, found: OrderOnFile, code: str, *, at: datetime, zone: tzinfo) -> Layer:
    known: Sequence[Revision] = queries.named(session, code, kind=RequirementKind.ACCEPTANCE_TABLE)
    revision, why = order_queries.governing_revision(known, found, at=at, zone=zone)
    if revision is None:
        raise Refusal(why.reason)
    return Layer(f"{code} revision {revision.revision}", queries.table_of(revision))
