"""What is read about the bench's thermometers."""

from collections.abc import Collection, Sequence
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.queries.certificates import thermometer_papers
from app.equipment.records import Thermometer, ThermometerCertificate
from app.equipment.rules import Due, standing_by_certificates
from app.errors import NotFound


def thermometer(session: Session, code: str) -> Thermometer:
    """The thermometer of that identity; NotFound if there is none."""
    found = session.scalars(select(Thermometer).where(Thermometer.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No thermometer {code} is on record.")
    return found


def thermometers(session: Session) -> Sequence[Thermometer]:
    """Every thermometer, by code."""
    return session.scalars(select(Thermometer).order_by(Thermometer.code)).all()


def thermometer_certificates(
    session: Session, thermometer_id: int
) -> Sequence[ThermometerCertificate]:
    """A thermometer's certificates, accepted or not, the newest made first."""
    return session.scalars(
        select(ThermometerCertificate)
        .where(ThermometerCertificate.thermometer_id == thermometer_id)
        .order_by(ThermometerCertificate.done_on.desc(), ThermometerCertificate.id.desc())
    ).all()


def dues_of_thermometers(
    session: Session, thermometer_ids: Collection[int], *, on: date
) -> dict[int, Due]:
    """How thermometers stand on a day by their accepted certificates, by key; one query.

    What a thermometer measures is evidence on a day only where its ``is_in_date`` holds.
    """
    papers = thermometer_papers(session, thermometer_ids)
    return {key: standing_by_certificates(papers[key], on=on) for key in thermometer_ids}
