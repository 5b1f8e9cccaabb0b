"""Everything the verdict on a coupon rests on, read in a fixed number of queries."""

from collections.abc import Collection, Iterable
from functools import lru_cache
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.records import (
    BenchSession,
    BlockCheck,
    Reading,
    Retest,
    VoidAnswer,
    VoidRequest,
)
from app.bench.rules.bracketing import Check
from app.bench.rules.coupon_file import (
    Certificate,
    CouponFile,
    ReadingFile,
    RetestFile,
    SessionFile,
)
from app.database import paper_text
from app.documents.table import load_table
from app.equipment.records import Tester, TesterCertificate
from app.equipment.rules import DatedPaper
from app.judging.units import Quantity
from app.judging.witness.acceptance import Table
from app.loads.queries import goes_ahead
from app.loads.records import LoadCoupon, LoadPanel
from app.panels.records import Coupon, MaterialLot, Panel
from app.requirements.records import Requirement, RequirementRevision


def coupon_files(session: Session, coupon_ids: Collection[int]) -> dict[int, CouponFile]:
    """The files of coupons that ride in a load, by id, with the further coupons of their retests.

    Nine queries, however many coupons.
    """
    retests = _retests(session, coupon_ids)
    further = {other for retest in retests.values() for other in retest.coupons}
    wanted = set(coupon_ids) | further
    readings = _readings(session, wanted)
    sessions = _sessions(
        session, {one.session_id for many in readings.values() for one in many if one.session_id}
    )
    seats = _seats(session, wanted)
    tables = _tables(session, {seat.table_revision_id for seat in seats})
    return {
        seat.id: CouponFile(
            id=seat.id,
            code=seat.code,
            panel_id=seat.panel_id,
            load_id=seat.load_id,
            alloy=seat.alloy,
            temper=seat.target_temper,
            form=seat.form,
            thickness_mm=seat.thickness_mm,
            surface=seat.surface,
            table=tables[seat.table_revision_id][2],
            table_revision_id=seat.table_revision_id,
            table_code=tables[seat.table_revision_id][0],
            table_sha256=tables[seat.table_revision_id][1],
            readings=tuple(readings.get(seat.id, ())),
            sessions=sessions,
            retest=retests.get(seat.id),
        )
        for seat in seats
    }


def _seats(session: Session, coupon_ids: Collection[int]) -> list[Any]:
    return list(
        session.execute(
            select(
                Coupon.id,
                Coupon.code,
                Coupon.thickness_mm,
                Coupon.surface,
                MaterialLot.alloy,
                MaterialLot.form,
                Panel.target_temper,
                LoadCoupon.panel_id,
                LoadCoupon.load_id,
                LoadPanel.table_revision_id,
            )
            .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
            .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
            .join(Panel, Panel.id == LoadCoupon.panel_id)
            .join(
                LoadPanel,
                (LoadPanel.load_id == LoadCoupon.load_id)
                & (LoadPanel.panel_id == LoadCoupon.panel_id),
            )
            .where(Coupon.id.in_(coupon_ids), goes_ahead(LoadCoupon.load_id))
            .order_by(Coupon.id)
        )
    )


def _retests(session: Session, coupon_ids: Collection[int]) -> dict[int, RetestFile]:
    opened = session.execute(
        select(Retest.id, Retest.coupon_id, Retest.sets_required)
        .where(Retest.coupon_id.in_(coupon_ids))
        .order_by(Retest.id)
    ).all()
    own = {row.id: row.coupon_id for row in opened}
    served = session.execute(
        select(Reading.retest_id, Reading.coupon_id)
        .where(Reading.retest_id.in_(own))
        .group_by(Reading.retest_id, Reading.coupon_id)
        .order_by(Reading.coupon_id)
    ).all()
    return {
        row.coupon_id: RetestFile(
            row.id,
            row.sets_required,
            tuple(
                coupon_id
                for retest_id, coupon_id in served
                if retest_id == row.id and coupon_id != row.coupon_id
            ),
        )
        for row in opened
    }


