"""What is read about furnaces, sensors, testers and reference blocks."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session, aliased

from app.equipment.records import (
    Furnace,
    FurnaceCheck,
    FurnaceCheckKind,
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


def checks_by_furnace(
    session: Session, furnace_ids: Sequence[int]
) -> dict[int, list[FurnaceCheck]]:
    """Surveys, accuracy tests and calibrations by furnace, newest first; one query."""
    found: dict[int, list[FurnaceCheck]] = {key: [] for key in furnace_ids}
    for row in session.scalars(
        select(FurnaceCheck)
        .where(FurnaceCheck.furnace_id.in_(furnace_ids))
        .order_by(FurnaceCheck.done_on.desc(), FurnaceCheck.id.desc())
    ):
        found[row.furnace_id].append(row)
    return found


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


@dataclass(frozen=True, slots=True)
class SensorLine:
    """A sensor in a list, with the days of the certificate that counts; None where it has none."""

    code: str
    thermocouple_type: str
    done_on: date | None
    due_on: date | None


def sensors(
    session: Session,
    *,
    on: date,
    after: str = "",
    due_within: date | None = None,
    most: int = 50,
) -> list[SensorLine]:
    """Up to ``most`` sensors by code, from behind the code ``after``; one query.

    The certificate that counts is the newest made on or before ``on``. With ``due_within`` only
    those whose certificate runs out by that day (included), or that have none.
    """
    counts, later = aliased(SensorCertificate), aliased(SensorCertificate)
    superseded = (
        select(later.id)
        .where(later.sensor_id == counts.sensor_id, later.done_on <= on)
        .where(
            or_(
                later.done_on > counts.done_on,
                and_(later.done_on == counts.done_on, later.id > counts.id),
            )
        )
        .exists()
    )
    query = (
        select(Sensor.code, Sensor.thermocouple_type, counts.done_on, counts.due_on)
        .outerjoin(counts, and_(counts.sensor_id == Sensor.id, counts.done_on <= on, ~superseded))
        .where(Sensor.code > after)
        .order_by(Sensor.code)
        .limit(most)
    )
    if due_within is not None:
        query = query.where(or_(counts.id.is_(None), counts.due_on <= due_within))
    return [SensorLine(*row) for row in session.execute(query)]


def sensor_due(line: SensorLine, *, on: date) -> Due:
    """How a sensor in a list stands on a day."""
    if line.done_on is None or line.due_on is None:
        return due([], on=on)
    return due([DatedPaper(line.done_on, line.due_on)], on=on)


def furnace_due(checks: Sequence[FurnaceCheck], *, on: date) -> dict[FurnaceCheckKind, Due]:
    """How each of a furnace's three papers stands on a day; ``checks`` come newest first."""
    return {
        kind: due(
            [DatedPaper(one.done_on, one.due_on, one.passed) for one in checks if one.kind == kind],
            on=on,
        )
        for kind in FurnaceCheckKind
    }


def certificates_due(
    certificates: Sequence[SensorCertificate] | Sequence[TesterCertificate], *, on: date
) -> Due:
    """How a sensor or tester stands on a day by its certificates, which come newest first."""
    return due([DatedPaper(one.done_on, one.due_on) for one in certificates], on=on)
