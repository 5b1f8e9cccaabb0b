"""Everything the verdict on a coupon rests on, read in a fixed number of queries."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import BindParameter, bindparam, select
from sqlalchemy.orm import Session

from app.bench.queries.in_sessions import session_files
from app.bench.queries.seats import SeatRow, seats_of
from app.bench.queries.unmoved import Unmoved
from app.bench.records import Baseline, Reading, Retest, VoidAnswer, VoidRequest
from app.bench.rules.coupon_file import (
    BaselineFile,
    CorrectionOnFile,
    CouponFile,
    ReadingFile,
    RetestFile,
)
from app.bench.rules.session_file import SessionFile
from app.database import paper_text
from app.documents.correction_table import correction_table_from_json
from app.documents.coupon_reading import indentation_from_json
from app.documents.table import load_table
from app.judging.units import Quantity
from app.judging.witness.acceptance import Table
from app.judging.witness.acceptance_checks import same_name
from app.judging.witness.coupons import all_criteria
from app.panels.records import IN_USE, Decided
from app.requirements.queries import Revision, table_of
from app.requirements.records import (
    Requirement,
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
    RequirementWithdrawal,
)

_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_reading, _retest, _baseline = Reading.__table__.c, Retest.__table__.c, Baseline.__table__.c
_request, _answer = VoidRequest.__table__, VoidAnswer.__table__
_revision, _requirement = RequirementRevision.__table__.c, Requirement.__table__.c
_verified, _withdrawn = RequirementVerification.__table__.c, RequirementWithdrawal.__table__.c


def coupon_files(session: Session, coupon_ids: Collection[int]) -> dict[int, CouponFile]:
    """The files of coupons that ride in a load, by id, with the further coupons of their retests.

    Thirteen queries at the most, however many coupons; what there is nothing of is not asked for.
    """
    seats = seats_of(session, coupon_ids)
    retests = _retests(session, seats)
    further = {other for retest in retests.values() for other in retest.coupons} - set(coupon_ids)
    if further:
        # Their own retests are asked for with them: a coupon may serve one and need another.
        seats = [*seats, *seats_of(session, further)]
        return files_of(session, seats)
    return files_of(session, seats, retests)


def files_of(
    session: Session,
    seats: Sequence[SeatRow],
    retests: dict[int, RetestFile] | None = None,
    *,
    known: Unmoved | None = None,
) -> dict[int, CouponFile]:
    """The files of coupons whose seats were read already, by id.

    ``retests`` are theirs where they were read too; ``known`` has sessions that need not be.
    """
    own = _retests(session, seats) if retests is None else retests
    readings = _readings(session, [seat.id for seat in seats if seat.has_readings])
    baselines = _baselines(session, [seat.id for seat in seats if seat.has_baselines])
    used = {one.session_id for several in readings.values() for one in several}
    used |= {one.session_id for several in baselines.values() for one in several}
    sessions = _sessions(session, {key for key in used if key is not None}, known)
    plans = _plans(session, readings, own)
    tables = {seat.table_sha256: _table_of(session, seat) for seat in seats}
    named = {code for table in tables.values() for code in table.corrections}
    corrections = _corrections(session, named) if named else {}
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
            table=tables[seat.table_sha256].table,
            table_revision_id=seat.table_revision_id,
            table_code=seat.table_code,
            table_sha256=seat.table_sha256,
            readings=tuple(readings.get(seat.id, ())),
            sessions=sessions,
            retest=own.get(seat.id),
            diameter_mm=seat.diameter_mm,
            serves=plans,
            baselines=tuple(baselines.get(seat.id, ())),
            corrections=corrections,
            judged_sha256=seat.judged_sha256,
            near_retest=seat.has_retests,
            # What came of a replaced panel may be in use; a recall follows descent.
            in_use=seat.panel_decided in {*IN_USE, Decided.REPLACED},
        )
        for seat in seats
    }


def _sessions(
    session: Session, keys: Collection[int], known: Unmoved | None
) -> dict[int, SessionFile]:
    if known is None:
        return session_files(session, keys)
    return {
        key: known.ask(("session file", key), lambda key=key: session_files(session, [key])[key])  # type: ignore[misc]
        for key in keys
    }


def with_readings(
    session: Session, file: CouponFile, rows: Sequence[Reading], *, known: Unmoved | None
) -> CouponFile:
    """The file with readings that were recorded since, none of which replaces another.

    Part of a deciding transaction, in which nothing else can have changed what the file says.
    """
    new = tuple(
        reading_file(row, number) for number, row in enumerate(rows, start=len(file.readings) + 1)
    )
    unread = {row.session_id for row in rows if row.session_id is not None} - file.sessions.keys()
    sessions = {**file.sessions, **_sessions(session, unread, known)}
    return replace(file, readings=(*file.readings, *new), sessions=sessions)


def under_revision(
    session: Session, files: Mapping[int, CouponFile], revision: Revision
) -> dict[int, CouponFile]:
    """The files as they would be if this revision of their table judged them; nothing is kept.

    Those of another table stay as they are.
    """
    table = table_of(revision)
    names = _correction_codes(table)
    corrections = _corrections(session, names) if names else {}
    return {
        key: replace(
            file,
            table=table,
            table_revision_id=revision.id,
            table_sha256=revision.paper_sha256,
            corrections=corrections,
        )
        if file.table_code == revision.code
        else file
        for key, file in files.items()
    }


_RETESTS = (
    select(_retest.id, _retest.coupon_id, _retest.sets_required, _retest.plan)
    .where(_retest.coupon_id.in_(_KEYS))
    .order_by(_retest.id)
)
_SERVED = (
    select(_reading.retest_id, _reading.coupon_id)
    .where(_reading.retest_id.in_(_KEYS))
    .group_by(_reading.retest_id, _reading.coupon_id)
    .order_by(_reading.coupon_id)
)
_PLANS = select(_retest.id, _retest.plan).where(_retest.id.in_(_KEYS))


def _retests(session: Session, seats: Sequence[SeatRow]) -> dict[int, RetestFile]:
    wanted = [seat.id for seat in seats if seat.has_retests]
    opened = session.execute(_RETESTS, {"keys": wanted}).all() if wanted else []
    if not opened:
        return {}
    served = session.execute(_SERVED, {"keys": [row.id for row in opened]}).all()
    return {
        row.coupon_id: RetestFile(
            row.id,
            row.sets_required,
            tuple(
                coupon_id
                for retest_id, coupon_id in served
                if retest_id == row.id and coupon_id != row.coupon_id
            ),
            row.plan,
        )
        for row in opened
    }


def _plans(
    session: Session, readings: dict[int, list[ReadingFile]], own: dict[int, RetestFile]
) -> dict[int, Any]:
    """The plan of every retest that the readings belong to, by its key."""
    plans = {one.id: one.plan for one in own.values()}
    others = {
        one.retest_id for several in readings.values() for one in several if one.retest_id
    } - plans.keys()
    if others:
        plans |= {row.id: row.plan for row in session.execute(_PLANS, {"keys": list(others)})}
    return plans


_approved = (
    select(_request.c.reading_id, _request.c.cause)
    .join(_answer, _answer.c.request_id == _request.c.id)
    .where(_answer.c.approved)
    .subquery()
)
_READINGS = (
    select(
        _reading.id,
        _reading.session_id,
        _reading.coupon_id,
        _reading.quantity,
        _reading.unit,
        _reading.value,
        _reading.coupon_c,
        _reading.block_c,
        _reading.frequency_khz,
        _reading.spacing_confirmed,
        _reading.retest_id,
        _reading.set_number,
        _reading.replaces_id,
        _reading.taken_at,
        _reading.entered_at,
        _reading.late_reason,
        _reading.taken_by_id,
        _reading.indentation,
        _approved.c.cause,
    )
    .outerjoin(_approved, _approved.c.reading_id == _reading.id)
    .where(_reading.coupon_id.in_(_KEYS))
    .order_by(_reading.id)
)


def _readings(session: Session, coupon_ids: Collection[int]) -> dict[int, list[ReadingFile]]:
    if not coupon_ids:
        return {}
    # Keyed by the reading: one that was asked to be voided twice, and was, is one reading.
    taken = {row.id: row for row in session.execute(_READINGS, {"keys": list(coupon_ids)})}
    replaced = {row.replaces_id for row in taken.values() if row.replaces_id is not None}
    by_coupon: dict[int, list[ReadingFile]] = {}
    measured_by: dict[int | None, int] = {}
    for row in taken.values():
        several = by_coupon.setdefault(row.coupon_id, [])
        one = reading_file(row, len(several) + 1, replaced=row.id in replaced)
        # Whoever corrects a figure did not measure it: a correction keeps the first one's taker.
        measured_by[row.id] = measured_by.get(row.replaces_id, row.taken_by_id)
        several.append(replace(one, taken_by_id=measured_by[row.id]))
    return by_coupon


def reading_file(row: Any, number: int, *, replaced: bool = False) -> ReadingFile:
    """A reading as its coupon's file has it; ``row`` has the columns of `Reading`, or is one."""
    cause = getattr(row, "cause", None)
    return ReadingFile(
        id=row.id,
        number=number,
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
        voided=None if cause is None else cause.value,
        replaced=replaced,
        entered_at=row.entered_at,
        late_reason=row.late_reason,
        taken_by_id=row.taken_by_id,
        indentation=None if row.indentation is None else indentation_from_json(row.indentation),
    )


