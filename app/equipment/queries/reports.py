"""Reports, certificates and qualifications as a second person reviews them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from urllib.parse import quote

from sqlalchemy import Select, exists, literal, select, union_all
from sqlalchemy.orm import Session

from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    FurnaceQualification,
    GaugeCertificate,
    ReferenceBlock,
    ReportFile,
    ReportReview,
    Sensor,
    SensorCertificate,
    Tester,
    TesterCertificate,
    Thermometer,
    ThermometerCertificate,
    VacuumGauge,
)
from app.errors import NotFound
from app.requirements.records import Requirement


class SubjectKind(StrEnum):
    """What a review is of; the value is what it is called."""

    FURNACE_CHECK = "furnace check"
    QUALIFICATION = "qualification"
    SENSOR_CERTIFICATE = "sensor certificate"
    GAUGE_CERTIFICATE = "gauge certificate"
    TESTER_CERTIFICATE = "tester certificate"
    THERMOMETER_CERTIFICATE = "thermometer certificate"
    BLOCK = "reference block"
    """A reference block with its certificate, which are entered as one."""

    @property
    def address(self) -> str:
        """Where such reports are, with the identity of the thing they are about left open."""
        kind = _KINDS[self]
        return f"/{kind.place}/{{code:path}}/{kind.part}"


@dataclass(frozen=True, slots=True)
class Subject:
    """One report that may be reviewed."""

    kind: SubjectKind
    id: int

    @property
    def column(self) -> str:
        """The column of a review that names it."""
        return _KINDS[self.kind].column


@dataclass(frozen=True, slots=True)
class ReportOnFile:
    """A report with whose it is, who entered it, and its review where there is one."""

    subject: Subject
    row: Any
    about: tuple[str, str]
    """Kind and code of the thing it is about."""
    words: str
    """What it is called within a sentence."""
    done_on: date | None
    """The day it is of; None of a reference block, whose certificate states its last day alone."""
    entered_by_id: int
    entered_at: datetime
    review: ReportReview | None

    @property
    def href(self) -> str:
        """Its page."""
        kind = _KINDS[self.subject.kind]
        return f"/{kind.place}/{quote(self.about[1])}/{kind.part}/{self.subject.id}"


@dataclass(frozen=True, slots=True)
class _Kind:
    record: Any
    owner: Any
    owner_id: Any
    about: str
    column: str
    place: str
    part: str


_KINDS = {
    SubjectKind.FURNACE_CHECK: _Kind(
        FurnaceCheck,
        Furnace,
        FurnaceCheck.furnace_id,
        "furnace",
        "furnace_check_id",
        "furnaces",
        "checks",
    ),
    SubjectKind.QUALIFICATION: _Kind(
        FurnaceQualification,
        Furnace,
        FurnaceQualification.furnace_id,
        "furnace",
        "qualification_id",
        "furnaces",
        "qualifications",
    ),
    SubjectKind.SENSOR_CERTIFICATE: _Kind(
        SensorCertificate,
        Sensor,
        SensorCertificate.sensor_id,
        "sensor",
        "sensor_certificate_id",
        "sensors",
        "certificates",
    ),
    SubjectKind.GAUGE_CERTIFICATE: _Kind(
        GaugeCertificate,
        VacuumGauge,
        GaugeCertificate.gauge_id,
        "vacuum_gauge",
        "gauge_certificate_id",
        "gauges",
        "certificates",
    ),
    SubjectKind.TESTER_CERTIFICATE: _Kind(
        TesterCertificate,
        Tester,
        TesterCertificate.tester_id,
        "tester",
        "tester_certificate_id",
        "testers",
        "certificates",
    ),
    SubjectKind.THERMOMETER_CERTIFICATE: _Kind(
        ThermometerCertificate,
        Thermometer,
        ThermometerCertificate.thermometer_id,
        "thermometer",
        "thermometer_certificate_id",
        "thermometers",
        "certificates",
    ),
    SubjectKind.BLOCK: _Kind(
        ReferenceBlock,
        ReferenceBlock,
        ReferenceBlock.id,
        "reference_block",
        "block_id",
        "blocks",
        "certificates",
    ),
}


def report(session: Session, subject: Subject) -> ReportOnFile:
    """One report.

    Raises:
        NotFound: there is none of that number.
    """
    found = _reports(session, subject.kind, lambda kind: kind.record.id == subject.id)
    if not found:
        raise NotFound(f"No {subject.kind} of that number is on record.")
    return found[0]


def report_of(session: Session, subject: Subject, code: str) -> ReportOnFile:
    """One report of the thing of that identity.

    Raises:
        NotFound: there is none of that number, or it is another thing's.
    """
    found = report(session, subject)
    if found.about[1] != code:
        raise NotFound(f"{code} has no {subject.kind} of that number.")
    return found


def waiting_reports(session: Session) -> list[ReportOnFile]:
    """Every report that nobody has reviewed, the longest waiting first.

    One query says of which kinds there are any, and one for each of these kinds reads them.
    """
    waiting = set(session.scalars(union_all(*(_any_waiting(kind) for kind in SubjectKind))))
    found = [
        one
        for kind in SubjectKind
        if kind.value in waiting
        for one in _reports(session, kind, lambda _kind: ReportReview.id.is_(None))
    ]
    return sorted(found, key=lambda one: (one.entered_at, one.subject.kind, one.subject.id))


def _any_waiting(which: SubjectKind) -> Select[str]:
    """The kind, where a report of it waits for a second person."""
    kind = _KINDS[which]
    reviewed = exists().where(getattr(ReportReview, kind.column) == kind.record.id)
    return select(literal(which.value)).where(exists(select(kind.record.id).where(~reviewed)))


def reviews_of(session: Session, kind: SubjectKind, keys: Sequence[int]) -> dict[int, ReportReview]:
    """The reviews of reports of one kind, by the report's key; one query."""
    column = getattr(ReportReview, _KINDS[kind].column)
    rows = session.scalars(select(ReportReview).where(column.in_(list(keys))))
    return {getattr(row, _KINDS[kind].column): row for row in rows}


