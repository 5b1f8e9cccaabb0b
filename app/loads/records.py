"""Furnace loads: what was planned, checked, recorded and found on unwrapping."""

from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from sqlalchemy import ForeignKey, Index, LargeBinary, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of


class Load(Base):
    """One furnace load as planned. Where it stands follows from the rows that name it."""

    __tablename__ = "load"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(ForeignKey("identity.code"), unique=True)
    furnace_id: Mapped[int] = mapped_column(ForeignKey("furnace.id"), index=True)
    cycle_revision_id: Mapped[int] = mapped_column(
        ForeignKey("requirement_revision.id"), index=True
    )
    planned_start: Mapped[datetime]
    planned_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    planned_at: Mapped[datetime]


class LoadPanel(Base):
    """A panel in a load, with the table revision that will judge its coupons."""

    __tablename__ = "load_panel"
    __table_args__ = (UniqueConstraint("load_id", "panel_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"))
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    table_revision_id: Mapped[int] = mapped_column(
        ForeignKey("requirement_revision.id"), index=True
    )
    former: Mapped[str] = mapped_column(String(80))
    treatment_number: Mapped[int]
    """Which thermal treatment of the panel this is, counting those it came with."""


class LoadCoupon(Base):
    """A coupon's station on a panel: x along the length, y across, 0 to 1. A coupon rides once."""

    __tablename__ = "load_coupon"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), index=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"), unique=True)
    station: Mapped[str] = mapped_column(String(40))
    x: Mapped[Decimal]
    y: Mapped[Decimal]


class SensorRole(StrEnum):
    """What a sensor of the load is for; the load sensors decide the soak."""

    LOAD = "load"
    CONTROL = "control"


class LoadSensor(Base):
    """A sensor's station and the logger channel that carries it."""

    __tablename__ = "load_sensor"
    __table_args__ = (
        UniqueConstraint("load_id", "sensor_id"),
        UniqueConstraint("load_id", "channel"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"))
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id"), index=True)
    panel_id: Mapped[int | None] = mapped_column(ForeignKey("panel.id"))
    channel: Mapped[str] = mapped_column(String(40))
    role: Mapped[SensorRole] = mapped_column(words_of(SensorRole))
    station: Mapped[str] = mapped_column(String(40))
    x: Mapped[Decimal | None]
    y: Mapped[Decimal | None]


class LeakCheck(Base):
    """Bag leak check before the door closes: level at both ends of a time, kPa below ambient."""

    __tablename__ = "leak_check"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"))
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    start_kpa: Mapped[Decimal]
    end_kpa: Mapped[Decimal]
    minutes: Mapped[Decimal]
    limit_kpa: Mapped[Decimal]
    """Largest drop permitted in the time, included."""
    outcome: Mapped[str] = mapped_column(String(20))
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    taken_at: Mapped[datetime]
    entered_at: Mapped[datetime]
    __table_args__ = (Index("ix_leak_check_load_id_id", "load_id", "id"),)


class StoredFile(Base):
    """An uploaded file, byte for byte, under its SHA-256. A file belongs to one load only."""

    __tablename__ = "stored_file"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), index=True)
    size_bytes: Mapped[int]
    compression: Mapped[str] = mapped_column(String(10))
    content: Mapped[bytes] = mapped_column(LargeBinary, info={"trail": "digest"}, deferred=True)
    stored_at: Mapped[datetime]


class FurnaceRecord(Base):
    """One import of a logger's file for a load; a later import names the one it replaces."""

    __tablename__ = "furnace_record"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), index=True)
    file_sha256: Mapped[str] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    file_name: Mapped[str] = mapped_column(String(200))
    layout: Mapped[dict[str, Any]] = mapped_column(Paper)
    """Which column is the time, in which form, the unit, and the column of each channel."""
    starts_at: Mapped[datetime | None]
    """Time of the first sample, where the file says one."""
    length_s: Mapped[Decimal]
    samples: Mapped[int]
    trace_sha256: Mapped[str] = mapped_column(String(64))
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("furnace_record.id"), unique=True)
    imported_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    imported_at: Mapped[datetime]


class RecordTrace(Base):
    """The samples of a record in the compact store (Parquet), as read, in the file's own unit."""

    __tablename__ = "record_trace"

    record_id: Mapped[int] = mapped_column(ForeignKey("furnace_record.id"), primary_key=True)
    content: Mapped[bytes] = mapped_column(LargeBinary, info={"trail": "digest"}, deferred=True)


class SensorExclusion(Base):
    """A supervisor takes a failed load sensor out of the required ones, with a reason."""

    __tablename__ = "sensor_exclusion"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_sensor_id: Mapped[int] = mapped_column(ForeignKey("load_sensor.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class RecordVerdict(Base):
    """A judgement of a record as made, with what it was made from. A new judgement is a new row."""

    __tablename__ = "record_verdict"

    id: Mapped[int] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(ForeignKey("furnace_record.id"), index=True)
    cycle_revision_id: Mapped[int] = mapped_column(ForeignKey("requirement_revision.id"))
    cycle_as_judged: Mapped[dict[str, Any]] = mapped_column(Paper)
    """The cycle paper with the load's required sensors and corrections filled in."""
    verdict: Mapped[str] = mapped_column(String(20))
    paper: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    """Stages, rates, vacuum and findings, each finding with its working."""
    paper_sha256: Mapped[str] = mapped_column(String(64))
    rules_version: Mapped[str] = mapped_column(String(20))
    judged_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    judged_at: Mapped[datetime]


class Unwrapping(Base):
    """What was found when a panel was unwrapped; a later row for the same panel corrects it."""

    __tablename__ = "unwrapping"
    __table_args__ = (Index("ix_unwrapping_load_id_panel_id_id", "load_id", "panel_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"))
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    bag_intact: Mapped[bool]
    surface_clear: Mapped[bool | None]
    """Surface search: True nothing found, False something found, None not yet done."""
    findings: Mapped[str] = mapped_column(Text)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    taken_at: Mapped[datetime]
    entered_at: Mapped[datetime]