_BASELINES = (
    select(
        _baseline.coupon_id,
        _baseline.quantity,
        _baseline.unit,
        _baseline.readings,
        _baseline.session_id,
        _baseline.taken_at,
    )
    .where(_baseline.coupon_id.in_(_KEYS))
    .order_by(_baseline.id)
)


def _baselines(session: Session, coupon_ids: Collection[int]) -> dict[int, list[BaselineFile]]:
    by_coupon: dict[int, list[BaselineFile]] = {}
    if not coupon_ids:
        return by_coupon
    for row in session.execute(_BASELINES, {"keys": list(coupon_ids)}):
        by_coupon.setdefault(row.coupon_id, []).append(
            BaselineFile(
                Quantity(row.quantity), row.unit, row.readings, row.session_id, row.taken_at
            )
        )
    return by_coupon


_PAPER = select(_revision.paper).where(_revision.id == bindparam("key"))


@dataclass(frozen=True, slots=True)
class _TableOnFile:
    """An acceptance table, and the codes of the correction tables that it names."""

    table: Table
    corrections: frozenset[str]


_TABLES: dict[str, _TableOnFile] = {}
_MOST_TABLES = 64


def _table_of(session: Session, seat: SeatRow) -> _TableOnFile:
    """The acceptance table as judging knows it.

    It is kept by the digest of its paper: a revision never changes, and equal papers are equal
    tables whatever database they lie in.
    """
    found = _TABLES.get(seat.table_sha256)
    if found is None:
        paper = session.execute(_PAPER, {"key": seat.table_revision_id}).scalar_one()
        table = load_table(paper_text(paper), filename="acceptance table")
        found = _TableOnFile(table, _correction_codes(table))
        if len(_TABLES) >= _MOST_TABLES:
            _TABLES.clear()
        _TABLES[seat.table_sha256] = found
    return found


