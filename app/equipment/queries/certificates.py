"""Certificates of instruments with what a second person said of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, aliased

from app.equipment.queries.furnaces import review_of
from app.equipment.records import (
    GaugeCertificate,
    ReportReview,
    SensorCertificate,
    TesterCertificate,
    ThermometerCertificate,
    VacuumGauge,
)
from app.errors import NotFound
from app.judging.furnace.calibrations import CertificateOnRecord
from app.people.records import Person

_enters, _reviews = aliased(Person), aliased(Person)


@dataclass(frozen=True, slots=True)
class GaugeFile:
    """A vacuum gauge and its certificates, the newest entry first."""

    code: str
    certificates: tuple[CertificateOnRecord, ...]


def _certificates(certificate: Any, owner: Any, reviewed: Any) -> Any:
    return (
        select(
            owner.label("owner_id"),
            certificate.done_on,
            certificate.due_on,
            certificate.certificate,
            _enters.full_name.label("entered_by"),
            ReportReview.accepted,
            _reviews.full_name.label("reviewed_by"),
        )
        .join(_enters, _enters.id == certificate.entered_by_id)
        .outerjoin(ReportReview, reviewed == certificate.id)
        .outerjoin(_reviews, _reviews.id == ReportReview.reviewed_by_id)
        .where(owner.in_(bindparam("keys", expanding=True)))
        .order_by(certificate.id.desc())
    )


# Built once: putting a statement together takes longer than running it for one load.
_OF_SENSORS = _certificates(
    SensorCertificate, SensorCertificate.sensor_id, ReportReview.sensor_certificate_id
)
_OF_GAUGES = _certificates(
    GaugeCertificate, GaugeCertificate.gauge_id, ReportReview.gauge_certificate_id
)
_OF_TESTERS = _certificates(
    TesterCertificate, TesterCertificate.tester_id, ReportReview.tester_certificate_id
)
_OF_THERMOMETERS = _certificates(
    ThermometerCertificate,
    ThermometerCertificate.thermometer_id,
    ReportReview.thermometer_certificate_id,
)

_CORRECTIONS = (
    select(
        SensorCertificate.sensor_id,
        SensorCertificate.done_on,
        SensorCertificate.corrections,
        ReportReview.accepted,
    )
    .outerjoin(ReportReview, ReportReview.sensor_certificate_id == SensorCertificate.id)
    .where(SensorCertificate.sensor_id.in_(bindparam("keys", expanding=True)))
    .order_by(SensorCertificate.done_on.desc(), SensorCertificate.id.desc())
)


def sensor_papers(
    session: Session, sensor_ids: Iterable[int]
) -> dict[int, tuple[CertificateOnRecord, ...]]:
    """Certificates by sensor, the newest entry first; one query however many sensors."""
    return _papers(session, _OF_SENSORS, sorted(set(sensor_ids)))


def tester_papers(
    session: Session, tester_ids: Iterable[int]
) -> dict[int, tuple[CertificateOnRecord, ...]]:
    """Certificates by tester, the newest entry first; one query however many testers."""
    return _papers(session, _OF_TESTERS, sorted(set(tester_ids)))


def thermometer_papers(
    session: Session, thermometer_ids: Iterable[int]
) -> dict[int, tuple[CertificateOnRecord, ...]]:
    """Certificates by thermometer, the newest entry first; one query however many of them."""
    return _papers(session, _OF_THERMOMETERS, sorted(set(thermometer_ids)))


def gauge_files(session: Session, gauge_ids: Iterable[int]) -> dict[int, GaugeFile]:
    """Gauges with their certificates, by key; two queries however many gauges."""
    keys = sorted(set(gauge_ids))
    papers = _papers(session, _OF_GAUGES, keys)
    codes = session.execute(
        select(VacuumGauge.id, VacuumGauge.code).where(VacuumGauge.id.in_(keys))
    )
    return {row.id: GaugeFile(row.code, papers[row.id]) for row in codes}


@dataclass(frozen=True, slots=True)
class Corrected:
    """A sensor's certificate as far as readings are corrected by it."""

    done_on: date
    accepted: bool | None
    """What a second person said of it; None: nothing yet."""
    corrections: list[list[str]]


def sensor_corrections(session: Session, sensor_ids: Iterable[int]) -> dict[int, list[Corrected]]:
    """Corrections by sensor, the newest made first; one query however many sensors."""
    keys = sorted(set(sensor_ids))
    found: dict[int, list[Corrected]] = {key: [] for key in keys}
    for row in session.execute(_CORRECTIONS, {"keys": keys}):
        found[row.sensor_id].append(Corrected(row.done_on, row.accepted, row.corrections))
    return found


def corrections_on(papers: Sequence[Corrected], day: date) -> list[list[str]]:
    """By what a sensor's readings of a day are corrected; its certificates come newest first.

    The newest accepted certificate made by that day; where none is accepted yet, the newest that
    is not rejected. Whether it is evidence is another matter, which its review decides.
    """
    made = [one for one in papers if one.done_on <= day and one.accepted is not False]
    accepted = [one for one in made if one.accepted]
    best = (accepted or made)[:1]
    return best[0].corrections if best else []


def gauge(session: Session, code: str) -> VacuumGauge:
    """The vacuum gauge of that identity; NotFound if there is none."""
    found = session.scalars(select(VacuumGauge).where(VacuumGauge.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No vacuum gauge {code} is on record.")
    return found


def gauges(session: Session) -> Sequence[VacuumGauge]:
    """Every vacuum gauge, by code."""
    return session.scalars(select(VacuumGauge).order_by(VacuumGauge.code)).all()


def gauge_certificates(session: Session, gauge_id: int) -> Sequence[GaugeCertificate]:
    """A gauge's certificates, newest first."""
    return session.scalars(
        select(GaugeCertificate)
        .where(GaugeCertificate.gauge_id == gauge_id)
        .order_by(GaugeCertificate.done_on.desc(), GaugeCertificate.id.desc())
    ).all()


def _papers(
    session: Session, statement: Any, keys: Sequence[int]
) -> dict[int, tuple[CertificateOnRecord, ...]]:
    found: dict[int, list[CertificateOnRecord]] = {key: [] for key in keys}
    for row in session.execute(statement, {"keys": keys}):
        found[row.owner_id].append(
            CertificateOnRecord(
                done_on=row.done_on,
                due_on=row.due_on,
                entered_by=row.entered_by,
                review=review_of(row),
                certificate=row.certificate,
            )
        )
    return {key: tuple(papers) for key, papers in found.items()}
