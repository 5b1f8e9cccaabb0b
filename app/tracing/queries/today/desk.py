"""What Today is made of: things that wait, desks, and what is read for several of them at once."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from functools import cached_property
from typing import Any

from sqlalchemy import Row
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.bench.queries import indents_used
from app.equipment.queries import (
    BoardLine,
    ReportOnFile,
    due_board,
    out_of_use_board,
    waiting_reports,
)
from app.equipment.rules import DueState
from app.people.queries import (
    AuthorisationLine,
    authorisations,
    authorisations_of_all,
    people,
)
from app.people.records import Person
from app.people.rights import Act, Role, may
from app.release.queries.actions import ActionLine, actions_overdue
from app.release.queries.nonconformances import NonconformanceLine, lines_of, open_rows
from app.release.queries.panel_facts import panel_facts
from app.release.rules.facts import PanelFacts
from app.release.service import Case, case_of
from app.requirements.queries import Revision, drafts
from app.tracing.queries import lists

MOST_PANELS = 400
_DECIDING = {Role.INSPECTOR.value, Role.SUPERVISOR.value}
"""Whose desks ask about panels that are not decided."""
_DISPOSING = {Role.SUPERVISOR.value, Role.ENGINEER.value}
"""Whose desks ask about open nonconformances."""
MOST_ALONE = 6
"""More things alike than this are one line, with a way to the list of them."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing that waits: what it is about, a sentence, where to do it, and since when.

    An urgent one comes before all that are not; then the oldest comes first, and last what has no
    time of its own.
    """

    name: str
    sentence: str
    href: str
    since: datetime | None
    urgent: bool = False
    standing: str | None = None
    due: date | None = None
    """The calendar day it is due, for what has one; then no time of day is shown."""


@dataclass(frozen=True, slots=True)
class Desk:
    """What waits for one role, with sentences on what somebody else has to do."""

    role: str
    tasks: tuple[Waiting, ...]
    asides: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asking:
    """Who asks and when. What several desks need is read once, and only where one needs it."""

    session: Session
    by: Actor
    now: datetime
    zone: tzinfo

    @property
    def today(self) -> date:
        """The shop's day."""
        return self.now.astimezone(self.zone).date()

    @cached_property
    def everybody(self) -> Sequence[Person]:
        """Everybody, by full name; a shop has tens of people."""
        return people(self.session)

    @cached_property
    def names(self) -> dict[int, str]:
        """Full names by account."""
        return {one.id: one.full_name for one in self.everybody}

    @cached_property
    def cases(self) -> tuple[Case, ...]:
        """The panels that can be waiting for somebody, oldest first."""
        return tuple(case_of(self._facts[key]) for key in self._undecided)

    @cached_property
    def nonconformances(self) -> list[NonconformanceLine]:
        """The open ones on which something can be done, the longest open first."""
        lines = lines_of(self.session, self._opened, self._facts)
        return [line for line in lines if line.weighed is not None]

    @cached_property
    def _facts(self) -> dict[int, PanelFacts]:
        """Of every panel that some desk of theirs asks about; read in one go."""
        opened = {row.panel_id for row in self._opened}
        ids = {*self._undecided, *opened}
        return panel_facts(self.session, ids, zone=self.zone, in_full=opened)

    @cached_property
    def _undecided(self) -> Sequence[int]:
        if not _DECIDING & set(self.by.roles):
            return ()
        return lists.undecided(self.session, most=MOST_PANELS)

    @cached_property
    def _opened(self) -> Sequence[Row[Any]]:
        return open_rows(self.session) if _DISPOSING & set(self.by.roles) else ()

    @cached_property
    def drafts(self) -> list[Revision]:
        """Revisions that nobody has verified or withdrawn, oldest first."""
        return drafts(self.session)

    @cached_property
    def overdue(self) -> list[ActionLine]:
        """Corrective actions whose day has passed, unchecked, the oldest first."""
        return actions_overdue(self.session, self.today)

    @cached_property
    def reports(self) -> list[ReportOnFile]:
        """Reports that nobody has reviewed, the longest waiting first."""
        return waiting_reports(self.session)

    @cached_property
    def due(self) -> list[BoardLine]:
        """What the due board lists, the most urgent first."""
        at = self.now.astimezone(self.zone)
        return due_board(self.session, at=at, used=indents_used(self.session))

    @cached_property
    def out_of_use(self) -> list[BoardLine]:
        """Of the due board the testers out of use alone."""
        if Role.ENGINEER.value in self.by.roles:
            return [line for line in self.due if line.due.state is DueState.OUT_OF_USE]
        return out_of_use_board(self.session)

    @cached_property
    def authorisations(self) -> list[AuthorisationLine]:
        """Everybody's where the person may grant them, else their own; the newest first."""
        if may(self.by, Act.AUTHORISE):
            return authorisations_of_all(self.session)
        return authorisations(self.session, self.by.id)


def in_order(tasks: Iterable[Waiting]) -> list[Waiting]:
    """The lines, urgent and oldest first."""
    return sorted(tasks, key=_rank)


def _rank(task: Waiting) -> tuple[Any, ...]:
    since = task.since.timestamp() if task.since is not None else float("inf")
    return (not task.urgent, since, task.name)


def few(tasks: list[Waiting], name: str, words: str, href: str) -> list[Waiting]:
    """The lines, or where they are many one line: how many ``words`` of them there are."""
    if len(tasks) <= MOST_ALONE:
        return tasks
    urgent = any(one.urgent for one in tasks)
    times = [one.since for one in tasks if one.since is not None]
    return [Waiting(name, f"{len(tasks)} {words}", href, min(times, default=None), urgent)]


def brief(asides: list[str], words: str) -> list[str]:
    """The asides, or where they are many one: how many ``words`` of them there are."""
    return asides if len(asides) <= MOST_ALONE else [f"{len(asides)} {words}"]


def once(found: Iterable[Desk]) -> list[Desk]:
    """Each line on the first desk that has it: a person who holds two roles reads it once."""
    seen: set[tuple[str, str]] = set()
    told: set[str] = set()
    desks = []
    for desk in found:
        tasks = tuple(one for one in desk.tasks if (one.href, one.sentence) not in seen)
        asides = tuple(one for one in desk.asides if one not in told)
        seen.update((one.href, one.sentence) for one in tasks)
        told.update(asides)
        desks.append(Desk(desk.role, tasks, asides))
    return desks
