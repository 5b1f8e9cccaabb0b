"""What is read about furnaces and sensors."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    Sensor,
    SensorCertificate,
)
from app.errors import NotFound


def furnace(session: Session, code: str) -> Furnace:
    """The furnace of that identity; NotFound if there is none."""
    found = session.scalars(select(Furnace).where(Furnace.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No furnace {code} is on record.")
    return found


def furnace_checks(session: Session, furnace_id: int) -> Sequence[FurnaceCheck]:
    """Every survey, accuracy test and calibration of a furnace, newest first."""
    return session.scalars(
        select(FurnaceCheck)
        .where(FurnaceCheck.furnace_id == furnace_id)
        .order_by(FurnaceCheck.done_on.desc(), FurnaceCheck.id.desc())
    ).all()


def sensor(session: Session, code: str) -> Sensor:
    """The sensor of that identity; NotFound if there is none."""
    found = session.scalars(select(Sensor).where(Sensor.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No sensor {code} is on record.")
    return found


def sensor_certificates(
    session: Session, sensor_ids: Sequence[int]
) -> dict[int, list[SensorCertificate]]:
    """Certificates by sensor, newest first; one query however many sensors."""
    by_sensor: dict[int, list[SensorCertificate]] = {key: [] for key in sensor_ids}
    for row in session.scalars(
        select(SensorCertificate)
        .where(SensorCertificate.sensor_id.in_(sensor_ids))
        .order_by(SensorCertificate.done_on.desc(), SensorCertificate.id.desc())
    ):
        by_sensor[row.sensor_id].append(row)
    return by_sensor


def furnaces(session: Session) -> Sequence[Furnace]:
    """Every furnace, by code."""
    return session.scalars(select(Furnace).order_by(Furnace.code)).all()


def sensors(session: Session, *, after: str = "", most: int = 50) -> Sequence[Sensor]:
    """Up to ``most`` sensors by code, from behind the code ``after``."""
    return session.scalars(
        select(Sensor).where(Sensor.code > after).order_by(Sensor.code).limit(most)
    ).all()
