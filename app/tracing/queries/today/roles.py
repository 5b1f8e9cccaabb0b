"""A desk for each role. Each function asks a fixed number of times."""

from collections.abc import Callable
from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.people.rights import Role
from app.release.rules.gates import address
from app.tracing.queries import waiting
from app.tracing.queries.today import floor, lots, panels, papers, training
from app.tracing.queries.today.desk import Asking, Desk, Waiting, in_order, once
from app.tracing.queries.trail_review import review_due

_DECISIONS_SHOWN = 10

_Lines = tuple[list[Waiting], list[str]]


def desks(session: Session, by: Actor, *, now: datetime, zone: tzinfo) -> list[Desk]:
    """A desk for each role the person holds, in the order of the roles."""
    asking = Asking(session, by, now, zone)
    held = [role for role in Role if role.value in by.roles]
    found = []
    for role in held:
        tasks, asides = _DESKS[role](asking)
        mine, lacked = training.own(asking, role, is_first=role is held[0])
        if role is held[0]:
            mine += panels.own_actions(asking)
        lines = [*mine, *tasks] if role is Role.AUDITOR else in_order([*tasks, *mine])
        found.append(Desk(role.value, tuple(lines), (*asides, *lacked)))
    return once(found)


def _inspector(asking: Asking) -> _Lines:
    tasks, asides = panels.to_release(asking)
    tasks += floor.under_way(asking) + floor.records(asking) + floor.unwrappings(asking)
    tasks += floor.coupons(asking) + floor.sessions(asking)
    tasks += panels.scrap(asking) + papers.to_key(asking)
    return tasks, asides


def _supervisor(asking: Asking) -> _Lines:
    tasks, asides = panels.held(asking)
    tasks += panels.departures(asking) + panels.actions(asking) + panels.scrap(asking)
    tasks += panels.upstream_holds(asking)
    tasks += floor.troubles(asking) + floor.voids(asking) + floor.corrections(asking)
    tasks += lots.corrections(asking)
    tasks += papers.to_key(asking) + papers.to_verify(asking) + papers.reviews(asking)
    tasks += papers.out_of_use(asking)
    tasks += training.of_others(asking) + _trail_review(asking)
    return tasks, asides


def _engineer(asking: Asking) -> _Lines:
    tasks = papers.equipment_due(asking) + papers.reviews(asking) + floor.planned(asking)
    tasks += panels.departures(asking) + panels.actions(asking) + panels.scrap(asking)
    return tasks + papers.to_key(asking) + lots.corrections(asking), []


def _auditor(asking: Asking) -> _Lines:
    """The trail to be checked and reviewed, and the newest decisions, which wait for nobody."""
    tasks = _trail_review(asking)
    head = waiting.trail_head(asking.session)
    if head is not None:
        sentence = f"Check the trail: {head.number} entries against every record."
        tasks.append(Waiting("Trail", sentence, "/trail/check", head.at, urgent=True))
    decided = [
        Waiting(
            name=row.code,
            sentence=f"{row.kind.value.capitalize()}, by {asking.names[row.decided_by_id]}.",
            href=address("panel", row.code),
            since=row.decided_at,
        )
        for row in waiting.latest_decisions(asking.session, most=_DECISIONS_SHOWN)
    ]
    return [*in_order(tasks), *decided], []


def _trail_review(asking: Asking) -> list[Waiting]:
    due = review_due(asking.session, asking.now)
    if due is None:
        return []
    said = "Nobody has reviewed it yet" if due.last is None else "It was not reviewed for a week"
    sentence = f"{said}: read what stands out and sign the review."
    return [Waiting("Trail", sentence, "/trail/review", due.since)]


def _administrator(asking: Asking) -> _Lines:
    active = [one for one in asking.everybody if one.active]
    without = sum(not one.roles for one in active)
    sentence = f"{len(active)} accounts can sign in; {without} of them hold no role."
    return [Waiting("People", sentence, "/people", None), *training.of_others(asking)], []


_DESKS: dict[Role, Callable[[Asking], _Lines]] = {
    Role.INSPECTOR: _inspector,
    Role.SUPERVISOR: _supervisor,
    Role.ENGINEER: _engineer,
    Role.AUDITOR: _auditor,
    Role.ADMINISTRATOR: _administrator,
}
