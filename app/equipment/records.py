"""Furnaces, sensors, testers and reference blocks, and the papers that keep them in date."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import ForeignKey, String, Text
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
