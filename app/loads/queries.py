"""What is read about loads, their seats, their furnace records and verdicts."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.orm import Session, aliased

from app.audit.records import TrailEntry
from app.equipment.records import Furnace, Sensor
from app.errors import NotFound
from app.loads.records import (
    FurnaceRecord,
    LeakCheck,
    Load,
    LoadCancellation,
    LoadCoupon,
    LoadPanel,
    LoadSensor,
    RecordTrace,
    RecordVerdict,
    SensorExclusion,
    SensorRole,
    StoredFile,
    Unwrapping,
)
from app.panels.queries import forebears
from app.panels.records import Coupon, MaterialLot, Panel
from app.people.records import Signature


def goes_ahead(load_id: Any) -> ColumnElement[bool]:
    """Condition that the load of that key was not cancelled: a coupon's seat in one is no ride."""
    return ~exists().where(LoadCancellation.load_id == load_id)


_later = aliased(FurnaceRecord)


def in_use() -> ColumnElement[bool]:
    """Condition that no later import replaced the furnace record; true too where there is none."""
    replaced = exists().where(_later.replaces_id == FurnaceRecord.id)
    return ~replaced.correlate(FurnaceRecord)


@dataclass(frozen=True, slots=True)
class PanelPlace:
    """A panel in a load."""

    id: int
    code: str
    lot_code: str
    length_mm: Decimal
    width_mm: Decimal
    table_revision_id: int
    former: str
    treatment_number: int
    x_mm: Decimal | None
    y_mm: Decimal | None
    turned: bool | None


@dataclass(frozen=True, slots=True)
class CouponPlace:
    """A coupon's station on a panel of the load; x along the length, y across, 0 to 1."""

    id: int
    code: str
    lot_code: str
    panel_id: int
    station: str
    x: Decimal
    y: Decimal


@dataclass(frozen=True, slots=True)
class SensorPlace:
    """A sensor's station and channel. ``excluded`` is why it is no longer required, else None."""

    id: int
    """Of the seat (``LoadSensor``)."""
    sensor_id: int
    code: str
    panel_id: int | None
    channel: str
    role: SensorRole
    station: str
    x: Decimal | None
    y: Decimal | None
    excluded: str | None
    excluded_by: str | None
    excluded_at: datetime | None

    @property
    def required(self) -> bool:
        """Whether it decides the soak."""
        return self.role is SensorRole.LOAD and self.excluded is None


@dataclass(frozen=True, slots=True)
class Seats:
    """Everything in a load, each in the order planned."""

    panels: tuple[PanelPlace, ...]
    coupons: tuple[CouponPlace, ...]
    sensors: tuple[SensorPlace, ...]

    @property
    def required(self) -> tuple[SensorPlace, ...]:
        """The sensors that decide the soak."""
        return tuple(sensor for sensor in self.sensors if sensor.required)


