"""Recording the certificates of sensors, vacuum gauges, testers and thermometers."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.equipment import queries
from app.equipment.records import (
    GaugeCertificate,
    SensorCertificate,
    Tester,
    TesterCertificate,
    ThermometerCertificate,
)
from app.equipment.rules import (
    SentFile,
    bench_corrections_from_lines,
    corrections_from_lines,
    points_from_lines,
)
from app.equipment.service.terms import Term, check_done, keep_file, last_day, until_words
from app.errors import refuse
from app.judging.furnace.procedure import InstrumentKind
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class _Kind:
    """Whose certificate it is: how the thing is found, the row and its owner, and who dates it."""

    about: str
    find: Callable[[Session, str], Any]
    row: type[Any]
    owner: str
    tag: Tag
    dated_by: InstrumentKind | None = None


_SENSOR = _Kind(
    "sensor",
    queries.sensor,
    SensorCertificate,
    "sensor_id",
    Tag.SENSOR_CERTIFICATE_RECORDED,
    InstrumentKind.SENSOR,
)
_GAUGE = _Kind(
    "vacuum_gauge",
    queries.gauge,
    GaugeCertificate,
    "gauge_id",
    Tag.GAUGE_CERTIFICATE_RECORDED,
    InstrumentKind.VACUUM_GAUGE,
)
_TESTER = _Kind(
    "tester",
    queries.tester,
    TesterCertificate,
    "tester_id",
    Tag.TESTER_CERTIFICATE_RECORDED,
)
_THERMOMETER = _Kind(
    "thermometer",
    queries.thermometer,
    ThermometerCertificate,
    "thermometer_id",
    Tag.THERMOMETER_CERTIFICATE_RECORDED,
)


@dataclass(frozen=True, slots=True)
class _Paper:
    """What every certificate has: its number, its days, and its file where one came."""

    certificate: str
    term: Term
    file: SentFile | None


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

    def figures(_sensor: Any) -> dict[str, Any]:
        return {"corrections": corrections_from_lines(corrections)}

    paper = _Paper(certificate, term, file)
    return _record(database, _SENSOR, sensor, paper, figures, by=by, at=at)


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
    paper = _Paper(certificate, term, file)
    figures = _largest_error("largest_error_kpa", largest_error_kpa)
    return _record(database, _GAUGE, gauge, paper, figures, by=by, at=at)


def record_thermometer_certificate(
    database: Database,
    *,
    thermometer: str,
    term: Term,
    certificate: str,
    largest_error_c: Decimal | None,
    by: Actor,
    at: datetime,
    file: SentFile | None = None,
) -> int:
    """Record a thermometer's calibration and hand back its key; it counts once accepted.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such thermometer, or what is wrong.
    """
    paper = _Paper(certificate, term, file)
    figures = _largest_error("largest_error_c", largest_error_c)
    return _record(database, _THERMOMETER, thermometer, paper, figures, by=by, at=at)


def record_tester_certificate(
    database: Database,
    *,
    tester: str,
    term: Term,
    certificate: str,
    expanded_uncertainty: Decimal | None,
    by: Actor,
    at: datetime,
    as_found: str = "",
    as_left: str = "",
    as_found_within: bool | None = None,
    corrections: str = "",
    file: SentFile | None = None,
) -> int:
    """Record a tester's calibration and hand back its key; it counts once somebody accepts it.

    ``expanded_uncertainty`` is U with k = 2. ``as_found`` and ``as_left`` are one pair a line,
    reference value and value read; ``corrections`` value read and what is to be added; all in the
    tester's own unit. ``as_found_within`` is the certificate's word, None where it has none.

    Raises:
        NotAllowed, NotFound, Refusal: who may, no such tester, or what cannot be read, by line.
    """

    def figures(found: Tester) -> dict[str, Any]:
        if expanded_uncertainty is not None and expanded_uncertainty <= 0:
            refuse("expanded_uncertainty", "An uncertainty is above 0; correct it or leave it out.")
        return {
            "expanded_uncertainty": expanded_uncertainty,
            "as_found": points_from_lines(as_found, found.unit, field="as_found"),
            "as_left": points_from_lines(as_left, found.unit, field="as_left"),
            "as_found_within": as_found_within,
            "corrections": bench_corrections_from_lines(corrections, found.unit),
        }

    paper = _Paper(certificate, term, file)
    return _record(database, _TESTER, tester, paper, figures, by=by, at=at)


def _largest_error(
    field: str, largest: Decimal | None
) -> Callable[[Any], Mapping[str, Decimal | None]]:
    def figures(_thing: Any) -> Mapping[str, Decimal | None]:
        if largest is not None and largest < 0:
            refuse(field, "A largest error is plus or minus; give it without a sign.")
        return {field: largest}

    return figures


def _record(
    database: Database,
    kind: _Kind,
    code: str,
    paper: _Paper,
    figures: Callable[[Any], Mapping[str, Any]],
    *,
    by: Actor,
    at: datetime,
) -> int:
    """Record a certificate of one kind; ``figures`` are told the thing it is of."""
    require(by, Act.REGISTER_EQUIPMENT)
    check_done(paper.term.done_on, at)
    with database.write() as session:
        found = kind.find(session, code)
        stated = figures(found)
        due_on = _last_day(session, kind.dated_by, paper.term, at)
        digest, kept = keep_file(session, paper.file, at=at)
        row = kind.row(
            **{kind.owner: found.id},
            done_on=paper.term.done_on,
            due_on=due_on,
            certificate=paper.certificate,
            report_sha256=digest,
            entered_by_id=by.id,
            entered_at=at,
            **stated,
        )
        session.add(row)
        append(
            session,
            kind.tag,
            by=by,
            at=at,
            about=(kind.about, found.code),
            rows=[*kept, row],
            note=f"certificate {paper.certificate}; {until_words(paper.term.done_on, due_on)}",
        )
        key: int = row.id
        return key


def _last_day(session: Session, kind: InstrumentKind | None, term: Term, at: datetime) -> date:
    """The last day a certificate holds; where several procedures speak, the earliest of theirs."""
    if kind is None:
        return last_day(term, None, why="")
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