def _readings(session: Session, coupon_ids: Collection[int]) -> dict[int, list[ReadingFile]]:
    taken = session.execute(
        select(
            Reading.id,
            Reading.session_id,
            Reading.coupon_id,
            Reading.quantity,
            Reading.unit,
            Reading.value,
            Reading.coupon_c,
            Reading.block_c,
            Reading.frequency_khz,
            Reading.spacing_confirmed,
            Reading.retest_id,
            Reading.set_number,
            Reading.replaces_id,
            Reading.taken_at,
        )
        .where(Reading.coupon_id.in_(coupon_ids))
        .order_by(Reading.id)
    ).all()
    voided = {
        row.reading_id: row.cause.value
        for row in session.execute(
            select(VoidRequest.reading_id, VoidRequest.cause)
            .join(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
            .join(Reading, Reading.id == VoidRequest.reading_id)
            .where(VoidAnswer.approved, Reading.coupon_id.in_(coupon_ids))
        )
    }
    replaced = {row.replaces_id for row in taken if row.replaces_id is not None}
    by_coupon: dict[int, list[ReadingFile]] = {}
    for row in taken:
        several = by_coupon.setdefault(row.coupon_id, [])
        several.append(
            ReadingFile(
                id=row.id,
                number=len(several) + 1,
                session_id=row.session_id,
                quantity=Quantity(row.quantity),
                unit=row.unit,
                value=row.value,
                coupon_c=row.coupon_c,
                block_c=row.block_c,
                frequency_khz=row.frequency_khz,
                spacing_confirmed=row.spacing_confirmed,
                retest_id=row.retest_id,
                set_number=row.set_number,
                taken_at=row.taken_at,
                voided=voided.get(row.id),
                replaced=row.id in replaced,
            )
        )
    return by_coupon


def _sessions(session: Session, session_ids: Collection[int]) -> dict[int, SessionFile]:
    opened = session.execute(
        select(BenchSession.id, Tester.id.label("tester_id"), Tester.code)
        .join(Tester, Tester.id == BenchSession.tester_id)
        .where(BenchSession.id.in_(session_ids))
    ).all()
    checks = checks_of(session, session_ids)
    certificates = certificates_of(session, {row.tester_id for row in opened})
    return {
        row.id: SessionFile(
            row.code,
            tuple(checks.get(row.id, ())),
            tuple(certificates.get(row.tester_id, ())),
        )
        for row in opened
    }


def checks_of(session: Session, session_ids: Collection[int]) -> dict[int, list[Check]]:
    """The checks of each session in the order made; one query."""
    by_session: dict[int, list[Check]] = {}
    for row in session.execute(
        select(BlockCheck.session_id, BlockCheck.moment, BlockCheck.outcome, BlockCheck.taken_at)
        .where(BlockCheck.session_id.in_(session_ids))
        .order_by(BlockCheck.id)
    ):
        by_session.setdefault(row.session_id, []).append(
            Check(row.moment.value, row.outcome == "conforms", row.taken_at)
        )
    return by_session


def certificates_of(session: Session, tester_ids: Iterable[int]) -> dict[int, list[Certificate]]:
    """Each tester's certificates, newest entry first; one query."""
    by_tester: dict[int, list[Certificate]] = {}
    for row in session.execute(
        select(
            TesterCertificate.tester_id,
            TesterCertificate.done_on,
            TesterCertificate.due_on,
            TesterCertificate.expanded_uncertainty,
        )
        .where(TesterCertificate.tester_id.in_(list(tester_ids)))
        .order_by(TesterCertificate.done_on.desc(), TesterCertificate.id.desc())
    ):
        by_tester.setdefault(row.tester_id, []).append(
            Certificate(DatedPaper(row.done_on, row.due_on), row.expanded_uncertainty)
        )
    return by_tester


def _tables(session: Session, revision_ids: Collection[int]) -> dict[int, tuple[str, str, Table]]:
    """Code, digest and content of each table revision."""
    return {
        row.id: (row.code, row.paper_sha256, _table(paper_text(row.paper)))
        for row in session.execute(
            select(
                RequirementRevision.id,
                Requirement.code,
                RequirementRevision.paper_sha256,
                RequirementRevision.paper,
            )
            .join(Requirement, Requirement.id == RequirementRevision.requirement_id)
            .where(RequirementRevision.id.in_(revision_ids))
        )
    }


@lru_cache(maxsize=64)
def _table(text: str) -> Table:
    """A table as judging knows it; a revision never changes, so it is read once."""
    return load_table(text, filename="acceptance table")