def load(session: Session, code: str) -> Load:
    """The load of that identity.

    Raises:
        NotFound: there is none.
    """
    found = session.scalars(select(Load).where(Load.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No load {code} is on record. Check its sheet and scan it again.")
    return found


def seats(session: Session, load_id: int) -> Seats:
    """The load's panels, coupons and sensors with their stations; three queries."""
    # More columns than the typed select knows, here and below.
    panels: Any = session.execute(
        select(
            Panel.id,
            Panel.code,
            MaterialLot.code,
            Panel.length_mm,
            Panel.width_mm,
            LoadPanel.table_revision_id,
            LoadPanel.former,
            LoadPanel.treatment_number,
            LoadPanel.x_mm,
            LoadPanel.y_mm,
            LoadPanel.turned,
        )
        .join(LoadPanel, LoadPanel.panel_id == Panel.id)
        .join(MaterialLot, MaterialLot.id == Panel.lot_id)
        .where(LoadPanel.load_id == load_id)
        .order_by(LoadPanel.id)
    )
    coupons = session.execute(
        select(
            Coupon.id,
            Coupon.code,
            MaterialLot.code,
            LoadCoupon.panel_id,
            LoadCoupon.station,
            LoadCoupon.x,
            LoadCoupon.y,
        )
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
        .where(LoadCoupon.load_id == load_id)
        .order_by(LoadCoupon.id)
    )
    sensors: Any = session.execute(
        select(
            LoadSensor.id,
            Sensor.id,
            Sensor.code,
            LoadSensor.panel_id,
            LoadSensor.channel,
            LoadSensor.role,
            LoadSensor.station,
            LoadSensor.x,
            LoadSensor.y,
            SensorExclusion.reason,
            Signature.printed_name,
            SensorExclusion.at,
        )
        .join(Sensor, Sensor.id == LoadSensor.sensor_id)
        .outerjoin(SensorExclusion, SensorExclusion.load_sensor_id == LoadSensor.id)
        .outerjoin(Signature, Signature.id == SensorExclusion.signature_id)
        .where(LoadSensor.load_id == load_id)
        .order_by(LoadSensor.id)
    )
    return Seats(
        tuple(PanelPlace(*row) for row in panels),
        tuple(CouponPlace(*row) for row in coupons),
        tuple(SensorPlace(*row) for row in sensors),
    )


def furnace_of(session: Session, load_id: int) -> Furnace:
    """The load's furnace."""
    return session.scalars(
        select(Furnace).join(Load, Load.furnace_id == Furnace.id).where(Load.id == load_id)
    ).one()


def records(session: Session, load_id: int) -> Sequence[FurnaceRecord]:
    """Every import for the load, newest first; the first one stands."""
    return session.scalars(
        select(FurnaceRecord)
        .where(FurnaceRecord.load_id == load_id)
        .order_by(FurnaceRecord.id.desc())
    ).all()


def current_record(session: Session, load_id: int) -> FurnaceRecord | None:
    """The load's furnace record that stands: the last imported; None before any."""
    return session.scalars(
        select(FurnaceRecord)
        .where(FurnaceRecord.load_id == load_id)
        .order_by(FurnaceRecord.id.desc())
        .limit(1)
    ).one_or_none()


def current_records(session: Session, load_ids: Iterable[int]) -> dict[int, FurnaceRecord]:
    """The record that stands, by load; one query however many loads."""
    last = (
        select(func.max(FurnaceRecord.id))
        .where(FurnaceRecord.load_id.in_(list(load_ids)))
        .group_by(FurnaceRecord.load_id)
    )
    return {
        row.load_id: row
        for row in session.scalars(select(FurnaceRecord).where(FurnaceRecord.id.in_(last)))
    }


def latest_verdict(session: Session, record_id: int) -> RecordVerdict | None:
    """The judgement of a record that stands: the last one made."""
    return session.scalars(
        select(RecordVerdict)
        .where(RecordVerdict.record_id == record_id)
        .order_by(RecordVerdict.id.desc())
        .limit(1)
    ).one_or_none()


def latest_verdicts(session: Session, record_ids: Iterable[int]) -> dict[int, str]:
    """The verdict that stands, by record; one query however many records."""
    last = (
        select(func.max(RecordVerdict.id))
        .where(RecordVerdict.record_id.in_(list(record_ids)))
        .group_by(RecordVerdict.record_id)
    )
    return {
        row.record_id: row.verdict
        for row in session.execute(
            select(RecordVerdict.record_id, RecordVerdict.verdict).where(RecordVerdict.id.in_(last))
        )
    }


def trace_content(session: Session, record_id: int) -> bytes:
    """The record's samples as kept; :func:`app.loads.trace_store.unpack_trace` reads them."""
    return session.scalars(
        select(RecordTrace.content).where(RecordTrace.record_id == record_id)
    ).one()


def find_file(session: Session, sha256: str) -> tuple[int, str] | None:
    """The load (key and identity) that a file of these bytes was imported for; None if none."""
    row = session.execute(
        select(Load.id, Load.code)
        .join(StoredFile, StoredFile.load_id == Load.id)
        .where(StoredFile.sha256 == sha256)
    ).one_or_none()
    return None if row is None else (row.id, row.code)


def stored_file(session: Session, sha256: str) -> tuple[bytes, int]:
    """The file's compressed bytes and its size when unpacked."""
    row = session.execute(
        select(StoredFile.content, StoredFile.size_bytes).where(StoredFile.sha256 == sha256)
    ).one()
    return row.content, row.size_bytes


def leak_checks(session: Session, load_id: int) -> Sequence[LeakCheck]:
    """The load's leak checks in the order recorded; a panel's last one stands."""
    return session.scalars(
        select(LeakCheck).where(LeakCheck.load_id == load_id).order_by(LeakCheck.id)
    ).all()


def unwrappings(session: Session, load_id: int) -> Sequence[Unwrapping]:
    """The load's unwrappings in the order recorded; a panel's last one stands."""
    return session.scalars(
        select(Unwrapping).where(Unwrapping.load_id == load_id).order_by(Unwrapping.id)
    ).all()


def loads_of_panels(session: Session, panel_ids: Sequence[int]) -> dict[int, list[Load]]:
    """Every load each panel was planned into, but cancelled ones, oldest first; two queries.

    Loads that a panel went through under another identity, or as part of another, are its own.
    """
    lines = {key: (*line, key) for key, line in forebears(session, panel_ids).items()}
    wanted = {one for line in lines.values() for one in line} | set(panel_ids)
    taken: dict[int, list[Load]] = {key: [] for key in wanted}
    for panel_id, each in session.execute(
        select(LoadPanel.panel_id, Load)
        .join(Load, Load.id == LoadPanel.load_id)
        .where(LoadPanel.panel_id.in_(wanted), goes_ahead(Load.id))
        .order_by(Load.id)
    ):
        taken[panel_id].append(each)
    return {
        key: [load for one in lines.get(key, (key,)) for load in taken[one]] for key in panel_ids
    }


def unfinished_loads(session: Session, panel_ids: Sequence[int]) -> dict[int, str]:
    """The load each panel still sits in (not yet unwrapped, nor cancelled), by panel; one query."""
    done = (
        select(Unwrapping.id)
        .where(Unwrapping.load_id == LoadPanel.load_id)
        .where(Unwrapping.panel_id == LoadPanel.panel_id)
        .exists()
    )
    rows = session.execute(
        select(LoadPanel.panel_id, Load.code)
        .join(Load, Load.id == LoadPanel.load_id)
        .where(LoadPanel.panel_id.in_(panel_ids))
        .where(~done, goes_ahead(Load.id))
        .order_by(Load.id)
    )
    return {row.panel_id: row.code for row in rows}


def seated_coupons(session: Session, coupon_ids: Sequence[int]) -> dict[int, str]:
    """The load each coupon rode in, by coupon; one query."""
    rows = session.execute(
        select(LoadCoupon.coupon_id, Load.code)
        .join(Load, Load.id == LoadCoupon.load_id)
        .where(LoadCoupon.coupon_id.in_(coupon_ids), goes_ahead(Load.id))
    )
    return {row.coupon_id: row.code for row in rows}


def trail(session: Session, code: str) -> Sequence[TrailEntry]:
    """The trail's entries about the load, oldest first."""
    return session.scalars(
        select(TrailEntry)
        .where(TrailEntry.about_code == code, TrailEntry.about_kind == "load")
        .order_by(TrailEntry.number)
    ).all()
