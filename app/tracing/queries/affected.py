"""Which loads a failed check of a furnace may touch: those since the last good one."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment import queries as equipment
from app.equipment.queries import ReportOnFile, Subject, SubjectKind
from app.equipment.records import FurnaceCheck
from app.judging.furnace.furnace_checks import CheckOnRecord, is_accepted
from app.judging.furnace.intervals import day_in_zone
from app.judging.furnace.procedure import CheckKind
from app.judging.verdict import Verdict
from app.loads.queries import goes_ahead
from app.loads.records import Load
from app.loads.runs import Run, runs
from app.panels.queries import heirs
from app.panels.records import IN_USE, Decided, Panel

_ROUND = timedelta(days=3)
"""A load may have run some days off its plan; the days it ran on decide."""


@dataclass(frozen=True, slots=True)
class AffectedPanel:
    """A panel of such a load, and what was decided about it."""

    code: str
    decided: Decided


@dataclass(frozen=True, slots=True)
class AffectedLoad:
    """A load that ran between the last good check and the failed one."""

    code: str
    starts_at: datetime
    panels: tuple[AffectedPanel, ...]


@dataclass(frozen=True, slots=True)
class Affected:
    """A failed check, the last good one before it, and the loads between the two.

    ``since`` is the day of the last good one, None where there is none on record; a load of that
    day, or of the day of the failure, is counted in.
    """

    report: ReportOnFile
    since: date | None
    loads: tuple[AffectedLoad, ...]

    @property
    def released(self) -> int:
        """How many of the panels were let go already."""
        return sum(panel.decided in IN_USE for load in self.loads for panel in load.panels)


def affected_by(session: Session, check_id: int, *, zone: tzinfo) -> Affected:
    """What a furnace's check may touch if it failed; seven queries and the furnace's file.

    Raises:
        NotFound: there is no such check.
    """
    report = equipment.report(session, Subject(SubjectKind.FURNACE_CHECK, check_id))
    check: FurnaceCheck = report.row
    file = equipment.furnace_file(session, check.furnace_id)
    since = _last_good(file.checks, CheckKind(check.kind.value), before=check.done_on)
    query = select(Load.id, Load.code).where(
        Load.furnace_id == check.furnace_id,
        Load.planned_start <= _end_of(check.done_on, zone) + _ROUND,
        goes_ahead(Load.id),
    )
    if since is not None:
        query = query.where(Load.planned_start >= _end_of(since, zone) - _ROUND)
    codes = {row.id: row.code for row in session.execute(query)}
    ran = [
        run
        for run in runs(session, codes).values()
        if (since or date.min) <= day_in_zone(run.starts_at, zone) <= check.done_on
    ]
    decided = _decided(session, ran)
    loads = [
        AffectedLoad(
            codes[run.id],
            run.starts_at,
            tuple(one for panel in run.panels for one in decided[panel.id]),
        )
        for run in sorted(ran, key=lambda run: run.starts_at)
    ]
    return Affected(report, since, tuple(loads))


def _last_good(checks: tuple[CheckOnRecord, ...], kind: CheckKind, *, before: date) -> date | None:
    """The day of the newest accepted check of a kind that conformed, before a day."""
    good = [
        check.done_on
        for check in checks
        if check.kind is kind
        and check.done_on < before
        and check.verdict is Verdict.CONFORMS
        and is_accepted(check)
    ]
    return max(good, default=None)


def _end_of(day: date, zone: tzinfo) -> datetime:
    return datetime.combine(day, time.max, tzinfo=zone)


def _decided(session: Session, ran: list[Run]) -> dict[int, list[AffectedPanel]]:
    """Each panel of the loads as it was decided, and after it whatever came of it since."""
    keys = {panel.id for run in ran for panel in run.panels}
    lines = heirs(session, keys)
    every = {*keys, *(key for line in lines.values() for key in line)}
    rows = session.execute(
        select(Panel.id, Panel.code, Panel.decided).where(Panel.id.in_(sorted(every)))
    )
    known = {row.id: AffectedPanel(row.code, row.decided) for row in rows}
    return {key: [known[one] for one in (key, *lines.get(key, ()))] for key in keys}
