"""Furnaces, sensors, gauges, thermometers, testers and blocks, and the reports on each."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from sqlalchemy import ForeignKey, Index, LargeBinary, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of


class Furnace(Base):
    """A furnace or autoclave, with the class it is qualified to."""

    __tablename__ = "furnace"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    name: Mapped[str] = mapped_column(String(120))
    furnace_class: Mapped[int]
    """Class number; the uniformity tolerance below is what the class means in this shop."""
    uniformity_c: Mapped[Decimal]
    """Uniformity tolerance, plus or minus, degC."""
    instrumentation_type: Mapped[str] = mapped_column(String(8))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]


class FurnaceQualification(Base):
    """Which pyrometry procedure governs a furnace, and to which class and type it is kept.

    It counts from ``in_force_from`` on, once a second person has accepted it.
    """

    __tablename__ = "furnace_qualification"

    id: Mapped[int] = mapped_column(primary_key=True)
    furnace_id: Mapped[int] = mapped_column(ForeignKey("furnace.id"), index=True)
    procedure_id: Mapped[int] = mapped_column(ForeignKey("requirement.id"))
    furnace_class: Mapped[str] = mapped_column(String(8))
    """As the procedure names it."""
    instrumentation_type: Mapped[str] = mapped_column(String(8))
    in_force_from: Mapped[date]
    note: Mapped[str] = mapped_column(Text)
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class MaintenanceEvent(Base):
    """Work on a furnace, with the checks that its procedure asks for after such work."""

    __tablename__ = "maintenance_event"

    id: Mapped[int] = mapped_column(primary_key=True)
    furnace_id: Mapped[int] = mapped_column(ForeignKey("furnace.id"), index=True)
    event: Mapped[str] = mapped_column(String(120))
    happened_on: Mapped[date]
    asks_for: Mapped[list[str]] = mapped_column(Paper)
    """Kinds of check (``FurnaceCheckKind`` values) that must be made anew on or after the day."""
    note: Mapped[str] = mapped_column(Text)
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class ReportFile(Base):
    """A report or certificate as it came, byte for byte, under its SHA-256."""

    __tablename__ = "report_file"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    file_name: Mapped[str] = mapped_column(String(200))
    media_type: Mapped[str] = mapped_column(String(80))
    size_bytes: Mapped[int]
    content: Mapped[bytes] = mapped_column(LargeBinary, info={"trail": "digest"}, deferred=True)
    stored_at: Mapped[datetime]


class FurnaceCheckKind(StrEnum):
    """The three papers a furnace must have in date."""

    UNIFORMITY_SURVEY = "uniformity survey"
    ACCURACY_TEST = "system accuracy test"
    RECORDER_CALIBRATION = "recorder calibration"


class FurnaceCheck(Base):
    """One survey, accuracy test or calibration: valid from ``done_on`` to ``due_on``, included."""

    __tablename__ = "furnace_check"

    id: Mapped[int] = mapped_column(primary_key=True)
    furnace_id: Mapped[int] = mapped_column(ForeignKey("furnace.id"), index=True)
    kind: Mapped[FurnaceCheckKind] = mapped_column(words_of(FurnaceCheckKind))
    done_on: Mapped[date]
    due_on: Mapped[date]
    passed: Mapped[bool]
    report: Mapped[str] = mapped_column(String(120))
    note: Mapped[str] = mapped_column(Text)
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]
    made_to_class: Mapped[str | None] = mapped_column(String(8))
    made_to_type: Mapped[str | None] = mapped_column(String(8))
    interval: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """The procedure's revision and interval from which the latest ``due_on`` follows."""
    results: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """The report's figures: a survey's sensors and zone, a test's or calibration's points.

    Null: entered bare, from the report's word alone.
    """
    report_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))


class Sensor(Base):
    """A thermocouple."""

    __tablename__ = "sensor"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    thermocouple_type: Mapped[str] = mapped_column(String(4))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]


