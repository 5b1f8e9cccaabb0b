"""What waits for a person, by role, as sentences with a link; fixed numbers of queries."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.bench.queries import indents_used
from app.equipment.queries import BoardLine, due_board, waiting_reports
from app.equipment.rules import DueState
from app.judging.verdict import Outcome
from app.loads.trouble_queries import open_troubles
from app.loads.under_way import loads_under_way
from app.people.rights import Role
from app.release.queries.panel_facts import panel_facts
from app.release.rules.facts import CouponFacts, LoadFacts
from app.release.rules.gates import address
from app.release.rules.standing import Standing, awaits_bench
from app.release.service import Case, case_of, why_not_lift, why_not_release
from app.tracing.queries import lists, waiting
from app.tracing.queries.dossier import Name, people_by_id
from app.tracing.rules import kind_words

_MOST_PANELS = 400
_DECISIONS_SHOWN = 10
_MOST_ALONE = 6
"""More alike tasks than this are one line, with a way to the list of them."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing that waits: what it is about, a sentence, where to do it, and since when.

    An urgent one comes before all that are not; then the oldest comes first.
    """

    name: str
    sentence: str
    href: str
    since: datetime
    urgent: bool = False
    standing: str | None = None
    due: date | None = None
    """The calendar day it is due, for what has one; then no time of day is shown."""


@dataclass(frozen=True, slots=True)
class Desk:
    """What waits for one role, with sentences on what somebody else has to do."""

    role: str
    tasks: tuple[Task, ...]
    asides: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Asking:
    session: Session
    by: Actor
    now: datetime
    zone: tzinfo
    names: dict[int, Name]
    cases: tuple[Case, ...]


def desks(session: Session, by: Actor, *, now: datetime, zone: tzinfo) -> list[Desk]:
    """A desk for each role the person holds, in the order of the roles."""
    held = [role for role in Role if role.value in by.roles]
    cases: tuple[Case, ...] = ()
    if {Role.INSPECTOR, Role.SUPERVISOR} & set(held):
        ids = lists.undecided(session, most=_MOST_PANELS)
        facts = panel_facts(session, ids, zone=zone)
        cases = tuple(case_of(facts[key]) for key in ids)
    asking = _Asking(session, by, now, zone, people_by_id(session), cases)
    return [_DESKS[role](asking) for role in held]


def _desk(role: Role, tasks: Iterable[Task], asides: Iterable[str] = ()) -> Desk:
    ordered = sorted(tasks, key=lambda task: (not task.urgent, task.since, task.name))
    return Desk(role.value, tuple(ordered), tuple(asides))


def _inspector(asking: _Asking) -> Desk:
    tasks, asides = [], []
    for case in asking.cases:
        if case.standing is Standing.READY:
            if why_not_release(case, asking.by) is None:
                tasks.append(_to_decide(case))
            else:
                asides.append(
                    f"{case.facts.code} is ready to decide, by another inspector: you had a hand "
                    "in its readings."
                )
    tasks += _under_way(asking) + _records(asking) + _unwrappings(asking)
    tasks += _coupons(asking) + _sessions(asking)
    return _desk(Role.INSPECTOR, tasks, asides)


def _to_decide(case: Case) -> Task:
    facts = case.facts
    return Task(
        name=facts.code,
        sentence="Every gate conforms: read the evidence and decide.",
        href=f"{address('panel', facts.code)}/decision",
        since=facts.round_loads[-1].starts_at,
        standing=case.standing.value,
    )


def _under_way(asking: _Asking) -> list[Task]:
    """Loads that are made ready or in the furnace."""
    return [
        Task(
            name=one.code,
            sentence=one.sentence,
            href=f"{address('load', one.code)}/{one.step}",
            since=one.since,
            standing=one.standing,
        )
        for one in loads_under_way(asking.session, now=asking.now, zone=asking.zone)
    ]


def _records(asking: _Asking) -> list[Task]:
    """Loads whose record could be there: they have started and the shortest soak has gone by."""
    return [
        Task(
            name=row.code,
            sentence=f"Load in {row.furnace}: its furnace record has not been imported.",
            href=f"{address('load', row.code)}/record",
            since=row.planned_start,
        )
        for row in waiting.loads_without_record(asking.session)
        if row.planned_start + _shortest_run(row.cycle) <= asking.now
    ]


def _shortest_run(cycle: dict[str, Any]) -> timedelta:
    """The shortest soaks of all stages together: no run of the cycle is over sooner."""
    return timedelta(seconds=sum(float(stage["soak_min_s"]) for stage in cycle["stages"]))


def _unwrappings(asking: _Asking) -> list[Task]:
    return [
        Task(
            name=row.code,
            sentence=(
                f"{row.panels} panel{'s' if row.panels != 1 else ''} to unwrap: bag, surface "
                "search and coupons."
            ),
            href=f"{address('load', row.code)}/unwrapping",
            since=row.since,
        )
        for row in waiting.loads_to_unwrap(asking.session)
    ]


def _coupons(asking: _Asking) -> list[Task]:
    """Coupons that wait for the bench or for a laboratory's result, two lines a load at most."""
    by_load: dict[tuple[str, str], tuple[LoadFacts, list[str]]] = {}
    for case in asking.cases:
        for load in case.facts.round_loads:
            if load.unwrapping is None:
                continue
            for coupon in load.coupons:
                if awaits_bench(coupon):
                    words = "Laboratory results" if _awaits_laboratory(coupon) else "Coupons"
                    by_load.setdefault((load.code, words), (load, []))[1].append(coupon.code)
    return [
        Task(
            name=code,
            sentence=(
                f"Coupons to measure: {', '.join(codes)}."
                if words == "Coupons"
                else f"Laboratory results to enter: {', '.join(codes)}."
            ),
            href="/bench" if words == "Coupons" else address("coupon", codes[0]),
            since=load.starts_at,
        )
        for (code, words), (load, codes) in by_load.items()
    ]


