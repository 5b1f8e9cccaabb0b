"""What waits for each role. Each function asks a fixed number of times."""

from typing import Any

from sqlalchemy import Row, exists, func, select
from sqlalchemy.orm import Session, aliased

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.bench.records import (
    BenchSession,
    BlockCheck,
    CheckMoment,
    CorrectionAnswer,
    CorrectionRequest,
    Reading,
    VoidAnswer,
    VoidRequest,
)
from app.equipment.records import (
    Furnace,
    Tester,
)
from app.loads.queries import goes_ahead
from app.loads.records import FurnaceRecord, Load, LoadPanel, Unwrapping
from app.panels.records import UNDECIDED, Coupon, Panel
from app.release.records import Decision
from app.requirements.records import RequirementRevision

MOST = 100

Rows = list[Row[Any]]


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
            .where(~exists().where(FurnaceRecord.load_id == Load.id), goes_ahead(Load.id))
            .order_by(Load.planned_start)
            .limit(MOST)
        )
    )


def loads_to_unwrap(session: Session) -> Rows:
    """Code, import of the record, and number of panels not yet unwrapped, oldest first.

    A panel that is decided waits for nothing; only what is under way is looked through.
    """
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
            .join(Panel, Panel.id == LoadPanel.panel_id)
            .where(Panel.decided.in_(UNDECIDED), ~searched)
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


def corrections_open(session: Session, *, by: Actor) -> Rows:
    """Coupon, figures, who asked and when, of corrections that wait for an answer, oldest first.

    Those that the person may answer: they took no reading of the coupon, and did not ask.
    """
    own, accounts = aliased(Reading), {by.id, *by.also}
    measured = exists().where(own.coupon_id == Reading.coupon_id, own.taken_by_id.in_(accounts))
    return list(
        session.execute(
            select(
                Coupon.code,
                Reading.value,
                Reading.unit,
                CorrectionRequest.value.label("right"),
                CorrectionRequest.asked_by_id,
                CorrectionRequest.asked_at,
            )
            .join(Reading, Reading.id == CorrectionRequest.reading_id)
            .join(Coupon, Coupon.id == Reading.coupon_id)
            .outerjoin(CorrectionAnswer, CorrectionAnswer.request_id == CorrectionRequest.id)
            .where(CorrectionAnswer.id.is_(None), ~measured)
            .where(CorrectionRequest.asked_by_id.not_in(accounts))
            .order_by(CorrectionRequest.asked_at)
            .limit(MOST)
        )
    )


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