class SensorCertificate(Base):
    """A sensor's calibration. ``corrections`` are pairs [degC, degC to add], as texts."""

    __tablename__ = "sensor_certificate"

    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id"), index=True)
    done_on: Mapped[date]
    due_on: Mapped[date]
    certificate: Mapped[str] = mapped_column(String(120))
    corrections: Mapped[list[list[str]]] = mapped_column(Paper)
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]
    report_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))


class VacuumGauge(Base):
    """A gauge for bag vacuum: at the leak check, or on the logger's vacuum channel."""

    __tablename__ = "vacuum_gauge"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    name: Mapped[str] = mapped_column(String(120))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]


class GaugeCertificate(Base):
    """A gauge's calibration: in date from ``done_on`` to ``due_on``, both included."""

    __tablename__ = "gauge_certificate"

    id: Mapped[int] = mapped_column(primary_key=True)
    gauge_id: Mapped[int] = mapped_column(ForeignKey("vacuum_gauge.id"), index=True)
    done_on: Mapped[date]
    due_on: Mapped[date]
    certificate: Mapped[str] = mapped_column(String(120))
    largest_error_kpa: Mapped[Decimal | None]
    """Largest error the certificate states, plus or minus, kPa; null where it states none."""
    report_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class ReportReview(Base):
    """A second person's review of a report; only an accepted one counts. One subject is named."""

    __tablename__ = "report_review"
    __table_args__ = (
        Index("ix_report_review_tester_certificate_id", "tester_certificate_id", unique=True),
        Index("ix_report_review_block_id", "block_id", unique=True),
        Index(
            "ix_report_review_thermometer_certificate_id",
            "thermometer_certificate_id",
            unique=True,
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    furnace_check_id: Mapped[int | None] = mapped_column(
        ForeignKey("furnace_check.id"), unique=True
    )
    sensor_certificate_id: Mapped[int | None] = mapped_column(
        ForeignKey("sensor_certificate.id"), unique=True
    )
    gauge_certificate_id: Mapped[int | None] = mapped_column(
        ForeignKey("gauge_certificate.id"), unique=True
    )
    qualification_id: Mapped[int | None] = mapped_column(
        ForeignKey("furnace_qualification.id"), unique=True
    )
    accepted: Mapped[bool]
    remark: Mapped[str] = mapped_column(Text)
    reviewed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    reviewed_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    tester_certificate_id: Mapped[int | None] = mapped_column(ForeignKey("tester_certificate.id"))
    block_id: Mapped[int | None] = mapped_column(ForeignKey("reference_block.id"))
    """A reference block with its certificate, which are entered as one."""
    thermometer_certificate_id: Mapped[int | None] = mapped_column(
        ForeignKey("thermometer_certificate.id")
    )


class Thermometer(Base):
    """A thermometer for coupons and reference blocks at the bench."""

    __tablename__ = "thermometer"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    name: Mapped[str] = mapped_column(String(120))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]


class ThermometerCertificate(Base):
    """A thermometer's calibration: in date from ``done_on`` to ``due_on``, both included."""

    __tablename__ = "thermometer_certificate"

    id: Mapped[int] = mapped_column(primary_key=True)
    thermometer_id: Mapped[int] = mapped_column(ForeignKey("thermometer.id"), index=True)
    done_on: Mapped[date]
    due_on: Mapped[date]
    certificate: Mapped[str] = mapped_column(String(120))
    largest_error_c: Mapped[Decimal | None]
    """Largest error the certificate states, plus or minus, degC; null where it states none."""
    report_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class Build(StrEnum):
    """How an instrument is built; an acceptance table may permit some only."""

    FIXED = "fixed"
    PORTABLE = "portable"


class Tester(Base):
    """A hardness tester or conductivity meter, for one scale or unit."""

    __tablename__ = "tester"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    name: Mapped[str] = mapped_column(String(120))
    quantity: Mapped[str] = mapped_column(String(40))
    """``hardness`` or ``conductivity``, as in an acceptance table."""
    unit: Mapped[str] = mapped_column(String(20))
    """Scale of hardness (HRB, HBW 10/500, ...) or unit of conductivity (%IACS, MS/m)."""
    frequency_khz: Mapped[Decimal | None]
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]
    build: Mapped[Build | None] = mapped_column(words_of(Build))
    measures_from: Mapped[Decimal | None]
    measures_to: Mapped[Decimal | None]
    """The range it measures, both ends included, in its unit; None where none is stated."""
    resolution: Mapped[Decimal | None]
    """Smallest step of its display, in its unit: where the point stands in digits keyed without."""
    accuracy: Mapped[Decimal | None]
    """Largest error its maker states, plus or minus, in its unit."""
    indenter: Mapped[str | None] = mapped_column(String(60))
    force_n: Mapped[Decimal | None]
    ball_mm: Mapped[Decimal | None]
    """Ball of a Brinell tester, mm. With ``force_n`` it lets raw indentations be keyed."""
    asymmetry_percent: Mapped[Decimal | None]
    """Most by which the two sizes of one indentation may differ, in % of the larger, included."""
    probe: Mapped[str | None] = mapped_column(String(60))
    check_every_min: Mapped[int | None]
    """Minutes after a check when the next one is due; None: opening and closing only."""


