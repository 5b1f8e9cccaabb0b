"""What is read about furnaces, sensors, testers and reference blocks."""

from collections.abc import Sequence
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    ReferenceBlock,
    Sensor,
    SensorCertificate,
    Tester,
    TesterCertificate,
)
from app.equipment.rules import DatedPaper, Due, due
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


def tester(session: Session, code: str) -> Tester:
    """The tester of that identity; NotFound if there is none."""
    found = session.scalars(select(Tester).where(Tester.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No tester {code} is on record.")
    return found


def tester_certificates(session: Session, tester_id: int) -> Sequence[TesterCertificate]:
    """A tester's certificates, newest first."""
    return session.scalars(
        select(TesterCertificate)
        .where(TesterCertificate.tester_id == tester_id)
        .order_by(TesterCertificate.done_on.desc(), TesterCertificate.id.desc())
    ).all()


def block(session: Session, code: str) -> ReferenceBlock:
    """The reference block of that identity; NotFound if there is none."""
    found = session.scalars(select(ReferenceBlock).where(ReferenceBlock.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No reference block {code} is on record.")
    return found


def furnaces(session: Session) -> Sequence[Furnace]:
    """Every furnace, by code."""
    return session.scalars(select(Furnace).order_by(Furnace.code)).all()


def testers(session: Session) -> Sequence[Tester]:
    """Every tester, by code."""
    return session.scalars(select(Tester).order_by(Tester.code)).all()


def certificates_by_tester(
    session: Session, tester_ids: Sequence[int]
) -> dict[int, list[TesterCertificate]]:
    """Certificates by tester, newest first; one query."""
    found: dict[int, list[TesterCertificate]] = {key: [] for key in tester_ids}
    for row in session.scalars(
        select(TesterCertificate)
        .where(TesterCertificate.tester_id.in_(tester_ids))
        .order_by(TesterCertificate.done_on.desc(), TesterCertificate.id.desc())
    ):
        found[row.tester_id].append(row)
    return found


def blocks(session: Session) -> Sequence[ReferenceBlock]:
    """Every reference block, by code."""
    return session.scalars(select(ReferenceBlock).order_by(ReferenceBlock.code)).all()


def sensors(session: Session, *, after: str = "", most: int = 50) -> Sequence[Sensor]:
    """Up to ``most`` sensors by code, from behind the code ``after``."""
    return session.scalars(
        select(Sensor).where(Sensor.code > after).order_by(Sensor.code).limit(most)
    ).all()


def certificates_due(certificates: Sequence[TesterCertificate], *, on: date) -> Due:
    """How a tester stands on a day by its certificates, which come newest first."""
    return due([DatedPaper(one.done_on, one.due_on) for one in certificates], on=on)
