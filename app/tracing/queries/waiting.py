"""What waits for each role. Each function asks a fixed number of times."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, exists, func, select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.bench.records import (
    BenchSession,
    BlockCheck,
    CheckMoment,
    Reading,
    VoidAnswer,
    VoidRequest,
)
from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    ReferenceBlock,
    Sensor,
    SensorCertificate,
    Tester,
    TesterCertificate,
)
from app.loads.records import FurnaceRecord, Load, LoadPanel, Unwrapping
from app.panels.records import Coupon, Panel
from app.people.records import Person
from app.release.records import Decision
from app.requirements.records import (
    Requirement,
    RequirementRevision,
    RequirementVerification,
    RequirementWithdrawal,
)

MOST = 100

Rows = list[Row[Any]]


@dataclass(frozen=True, slots=True)
class Due:
    """A paper with the day it is good until, that day included."""

    kind: str
    code: str
    paper: str
    due_on: date


def loads_without_record(session: Session) -> Rows:
    """Code, start, furnace and cycle paper of loads whose record is not imported, oldest first."""
    return list(
        session.execute(
            select(
                Load.code,
                Load.planned_start,
                Furnace.code.label("furnace"),
                RequirementRevision.paper.label("cycle"),
            )
            .join(Furnace, Furnace.id == Load.furnace_id)
            .join(RequirementRevision, RequirementRevision.id == Load.cycle_revision_id)
            .where(~exists().where(FurnaceRecord.load_id == Load.id))
            .order_by(Load.planned_start)
            .limit(MOST)
        )
    )


def loads_to_unwrap(session: Session) -> Rows:
    """Code, import of the record, and number of panels not yet unwrapped, oldest first."""
    searched = exists().where(
        Unwrapping.load_id == LoadPanel.load_id,
        Unwrapping.panel_id == LoadPanel.panel_id,
        Unwrapping.surface_clear.is_not(None),
    )
    since = func.min(FurnaceRecord.imported_at)
    return list(
        session.execute(
            select(
                Load.code,
                since.label("since"),
                func.count(func.distinct(LoadPanel.panel_id)).label("panels"),
            )
            .join(LoadPanel, LoadPanel.load_id == Load.id)
            .join(FurnaceRecord, FurnaceRecord.load_id == Load.id)
            .where(~searched)
            .group_by(Load.id, Load.code)
            .order_by(since)
            .limit(MOST)
        )
    )


def open_sessions(session: Session) -> Rows:
    """Bench sessions with an opening check and no closing one, oldest first."""

    def checked(moment: CheckMoment) -> Any:
        return exists().where(BlockCheck.session_id == BenchSession.id, BlockCheck.moment == moment)

    return list(
        session.execute(
            select(
                BenchSession.id,
                BenchSession.opened_at,
                BenchSession.operator_id,
                Tester.code.label("tester"),
            )
            .join(Tester, Tester.id == BenchSession.tester_id)
            .where(checked(CheckMoment.OPENING), ~checked(CheckMoment.CLOSING))
            .order_by(BenchSession.opened_at)
            .limit(MOST)
        )
    )


def voids_open(session: Session) -> Rows:
    """Coupon, cause, who asked and when, of voids nobody has answered, oldest first."""
    return list(
        session.execute(
            select(
                Coupon.code,
                VoidRequest.cause,
                VoidRequest.asked_by_id,
                VoidRequest.asked_at,
                Reading.taken_by_id,
            )
            .join(Reading, Reading.id == VoidRequest.reading_id)
            .join(Coupon, Coupon.id == Reading.coupon_id)
            .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
            .where(VoidAnswer.id.is_(None))
            .order_by(VoidRequest.asked_at)
            .limit(MOST)
        )
    )


def revisions_unverified(session: Session) -> Rows:
    """Tables and cycles that nobody has verified or withdrawn, oldest first."""
    return list(
        session.execute(
            select(
                Requirement.code,
                Requirement.kind,
                RequirementRevision.revision,
                RequirementRevision.written_by_id,
                RequirementRevision.written_at,
            )
            .join(Requirement, Requirement.id == RequirementRevision.requirement_id)
            .outerjoin(
                RequirementVerification,
                RequirementVerification.revision_id == RequirementRevision.id,
            )
            .outerjoin(
                RequirementWithdrawal, RequirementWithdrawal.revision_id == RequirementRevision.id
            )
            .where(RequirementVerification.id.is_(None), RequirementWithdrawal.id.is_(None))
            .order_by(RequirementRevision.written_at)
            .limit(MOST)
        )
    )


def papers_due(session: Session, *, until: date) -> list[Due]:
    """Papers whose last day is on or before ``until``, most urgent first; four queries.

    Of each furnace's kinds of paper, each tester's and each sensor's certificates only the one
    good for longest counts: an old certificate that was renewed is not due.
    """
    due = [
        *_last_due(session, FurnaceCheck, Furnace, FurnaceCheck.furnace_id, "furnace"),
        *_last_due(session, SensorCertificate, Sensor, SensorCertificate.sensor_id, "sensor"),
        *_last_due(session, TesterCertificate, Tester, TesterCertificate.tester_id, "tester"),
        *(
            Due("reference_block", row.code, "certificate", row.expires_on)
            for row in session.execute(
                select(ReferenceBlock.code, ReferenceBlock.expires_on).where(
                    ReferenceBlock.expires_on <= until
                )
            )
        ),
    ]
    return sorted((paper for paper in due if paper.due_on <= until), key=lambda paper: paper.due_on)


def _last_due(session: Session, paper: Any, owner: Any, key: Any, kind: str) -> list[Due]:
    last = func.max(paper.due_on)
    name = paper.kind if paper is FurnaceCheck else None
    columns = [owner.code, last, *([name] if name is not None else [])]
    query = select(*columns).join(owner, owner.id == key)
    query = query.group_by(owner.code, *([name] if name is not None else []))
    if paper is FurnaceCheck:
        query = query.where(FurnaceCheck.passed)
    return [
        Due(kind, row[0], row[2].value if name is not None else "certificate", row[1])
        for row in session.execute(query)
    ]


def latest_decisions(session: Session, *, most: int) -> Rows:
    """The newest decisions on panels."""
    return list(
        session.execute(
            select(Panel.code, Decision.kind, Decision.decided_by_id, Decision.decided_at)
            .join(Panel, Panel.id == Decision.panel_id)
            .order_by(Decision.id.desc())
            .limit(most)
        )
    )


def trail_head(session: Session) -> Row[Any] | None:
    """Number and time of the newest entry of the trail."""
    newest: Any = select(TrailEntry.number, TrailEntry.at).order_by(TrailEntry.number.desc())
    return session.execute(newest.limit(1)).first()


def accounts(session: Session) -> tuple[int, int]:
    """How many people can sign in, and how many of them have no role."""
    roles = list(session.scalars(select(Person.roles).where(Person.active)))
    return len(roles), sum(not held for held in roles)