class TesterQuarantine(Base):
    """A tester taken out of use. It stays out until a lift names it."""

    __tablename__ = "tester_quarantine"

    id: Mapped[int] = mapped_column(primary_key=True)
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    check_id: Mapped[int | None] = mapped_column(ForeignKey("block_check.id"))
    """The failed check that brought it about; None where a person did."""
    operator_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    """Whose session that check ended; None where a person took the tester out of use."""
    reason: Mapped[str] = mapped_column(Text)
    placed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    placed_at: Mapped[datetime]


class QuarantineLift(Base):
    """A second person lets a tester be used again, for what was found and done."""

    __tablename__ = "quarantine_lift"

    id: Mapped[int] = mapped_column(primary_key=True)
    quarantine_id: Mapped[int] = mapped_column(ForeignKey("tester_quarantine.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))
    lifted_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    lifted_at: Mapped[datetime]


class TesterCertificate(Base):
    """A tester's calibration: in date from ``done_on`` to ``due_on``, both included."""

    __tablename__ = "tester_certificate"

    id: Mapped[int] = mapped_column(primary_key=True)
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    done_on: Mapped[date]
    due_on: Mapped[date]
    certificate: Mapped[str] = mapped_column(String(120))
    expanded_uncertainty: Mapped[Decimal | None]
    """U with k = 2, in the tester's unit, where the certificate states one."""
    entered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]
    as_found: Mapped[list[list[str]] | None] = mapped_column(Paper)
    """Pairs [reference value, value read] before any adjustment; null where none are stated."""
    as_left: Mapped[list[list[str]] | None] = mapped_column(Paper)
    """The same after adjustment; null where nothing was adjusted."""
    as_found_within: Mapped[bool | None]
    """Whether it was found within its tolerance, as the certificate says; null: it does not say."""
    corrections: Mapped[list[list[str]] | None] = mapped_column(Paper)
    """Pairs [value read, to add], straight between; they count once the certificate is accepted."""
    report_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))


class ReferenceBlock(Base):
    """A hardness block or conductivity standard with its certified value."""

    __tablename__ = "reference_block"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    quantity: Mapped[str] = mapped_column(String(40))
    unit: Mapped[str] = mapped_column(String(20))
    certified_value: Mapped[Decimal]
    permitted_error: Mapped[Decimal]
    """Largest error of the mean of the check readings, plus or minus, included."""
    expires_on: Mapped[date]
    certificate: Mapped[str] = mapped_column(String(120))
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    registered_at: Mapped[datetime]
    expanded_uncertainty: Mapped[Decimal | None]
    """U with k = 2 of the certified value, in the block's unit, where the certificate states it."""
    indents_most: Mapped[int | None]
    """Most indents the block may take; None where it is not used up (a conductivity standard)."""
    certified_at_c: Mapped[Decimal | None]
    """Temperature the certified value holds at, degC."""
    report_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))
