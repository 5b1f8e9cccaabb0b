"""Furnace loads: what was planned, checked, recorded and found on unwrapping."""

from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import BigInteger, ForeignKey, Index, LargeBinary, String, Text, UniqueConstraint
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
    planned_end: Mapped[datetime | None]
    """When the load is expected out of the furnace; papers must be in date until then."""
    vacuum_gauge_id: Mapped[int | None] = mapped_column(ForeignKey("vacuum_gauge.id"))
    """The gauge on the logger's vacuum channel."""


class LoadCancellation(Base):
    """A load that will not be run; its panels and coupons are free for another."""

    __tablename__ = "load_cancellation"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]


class LoadStart(Base):
    """The door was closed and the cycle started, with the gates as they stood."""

    __tablename__ = "load_start"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), unique=True)
    started_at: Mapped[datetime]
    findings: Mapped[list[dict[str, Any]]] = mapped_column(Paper)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class LoadEnd(Base):
    """The load was taken out of the furnace, with the gates as they stood."""

    __tablename__ = "load_end"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), unique=True)
    ended_at: Mapped[datetime]
    findings: Mapped[list[dict[str, Any]]] = mapped_column(Paper)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]


class LotException(Base):
    """A supervisor accepts a coupon of another lot than its panel's, with a reason, signed."""

    __tablename__ = "lot_exception"
    __table_args__ = (UniqueConstraint("coupon_id", "panel_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"))
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    reason: Mapped[str] = mapped_column(Text)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


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
    x_mm: Mapped[Decimal | None]
    """Where the panel's lower left corner lies in the furnace's surveyed zone, along it."""
    y_mm: Mapped[Decimal | None]
    turned: Mapped[bool | None]
    """Whether the panel's length lies across the zone."""
    governed: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """Why this table and cycle govern the panel: the order, its day, and a sentence for each."""


class LoadCoupon(Base):
    """A coupon's station on a panel: x along the length, y across, 0 to 1.

    A coupon rides once; a cancelled load was no ride.
    """

    __tablename__ = "load_coupon"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), index=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"), index=True)
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
    gauge_id: Mapped[int | None] = mapped_column(ForeignKey("vacuum_gauge.id"))
    typed: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """Unit and figures as they were read off the gauge, where not kPa below ambient."""
    __table_args__ = (Index("ix_leak_check_load_id_id", "load_id", "id"),)

    @property
    def rate(self) -> str:
        """What the bag lost in a minute, kPa, to three figures; for the eye, it decides nothing."""
        return f"{float(self.start_kpa - self.end_kpa) / float(self.minutes):.3g}"


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
    reason: Mapped[str | None] = mapped_column(Text)
    """Why it replaces the earlier one; null for a load's first, and where only the trail has it."""
    signature_id: Mapped[int | None] = mapped_column(ForeignKey("signature.id"))
    """Of who let it replace the earlier one; null for a load's first, and before it was asked."""
    imported_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    imported_at: Mapped[datetime]
    mapping_revision_id: Mapped[int | None] = mapped_column(ForeignKey("requirement_revision.id"))
    """The approved mapping it was read by; null where its columns were chosen by hand."""
    notes: Mapped[list[str] | None] = mapped_column(Paper)
    """What the reader noticed: rows dropped as identical, holes between files."""


class RecordFile(Base):
    """A further file of a record that came in several; ``position`` counts from 2."""

    __tablename__ = "record_file"
    __table_args__ = (UniqueConstraint("record_id", "position"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(ForeignKey("furnace_record.id"))
    position: Mapped[int]
    file_sha256: Mapped[str] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    file_name: Mapped[str] = mapped_column(String(200))


class LayoutConfirmation(Base):
    """A second person compared the columns as read by hand with the file, signed."""

    __tablename__ = "layout_confirmation"

    id: Mapped[int] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(ForeignKey("furnace_record.id"), unique=True)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class RecordDoubts(Base):
    """What looks odd about a record, as noticed when it came in. Notes; they decide nothing."""

    __tablename__ = "record_doubts"

    record_id: Mapped[int] = mapped_column(ForeignKey("furnace_record.id"), primary_key=True)
    findings: Mapped[list[dict[str, Any]]] = mapped_column(Paper)


class TraceMark(Base):
    """A fingerprint of a piece of a channel, by which a trace seen earlier is found again.

    Derived from the trace alone, so it is not on the trail.
    """

    on_trail: ClassVar[bool] = False
    __tablename__ = "trace_mark"

    id: Mapped[int] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(ForeignKey("furnace_record.id"), index=True)
    channel: Mapped[str] = mapped_column(String(40))
    mark: Mapped[int] = mapped_column(BigInteger, index=True)


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


class RecordSummary(Base):
    """What each deciding sensor saw: arrival, lowest, mean, highest in the soak, equivalent time.

    ``paper`` has one object a sensor, by channel. Kept beside its verdict for history and pictures.
    """

    __tablename__ = "record_summary"

    verdict_id: Mapped[int] = mapped_column(ForeignKey("record_verdict.id"), primary_key=True)
    paper: Mapped[list[dict[str, Any]]] = mapped_column(Paper, info={"trail": "digest"})


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
    contour_gap_mm: Mapped[Decimal | None]
    """Largest gap between the panel and its checking fixture, as measured; None: not measured."""
    contour_limit_mm: Mapped[Decimal | None]
    """Largest gap the drawing permits, included."""


class SurfaceFinding(Base):
    """Something the surface search found, and where: x along the panel, y across, 0 to 1."""

    __tablename__ = "surface_finding"

    id: Mapped[int] = mapped_column(primary_key=True)
    unwrapping_id: Mapped[int] = mapped_column(ForeignKey("unwrapping.id"), index=True)
    kind: Mapped[str] = mapped_column(String(80))
    x: Mapped[Decimal]
    y: Mapped[Decimal]
    size_mm: Mapped[Decimal | None]
    words: Mapped[str] = mapped_column(Text)


class Photograph(Base):
    """A photograph taken at unwrapping, byte for byte."""

    __tablename__ = "photograph"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"))
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    surface_finding_id: Mapped[int | None] = mapped_column(
        ForeignKey("surface_finding.id"), index=True
    )
    caption: Mapped[str] = mapped_column(String(200))
    file_name: Mapped[str] = mapped_column(String(200))
    media_type: Mapped[str] = mapped_column(String(40))
    width_px: Mapped[int]
    height_px: Mapped[int]
    sha256: Mapped[str] = mapped_column(String(64))
    content: Mapped[bytes] = mapped_column(LargeBinary, info={"trail": "digest"}, deferred=True)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    entered_at: Mapped[datetime]
    __table_args__ = (Index("ix_photograph_load_id_panel_id", "load_id", "panel_id"),)