def _correction_codes(table: Table) -> frozenset[str]:
    """The codes of the correction tables that an acceptance table names."""
    return frozenset(
        criterion.correction
        for entry in table.entries
        for criterion in all_criteria(entry.criteria)
        if criterion.correction is not None
    )


_CORRECTIONS = (
    select(
        _requirement.code,
        _revision.paper,
        _verified.in_force_from,
        _withdrawn.withdrawn_at,
    )
    .join(RequirementRevision.__table__, _revision.requirement_id == _requirement.id)
    .join(RequirementVerification.__table__, _verified.revision_id == _revision.id)
    .outerjoin(RequirementWithdrawal.__table__, _withdrawn.revision_id == _revision.id)
    .where(
        _requirement.kind == RequirementKind.CORRECTION_TABLE,
        _requirement.code.in_(bindparam("codes", expanding=True)),
    )
    .order_by(_verified.in_force_from, _revision.id)
)


def _corrections(
    session: Session, codes: Collection[str]
) -> dict[str, tuple[CorrectionOnFile, ...]]:
    """Every verified revision of the correction tables, by code, the newest in force last."""
    found: dict[str, tuple[CorrectionOnFile, ...]] = {}
    asked = sorted({code.strip().upper() for code in codes})
    for row in session.execute(_CORRECTIONS, {"codes": asked}):
        table = correction_table_from_json(row.paper, code=row.code, filename=row.code)
        one = CorrectionOnFile(table, row.in_force_from, row.withdrawn_at)
        key = same_name(row.code)
        found[key] = (*found.get(key, ()), one)
    return found
