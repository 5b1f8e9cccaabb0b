"""Recording the certificates of sensors, vacuum gauges and testers."""

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.equipment import queries
from app.equipment.records import GaugeCertificate, SensorCertificate, TesterCertificate
from app.equipment.rules import corrections_from_lines
from app.equipment.rules.reports import SentFile
from app.equipment.service.terms import Term, check_done, keep_file, last_day, refuse, until_words
from app.judging.furnace.procedure import InstrumentKind
from app.people.rights import Act, require


def record_sensor_certificate(
    database: Database,
    *,
    sensor: str,
    term: Term,
    certificate: str,
    corrections: str,
    by: Actor,
    at: datetime,
    file: SentFile | None = None,
) -> int:
    """Record a sensor's calibration and hand back its key; it counts once somebody accepts it.

    ``corrections`` is one pair "150 +0.4" a line, in degC.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such sensor, or what cannot be read, by line.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    check_done(term.done_on, at)
    pairs = corrections_from_lines(corrections)
    with database.write() as session:
        found = queries.sensor(session, sensor)
        due_on = _last_day(session, InstrumentKind.SENSOR, term, at)
        digest, kept = keep_file(session, file, at=at)
        row = SensorCertificate(
            sensor_id=found.id,
            done_on=term.done_on,
            due_on=due_on,
            certificate=certificate,
            corrections=pairs,
            entered_by_id=by.id,
            entered_at=at,
            report_sha256=digest,
        )
        session.add(row)
        append(
            session,
            Tag.SENSOR_CERTIFICATE_RECORDED,
            by=by,
            at=at,
            about=("sensor", found.code),
            rows=[*kept, row],
            note=f"certificate {certificate}; {until_words(term.done_on, due_on)}",
        )
        return row.id


def record_gauge_certificate(
    database: Database,
    *,
    gauge: str,
    term: Term,
    certificate: str,
    largest_error_kpa: Decimal | None,
    by: Actor,
    at: datetime,
    file: SentFile | None = None,
) -> int:
    """Record a vacuum gauge's calibration and hand back its key; it counts once accepted.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such gauge, or what is wrong.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    check_done(term.done_on, at)
    if largest_error_kpa is not None and largest_error_kpa < 0:
        refuse("largest_error_kpa", "A largest error is plus or minus; give it without a sign.")
    with database.write() as session:
        found = queries.gauge(session, gauge)
        due_on = _last_day(session, InstrumentKind.VACUUM_GAUGE, term, at)
        digest, kept = keep_file(session, file, at=at)
        row = GaugeCertificate(
            gauge_id=found.id,
            done_on=term.done_on,
            due_on=due_on,
            certificate=certificate,
            largest_error_kpa=largest_error_kpa,
            entered_by_id=by.id,
            entered_at=at,
            report_sha256=digest,
        )
        session.add(row)
        append(
            session,
            Tag.GAUGE_CERTIFICATE_RECORDED,
            by=by,
            at=at,
            about=("vacuum_gauge", found.code),
            rows=[*kept, row],
            note=f"certificate {certificate}; {until_words(term.done_on, due_on)}",
        )
        return row.id


def record_tester_certificate(
    database: Database,
    *,
    tester: str,
    term: Term,
    certificate: str,
    expanded_uncertainty: Decimal | None,
    by: Actor,
    at: datetime,
) -> None:
    """Record a tester's calibration; U (k = 2) is in the tester's own unit.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such tester, or what is wrong.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    check_done(term.done_on, at)
    due_on = last_day(term, None, why="")
    if expanded_uncertainty is not None and expanded_uncertainty <= 0:
        refuse("expanded_uncertainty", "An uncertainty is above 0; correct it or leave it out.")
    with database.write() as session:
        found = queries.tester(session, tester)
        row = TesterCertificate(
            tester_id=found.id,
            done_on=term.done_on,
            due_on=due_on,
            certificate=certificate,
            expanded_uncertainty=expanded_uncertainty,
            entered_by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.TESTER_CERTIFICATE_RECORDED,
            by=by,
            at=at,
            about=("tester", found.code),
            rows=[row],
            note=f"certificate {certificate}; {until_words(term.done_on, due_on)}",
        )


def _last_day(session: Session, kind: InstrumentKind, term: Term, at: datetime) -> date:
    """The last day a certificate holds; where several procedures speak, the earliest of theirs."""
    counted = {
        day: revision
        for revision in queries.procedures_in_force(session, at=at)
        if (day := queries.procedure_of(revision).last_day_of_instrument(kind, term.done_on))
    }
    if not counted:
        return last_day(term, None, why="")
    earliest = min(counted)
    named = counted[earliest]
    why = f"{named.code} revision {named.revision} says how often a {kind} is calibrated"
    return last_day(term, earliest, why=why)
