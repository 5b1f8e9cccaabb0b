"""Bench sessions as evidence: their checks, and the accepted papers of what was used in them."""

from collections.abc import Collection, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import BindParameter, Row, Select, bindparam, select
from sqlalchemy.orm import Session

from app.bench.records import BenchSession, BlockCheck, StudyClosing, TesterStudy
from app.bench.rules.bracketing import Check
from app.bench.rules.session_file import Certificate, SessionFile, Study, Thermometer
from app.equipment.records import (
    ReferenceBlock,
    ReportReview,
    Tester,
    TesterCertificate,
    ThermometerCertificate,
)
from app.equipment.records import Thermometer as ThermometerRow
from app.equipment.rules import DatedPaper

_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_session, _tester = BenchSession.__table__.c, Tester.__table__.c
_check, _block = BlockCheck.__table__.c, ReferenceBlock.__table__.c
_review = ReportReview.__table__.c
_certificate = TesterCertificate.__table__.c
_study, _closing = TesterStudy.__table__.c, StudyClosing.__table__.c
_thermometer, _its_paper = ThermometerRow.__table__.c, ThermometerCertificate.__table__.c

_SESSIONS = (
    select(
        _session.id,
        _tester.id.label("tester_id"),
        _tester.code,
        _tester.unit,
        _tester.build,
        _tester.resolution,
        _session.thermometer_id,
        _thermometer.code.label("thermometer"),
    )
    .join(Tester.__table__, _tester.id == _session.tester_id)
    .outerjoin(ThermometerRow.__table__, _thermometer.id == _session.thermometer_id)
    .where(_session.id.in_(_KEYS))
)
_CHECKS = (
    select(
        _check.session_id,
        _check.moment,
        _check.outcome,
        _check.taken_at,
        _block.code,
        _block.certified_value,
        _block.expanded_uncertainty,
    )
    .join(ReferenceBlock.__table__, _block.id == _check.block_id)
    .join(ReportReview.__table__, (_review.block_id == _block.id) & _review.accepted)
    .where(_check.session_id.in_(_KEYS))
    .order_by(_check.id)
)
_CERTIFICATES = (
    select(
        _certificate.tester_id,
        _certificate.done_on,
        _certificate.due_on,
        _certificate.expanded_uncertainty,
        _certificate.certificate,
        _certificate.corrections,
        _certificate.as_found,
        _review.remark,
    )
    .join(
        ReportReview.__table__,
        (_review.tester_certificate_id == _certificate.id) & _review.accepted,
    )
    .where(_certificate.tester_id.in_(_KEYS))
    .order_by(_certificate.done_on.desc(), _certificate.id.desc())
)
_THERMOMETERS = (
    select(_its_paper.thermometer_id, _its_paper.done_on, _its_paper.due_on)
    .join(
        ReportReview.__table__,
        (_review.thermometer_certificate_id == _its_paper.id) & _review.accepted,
    )
    .where(_its_paper.thermometer_id.in_(_KEYS))
    .order_by(_its_paper.done_on.desc(), _its_paper.id.desc())
)


def _accepted(
    session: Session, statement: Select[Any], keys: Collection[int], until: datetime | None
) -> Sequence[Row[Any]]:
    """The rows of papers that were accepted, of all or of those that were so by then."""
    if until is not None:
        statement = statement.where(_review.reviewed_at <= until)
    return session.execute(statement, {"keys": list(keys)}).all()


def session_files(
    session: Session, session_ids: Collection[int], *, until: datetime | None = None
) -> dict[int, SessionFile]:
    """The sessions as evidence, by key; five queries at the most, however many.

    Certificates, and checks on blocks, that no second person accepted are not there; with
    ``until`` none that was accepted later.
    """
    if not session_ids:
        return {}
    opened = session.execute(_SESSIONS, {"keys": list(session_ids)}).all()
    checks: dict[int, list[Any]] = {}
    for row in _accepted(session, _CHECKS, session_ids, until):
        checks.setdefault(row.session_id, []).append(row)
    testers = {row.tester_id for row in opened}
    certificates = _certificates(session, testers, until)
    studies = _studies(session, testers)
    named = {row.thermometer_id: row.thermometer for row in opened}
    thermometers = _thermometers(session, named, until)
    return {
        row.id: SessionFile(
            tester=row.code,
            unit=row.unit,
            build=None if row.build is None else row.build.value,
            step=row.resolution,
            checks=tuple(
                Check(
                    check.moment.value,
                    check.outcome == "conforms",
                    check.taken_at,
                    check.code,
                    check.certified_value,
                )
                for check in checks.get(row.id, ())
            ),
            certificates=tuple(certificates.get(row.tester_id, ())),
            blocks={check.code: check.expanded_uncertainty for check in checks.get(row.id, ())},
            thermometer=thermometers.get(row.thermometer_id),
            studies=studies.get(row.tester_id, ()),
        )
        for row in opened
    }


def _certificates(
    session: Session, tester_ids: Collection[int], until: datetime | None
) -> dict[int, list[Certificate]]:
    """Each tester's accepted certificates, newest entry first; one query."""
    by_tester: dict[int, list[Certificate]] = {}
    for row in _accepted(session, _CERTIFICATES, tester_ids, until):
        by_tester.setdefault(row.tester_id, []).append(
            Certificate(
                DatedPaper(row.done_on, row.due_on),
                row.expanded_uncertainty,
                row.certificate,
                points_of(row.corrections),
                as_found=bool(row.as_found),
                remark=row.remark,
            )
        )
    return by_tester


def _thermometers(
    session: Session, codes: dict[int | None, str | None], until: datetime | None
) -> dict[int | None, Thermometer]:
    """The thermometers named, by key, with their accepted certificates, newest entry first."""
    named = {key: code for key, code in codes.items() if key is not None and code is not None}
    if not named:
        return {}
    papers: dict[int, list[DatedPaper]] = {key: [] for key in named}
    for row in _accepted(session, _THERMOMETERS, named, until):
        papers[row.thermometer_id].append(DatedPaper(row.done_on, row.due_on))
    return {key: Thermometer(code, tuple(papers[key])) for key, code in named.items()}


_STUDIES = (
    select(_study.tester_id, _study.id, _closing.closed_at, _closing.result)
    .join(StudyClosing.__table__, _closing.study_id == _study.id)
    .where(_study.tester_id.in_(_KEYS))
    .order_by(_closing.id)
)


def _studies(session: Session, tester_ids: Collection[int]) -> dict[int, tuple[Study, ...]]:
    """Each tester's closed studies, oldest first; none that was given up; one query."""
    by_tester: dict[int, tuple[Study, ...]] = {}
    for row in session.execute(_STUDIES, {"keys": list(tester_ids)}):
        if row.result is not None:
            one = Study(row.id, row.closed_at, Decimal(row.result["counted"]))
            by_tester[row.tester_id] = (*by_tester.get(row.tester_id, ()), one)
    return by_tester


def points_of(kept: list[list[str]] | None) -> tuple[tuple[Decimal, Decimal], ...]:
    """Pairs of figures as they are kept, as figures; none where nothing is kept."""
    return tuple((Decimal(first), Decimal(second)) for first, second in kept or ())
