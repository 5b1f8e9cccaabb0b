"""Authorisations that run out, ran out, or that a role asks for and its holder lacks."""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time
from urllib.parse import quote

from app.people.queries import (
    RUNS_OUT_SOON,
    AuthorisationLine,
    good_until,
)
from app.people.records import Person, Task
from app.people.rights import MAY, NEEDS, TESTING, Act, Role, may
from app.tracing.queries.today.desk import Asking, Waiting, few

_AT_THE_BENCH = (*TESTING.values(), Task.SURFACE_SEARCH)
_BY_OTHERS = Task.DESIGN
"""The design organisation chooses whom it authorises: no role asks for that by itself."""


def asked_for(role: Role) -> tuple[Task, ...]:
    """What whoever holds the role is authorised for, to do what it is there for."""
    tasks = {task for act, task in NEEDS.items() if role in MAY[act]} - {_BY_OTHERS}
    if role is Role.INSPECTOR:
        tasks |= set(_AT_THE_BENCH)
    return tuple(task for task in Task if task in tasks)


def own(asking: Asking, role: Role, *, is_first: bool) -> tuple[list[Waiting], list[str]]:
    """The person's own that run out or ran out, on their first desk; and what the role lacks."""
    lines = [one for one in asking.authorisations if one.person_id == asking.by.id]
    ends = _ends(lines, asking.today) if is_first else []
    tasks = [
        _end(asking.by.username, "You", f"Your authorisation for {task.value}", day, asking.today)
        for _, task, day in ends
    ]
    good = good_until(lines, asking.today)
    told = {task for _, task, day in _ends(lines, asking.today) if day < asking.today}
    lacked = [
        task.value
        for task in asked_for(role)
        if (asking.by.id, task) not in good and task not in told
    ]
    if not lacked:
        return tasks, []
    said = f"You hold no authorisation for {', '.join(lacked)}: where you need it, ask "
    who = "another supervisor" if role is Role.SUPERVISOR else "a supervisor"
    return tasks, [f"{said}{who} or the administrator."]


def of_others(asking: Asking) -> list[Waiting]:
    """Others' that run out or ran out, and who can do nothing that their role is there for."""
    if not may(asking.by, Act.AUTHORISE):
        return []
    others = {
        one.id: one for one in asking.everybody if one.active and not asking.by.is_person(one.id)
    }
    lines = [one for one in asking.authorisations if one.person_id in others]
    tasks = []
    for key, task, day in _ends(lines, asking.today):
        person = others[key]
        what = f"The authorisation for {task.value}"
        tasks.append(_end(person.username, person.full_name, what, day, asking.today))
    shown = few(
        tasks, "Authorisations", "authorisations run out or ran out.", "/people/authorisations"
    )
    good = good_until(lines, asking.today)
    idle = [one.full_name for one in others.values() if _is_idle(one, good)]
    if idle:
        verb = "holds a role and no" if len(idle) == 1 else "hold a role and no"
        sentence = f"{', '.join(idle)} {verb} authorisation that it asks for."
        shown.append(Waiting("People", sentence, "/people/authorisations", None))
    return shown


def _is_idle(person: Person, good: dict[tuple[int, Task], date]) -> bool:
    """Whether some role of theirs asks for authorisations, and they hold none of these today."""
    wanted = [asked_for(Role(role)) for role in person.roles]
    return any(tasks and not any((person.id, task) in good for task in tasks) for tasks in wanted)


def _ends(lines: Sequence[AuthorisationLine], today: date) -> list[tuple[int, Task, date]]:
    """Account, task and last day of what runs out soon, or ran out lately and was not renewed."""
    good = good_until(lines, today)
    soon = [(*key, day) for key, day in good.items() if day - today <= RUNS_OUT_SOON]
    return [*soon, *_ran_out((one for one in lines if one.ended_at is None), good, today)]


def _ran_out(
    lines: Iterable[AuthorisationLine], good: dict[tuple[int, Task], date], today: date
) -> list[tuple[int, Task, date]]:
    last: dict[tuple[int, Task], date] = {}
    for one in lines:
        key = (one.person_id, one.task)
        last[key] = max(one.last_day, last.get(key, one.last_day))
    return [
        (*key, day)
        for key, day in last.items()
        if key not in good and day < today <= day + RUNS_OUT_SOON
    ]


def _end(username: str, name: str, what: str, day: date, today: date) -> Waiting:
    is_over = day < today
    return Waiting(
        name=name,
        sentence=f"{what} {'ran out' if is_over else 'runs out'} on {day.isoformat()}: "
        "have training and eye test renewed.",
        href=f"/people/{quote(username, safe='')}",
        since=datetime.combine(day, time(), tzinfo=UTC),
        urgent=is_over,
        due=day,
    )
