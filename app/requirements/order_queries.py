"""What is read about customers' orders, and which revisions they select."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.requirements import queries
from app.requirements.queries import Revision
from app.requirements.records import (
    CustomerOrder,
    OrderRequirement,
    Requirement,
    RequirementKind,
)
from app.requirements.rules.governing import Governing, OrderSays, RevisionOnFile, governing

ORDERED = (RequirementKind.ACCEPTANCE_TABLE, RequirementKind.CYCLE)
"""What an order may speak of, and what an order selects the revision of."""


@dataclass(frozen=True, slots=True)
class Statement:
    """What an order says of one requirement. ``stands``: no later statement replaces it."""

    code: str
    kind: RequirementKind
    stated_revision: str | None
    is_extra: bool
    clause: str
    entered_by_id: int
    entered_at: datetime
    stands: bool


@dataclass(frozen=True, slots=True)
class OrderOnFile:
    """An order, and everything it was ever said to state, oldest first."""

    order: CustomerOrder
    statements: tuple[Statement, ...]

    @property
    def standing(self) -> tuple[Statement, ...]:
        """The statements that no later one replaces."""
        return tuple(one for one in self.statements if one.stands)

    def of(self, code: str) -> Statement | None:
        """What it says of one requirement now, or None."""
        return next((one for one in self.standing if one.code == code), None)

    def stated(self, kind: RequirementKind, *, extra: bool) -> tuple[str, ...]:
        """The requirements of a kind that it names as its own, or as the customer's extra ones."""
        return tuple(
            one.code for one in self.standing if one.kind is kind and one.is_extra is extra
        )

    def says_of(self, code: str) -> OrderSays:
        """What selects the revision of one requirement."""
        order, said = self.order, self.of(code)
        return OrderSays(
            order.number,
            order.placed_on,
            order.later_revisions_allowed,
            None if said is None else said.stated_revision,
            "" if said is None else said.clause,
        )


def orders_on_file(session: Session, numbers: Collection[str]) -> dict[str, OrderOnFile]:
    """The orders of these numbers that are on record, by number."""
    found = session.scalars(select(CustomerOrder).where(CustomerOrder.number.in_(numbers))).all()
    said = _statements(session, [order.id for order in found]) if found else {}
    return {order.number: OrderOnFile(order, said.get(order.id, ())) for order in found}


def order_on_file(session: Session, number: str) -> OrderOnFile:
    """One order by its number.

    Raises:
        NotFound: there is none.
    """
    found = orders_on_file(session, [number]).get(number)
    if found is None:
        raise NotFound(f"No order {number} is on record. Check its number, or enter it.")
    return found


def is_on_file(session: Session, number: str) -> bool:
    """Whether an order of that number is on record."""
    return bool(session.scalar(select(exists().where(CustomerOrder.number == number))))


def newest_orders(session: Session, *, most: int, before: int | None = None) -> list[CustomerOrder]:
    """Orders, newest first; ``before`` is the key below which they begin."""
    query = select(CustomerOrder).order_by(CustomerOrder.id.desc()).limit(most)
    if before is not None:
        query = query.where(CustomerOrder.id < before)
    return list(session.scalars(query))


def governing_revision(
    found: Sequence[Revision],
    order: OrderOnFile | str,
    *,
    at: datetime,
    zone: tzinfo,
    chosen: str | None = None,
) -> tuple[Revision | None, Governing]:
    """Which of a requirement's revisions governs by an order, and why or why none.

    ``found`` are all of them, oldest first, at least one; ``order`` is only a number where it is
    not on record.
    """
    code = found[0].code
    on_file = [RevisionOnFile(one.revision, one.in_force_from, one.withdrawn_at) for one in found]
    says = order if isinstance(order, str) else order.says_of(code)
    why = governing(code, on_file, order=says, at=at, zone=zone, chosen=chosen)
    return next((one for one in found if one.revision == why.revision), None), why


def by_code(session: Session, kind: RequirementKind) -> dict[str, list[Revision]]:
    """All revisions of a kind under their codes, oldest first."""
    found: dict[str, list[Revision]] = {}
    for one in queries.revisions(session, kind=kind):
        found.setdefault(one.code, []).append(one)
    return found


def to_state(session: Session) -> list[tuple[str, str]]:
    """What an order may speak of: (identity, words)."""
    rows = session.execute(
        select(Requirement.code, Requirement.kind, Requirement.name)
        .where(Requirement.kind.in_(ORDERED))
        .order_by(Requirement.kind, Requirement.code)
    )
    return [(row.code, f"{row.code}, {row.name} ({row.kind.value})") for row in rows]


def _statements(
    session: Session, order_ids: Collection[int]
) -> Mapping[int, tuple[Statement, ...]]:
    rows = session.execute(
        select(OrderRequirement, Requirement.code, Requirement.kind)
        .join(Requirement, Requirement.id == OrderRequirement.requirement_id)
        .where(OrderRequirement.order_id.in_(order_ids))
        .order_by(OrderRequirement.id)
    ).all()
    last = {(row.order_id, code): row.id for row, code, _ in rows}
    found: dict[int, list[Statement]] = {}
    for row, code, kind in rows:
        found.setdefault(row.order_id, []).append(
            Statement(
                code,
                kind,
                row.stated_revision,
                row.is_extra,
                row.clause,
                row.entered_by_id,
                row.entered_at,
                stands=last[row.order_id, code] == row.id,
            )
        )
    return {key: tuple(several) for key, several in found.items()}