def _awaits_laboratory(coupon: CouponFacts) -> bool:
    """Whether nothing is missing but a test that no tester at the bench makes."""
    missing = {
        finding.code.split(".")[0]
        for finding in coupon.findings
        if finding.outcome is Outcome.NOT_PROVEN and finding.code.endswith(".readings")
    }
    return bool(missing) and not missing & {"hardness", "conductivity"} and not coupon.provisional


def _sessions(asking: _Asking) -> list[Task]:
    """Bench sessions without a closing check; those of others are said to be theirs."""
    tasks = []
    for row in waiting.open_sessions(asking.session):
        mine = row.operator_id == asking.by.id
        whose = "Your session" if mine else f"The session of {asking.names[row.operator_id].full}"
        tasks.append(
            Task(
                name=row.tester,
                sentence=f"{whose} at {row.tester} has no closing check: its readings are "
                "provisional.",
                href=f"/bench/sessions/{row.id}",
                since=row.opened_at,
                urgent=mine,
            )
        )
    return tasks


def _supervisor(asking: _Asking) -> Desk:
    tasks, asides = [], []
    for case in asking.cases:
        if case.standing is not Standing.HELD:
            continue
        if why_not_lift(case, asking.by) is None:
            tasks.append(_held(case))
        else:
            asides.append(
                f"{case.facts.code} is held, for another supervisor: you recorded its readings."
            )
    tasks += _troubles(asking) + _voids(asking) + _corrections(asking)
    tasks += _unverified(asking) + _reviews(asking)
    tasks += _equipment_due(asking, only=DueState.OUT_OF_USE)
    return _desk(Role.SUPERVISOR, tasks, asides)


def _held(case: Case) -> Task:
    facts = case.facts
    holds = facts.open_holds
    why = [gate.title for gate in case.gates if gate.outcome.value != "conforms"]
    return Task(
        name=facts.code,
        sentence=f"On hold: {holds[0].reason}" if holds else f"Held by: {', '.join(why)}.",
        href=f"{address('panel', facts.code)}/decision",
        since=holds[0].placed_at if holds else facts.round_loads[-1].starts_at,
        standing=case.standing.value,
    )


def _troubles(asking: _Asking) -> list[Task]:
    """Coupons reported as missing, unmarked or doubled, by somebody else."""
    return [
        Task(
            name=one.about or one.load,
            sentence=f"{one.words}, panel {one.panel}, reported by {one.reported_by}: decide.",
            href=f"/troubles/{one.id}",
            since=one.reported_at,
            urgent=True,
        )
        for one in open_troubles(asking.session)
        if one.reported_by_id != asking.by.id
    ]


def _voids(asking: _Asking) -> list[Task]:
    """Voids this person may answer: neither asked by them nor of their own reading."""
    return [
        Task(
            name=row.code,
            sentence=f"{asking.names[row.asked_by_id].full} asks to void a reading: "
            f"{row.cause.value}.",
            href=address("coupon", row.code),
            since=row.asked_at,
        )
        for row in waiting.voids_open(asking.session)
        if asking.by.id not in {row.asked_by_id, row.taken_by_id}
    ]