def report_file(session: Session, sha256: str) -> ReportFile:
    """A report's file.

    Raises:
        NotFound: none is kept under that digest.
    """
    found = session.get(ReportFile, sha256)
    if found is None:
        raise NotFound("No report file is kept under that address.")
    return found


def _reports(session: Session, which: SubjectKind, condition: Any) -> list[ReportOnFile]:
    kind = _KINDS[which]
    named = select(kind.record, kind.owner.code, ReportReview)
    if kind.owner is not kind.record:
        named = named.join(kind.owner, kind.owner.id == kind.owner_id)
    rows = session.execute(
        named.outerjoin(ReportReview, getattr(ReportReview, kind.column) == kind.record.id)
        .where(condition(kind))
        .order_by(kind.record.id)
    )
    return [_on_file(session, which, *row) for row in rows]


def _on_file(
    session: Session, which: SubjectKind, row: Any, code: str, review: ReportReview | None
) -> ReportOnFile:
    entered_by_id, entered_at, done_on = _entry(row)
    return ReportOnFile(
        subject=Subject(which, row.id),
        row=row,
        about=(_KINDS[which].about, code),
        words=_words(session, row, code),
        done_on=done_on,
        entered_by_id=entered_by_id,
        entered_at=entered_at,
        review=review,
    )


def _entry(row: Any) -> tuple[int, datetime, date | None]:
    """Who entered a report, when, and the day it is of, where it has one."""
    if isinstance(row, ReferenceBlock):
        return row.registered_by_id, row.registered_at, None
    done_on = row.in_force_from if isinstance(row, FurnaceQualification) else row.done_on
    return row.entered_by_id, row.entered_at, done_on


def _words(session: Session, row: Any, code: str) -> str:
    if isinstance(row, FurnaceCheck):
        return f"{row.kind} {row.report} of {code}"
    if isinstance(row, FurnaceQualification):
        procedure = session.get_one(Requirement, row.procedure_id)
        return (
            f"qualification of {code} to {procedure.code}, class {row.furnace_class}, type "
            f"{row.instrumentation_type}"
        )
    if isinstance(row, ReferenceBlock):
        return f"reference block {code} with certificate {row.certificate}"
    return f"certificate {row.certificate} of {code}"
