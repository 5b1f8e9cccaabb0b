"""Which revision of a requirement governs a panel, by its order. Pure.

The order selects it, not today: a revision that the order states, or else the newest that was in
force on the order's day; a later one only where the order allows it. A superseded revision still
governs an older order; a withdrawn one governs no new load.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo


@dataclass(frozen=True, slots=True)
class RevisionOnFile:
    """One revision: when a second person let it come into force, and when it was withdrawn."""

    revision: str
    in_force_from: datetime | None
    withdrawn_at: datetime | None

    def in_force_on(self, day: date, zone: tzinfo) -> bool:
        """Whether it was in force on a day of the shop's; the day it came into force is one."""
        if self.in_force_from is None or self.in_force_from.astimezone(zone).date() > day:
            return False
        return self.withdrawn_at is None or self.withdrawn_at.astimezone(zone).date() > day

    def in_force_at(self, at: datetime) -> bool:
        """Whether it is in force at a time; the very moment it comes into force counts."""
        if self.in_force_from is None or at < self.in_force_from:
            return False
        return self.withdrawn_at is None or at < self.withdrawn_at


@dataclass(frozen=True, slots=True)
class OrderSays:
    """What a customer's order on record says of one requirement.

    ``stated`` is the revision it states, with the ``clause`` that does; None: the one in force on
    the day it was ``placed_on``.
    """

    number: str
    placed_on: date
    later_allowed: bool
    stated: str | None = None
    clause: str = ""

    def __str__(self) -> str:
        return f"order {self.number} of {self.placed_on.isoformat()}"


@dataclass(frozen=True, slots=True)
class Governing:
    """The revision that governs, or None; ``reason`` is one sentence: why, or why none."""

    revision: str | None
    reason: str


def governing(
    code: str,
    revisions: Sequence[RevisionOnFile],
    *,
    order: OrderSays | str,
    at: datetime,
    zone: tzinfo,
    chosen: str | None = None,
) -> Governing:
    """The revision of requirement ``code`` that governs a load started at ``at``.

    ``revisions`` are all of the requirement, in the order they were written; the newest is the one
    written last. ``order`` is the panel's, or only its number where it is not on record: then the
    newest in force at ``at`` governs. ``chosen`` is the revision a planner asks for, if any; it
    must be the governing one, or a later one that the order allows. ``zone`` is the shop's.
    """
    if isinstance(order, str):
        found = _without_order(code, revisions, order, at)
    elif order.stated is not None:
        found = _stated(code, revisions, order, order.stated, at)
    else:
        found = _of_the_day(code, revisions, order, at, zone)
    if chosen is None or chosen == found.revision:
        return found
    return _chosen(code, revisions, order, found, chosen=chosen, at=at, zone=zone)


def _without_order(
    code: str, revisions: Sequence[RevisionOnFile], number: str, at: datetime
) -> Governing:
    in_force = [one for one in revisions if one.in_force_at(at)]
    if not in_force:
        return Governing(None, _none_in_force(code, revisions))
    newest = in_force[-1].revision
    whose = f"order {number}" if number else "the order"
    return Governing(
        newest,
        f"{code} revision {newest} governs: {whose} is not on record, and it is the newest in "
        "force at the planned start.",
    )


def _none_in_force(code: str, revisions: Sequence[RevisionOnFile]) -> str:
    newest = revisions[-1]
    why = "nobody has verified it" if newest.in_force_from is None else "it is not in force then"
    return (
        f"{code} has no revision in force at the planned start: its newest is "
        f"{newest.revision}, and {why}. A supervisor who did not write it can verify it."
    )


def _stated(
    code: str,
    revisions: Sequence[RevisionOnFile],
    order: OrderSays,
    stated: str,
    at: datetime,
) -> Governing:
    clause = f" ({order.clause})" if order.clause else ""
    told = f"{order} states it{clause}"
    one = next((one for one in revisions if one.revision == stated), None)
    if one is None or one.in_force_from is None:
        lacks = "is not on record" if one is None else "is not verified"
        return Governing(
            None,
            f"{code} revision {stated} would govern, for {told}, but it {lacks}; have it "
            f"{'written and ' if one is None else ''}verified, or correct what the order states.",
        )
    return _usable(code, one, order, at, told)


def _of_the_day(
    code: str,
    revisions: Sequence[RevisionOnFile],
    order: OrderSays,
    at: datetime,
    zone: tzinfo,
) -> Governing:
    on_the_day = [one for one in revisions if one.in_force_on(order.placed_on, zone)]
    if on_the_day:
        told = f"it is the newest that was in force on the day of {order}"
        return _usable(code, on_the_day[-1], order, at, told)
    now = [one for one in revisions if one.in_force_at(at)]
    if order.later_allowed and now:
        newest = now[-1].revision
        return Governing(
            newest,
            f"{code} revision {newest} governs: none was in force on the day of {order}, which "
            "allows later ones, and it is the newest in force at the planned start.",
        )
    return Governing(
        None,
        f"No revision of {code} was in force on the day of {order}, and it "
        + (
            "allows later ones, but none is in force at the planned start; have one verified."
            if order.later_allowed
            else "allows no later one; have the order state the revision it means."
        ),
    )


def _usable(code: str, one: RevisionOnFile, order: OrderSays, at: datetime, told: str) -> Governing:
    """The revision that the order selects, unless a new load may not use it."""
    if one.in_force_at(at):
        return Governing(one.revision, f"{code} revision {one.revision} governs: {told}.")
    if one.withdrawn_at is not None and at >= one.withdrawn_at:
        way = (
            "choose a later revision, which the order allows"
            if order.later_allowed and order.stated is None
            else "ask the customer, and enter which revision the order states instead"
        )
        return Governing(
            None,
            f"{code} revision {one.revision} would govern, for {told}, but it has been withdrawn "
            f"since and no new load may use it; {way}.",
        )
    return Governing(
        None,
        f"{code} revision {one.revision} would govern, for {told}, but it is not yet in force at "
        "the planned start; start the load later.",
    )


def _chosen(
    code: str,
    revisions: Sequence[RevisionOnFile],
    order: OrderSays | str,
    found: Governing,
    *,
    chosen: str,
    at: datetime,
    zone: tzinfo,
) -> Governing:
    """A revision other than the one that governs: only a later one, where the order allows it."""
    names = [one.revision for one in revisions]
    if chosen not in names:
        return Governing(
            None, f"{code} has no revision {chosen}; it has {', '.join(names)}. Choose one of them."
        )
    one = revisions[names.index(chosen)]
    if isinstance(order, OrderSays) and order.later_allowed and order.stated is None:
        is_later = (
            one.in_force_from is not None
            and one.in_force_from.astimezone(zone).date() > order.placed_on
            and (found.revision is None or names.index(chosen) > names.index(found.revision))
        )
        if is_later and one.in_force_at(at):
            return Governing(
                chosen,
                f"{code} revision {chosen} governs: it is later than the day of {order}, which "
                "allows later revisions, and it was chosen.",
            )
    if found.revision is None:
        return Governing(None, f"{code} revision {chosen} does not govern. {found.reason}")
    return Governing(
        None,
        f"{code} revision {chosen} was chosen and does not govern: {found.reason} Choose revision "
        f"{found.revision}.",
    )