def _corrections(asking: _Asking) -> list[Task]:
    """Corrections this person may approve: of coupons of which they took no reading."""
    return [
        Task(
            name=row.code,
            sentence=f"{asking.names[row.asked_by_id].full} asks to correct a reading from "
            f"{row.value} to {row.right} {row.unit}, which turns its result.",
            href=address("coupon", row.code),
            since=row.asked_at,
        )
        for row in waiting.corrections_open(asking.session, for_id=asking.by.id)
    ]


def _unverified(asking: _Asking) -> list[Task]:
    return [
        Task(
            name=row.code,
            sentence=f"{row.kind.value.capitalize()} {row.code} revision {row.revision} by "
            f"{asking.names[row.written_by_id].full} waits for a second person.",
            href=address(row.kind.value.replace(" ", "_"), row.code),
            since=row.written_at,
        )
        for row in waiting.revisions_unverified(asking.session)
        if row.written_by_id != asking.by.id
    ]


def _reviews(asking: _Asking) -> list[Task]:
    """Reports that wait for a second person, and were not entered by this one."""
    waiting_for = [
        one for one in waiting_reports(asking.session) if one.entered_by_id != asking.by.id
    ]
    if len(waiting_for) > _MOST_ALONE:
        sentence = f"{len(waiting_for)} reports wait for a second person."
        return [Task("Reviews", sentence, "/reviews", waiting_for[0].entered_at)]
    return [
        Task(
            name=one.about[1],
            sentence=f"The {one.words} waits for a second person.",
            href=one.href,
            since=one.entered_at,
        )
        for one in waiting_for
    ]


def _engineer(asking: _Asking) -> Desk:
    tasks = [*_equipment_due(asking), *_reviews(asking)]
    tasks += [
        Task(
            name=row.code,
            sentence=f"Load planned in {row.furnace}.",
            href=address("load", row.code),
            since=row.planned_start,
        )
        for row in waiting.loads_without_record(asking.session)
        if row.planned_start > asking.now
    ]
    return _desk(Role.ENGINEER, tasks)


def _equipment_due(asking: _Asking, *, only: DueState | None = None) -> list[Task]:
    """What the due board lists, save what only waits for review; many sensors in one line."""
    at = asking.now.astimezone(asking.zone)
    board = due_board(asking.session, at=at, used=indents_used(asking.session))
    wanted = [line for line in board if line.due.state is not DueState.WAITING]
    lines = [line for line in wanted if only in {None, line.due.state}]
    sensors = [line for line in lines if line.kind == "sensor"]
    if len(sensors) > _MOST_ALONE:
        lines = [line for line in lines if line.kind != "sensor"]
    tasks = [_due_task(line, line.code, _due_words(line), line.href, at) for line in lines]
    if len(sensors) > _MOST_ALONE:
        words = f"{len(sensors)} sensors need a certificate, now or soon."
        tasks.append(_due_task(sensors[0], "Sensors", words, "/equipment/due", at))
    return tasks


def _due_words(line: BoardLine) -> str:
    return f"The {line.paper} of {kind_words(line.kind)} {line.code}: {line.due.words}."


def _due_task(line: BoardLine, name: str, sentence: str, href: str, at: datetime) -> Task:
    last = line.due.due_on or at.date()
    return Task(
        name=name,
        sentence=sentence,
        href=href,
        since=datetime.combine(last, time(), tzinfo=UTC),
        due=line.due.due_on,
        urgent=line.due.state is not DueState.DUE_SOON,
    )


def _auditor(asking: _Asking) -> Desk:
    """The newest decisions first, and the trail to be checked."""
    head = waiting.trail_head(asking.session)
    tasks = [
        Task(
            name=row.code,
            sentence=f"{row.kind.value.capitalize()}, by {asking.names[row.decided_by_id].full}.",
            href=address("panel", row.code),
            since=row.decided_at,
        )
        for row in waiting.latest_decisions(asking.session, most=_DECISIONS_SHOWN)
    ]
    if head is not None:
        sentence = f"Check the trail: {head.number} entries against every record."
        tasks.insert(0, Task("Trail", sentence, "/trail/check", head.at, urgent=True))
    return Desk(Role.AUDITOR.value, tuple(tasks))


def _administrator(asking: _Asking) -> Desk:
    active, without = waiting.accounts(asking.session)
    sentence = f"{active} accounts can sign in; {without} of them hold no role."
    return _desk(Role.ADMINISTRATOR, [Task("People", sentence, "/people", asking.now)])


_DESKS: dict[Role, Callable[[_Asking], Desk]] = {
    Role.INSPECTOR: _inspector,
    Role.SUPERVISOR: _supervisor,
    Role.ENGINEER: _engineer,
    Role.AUDITOR: _auditor,
    Role.ADMINISTRATOR: _administrator,
}
