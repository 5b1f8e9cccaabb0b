"""Open a bench session; which testers may be used."""

from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.records import BenchSession
from app.bench.rules.bracketing import Standing, day_of
from app.database import Database
from app.equipment import queries as equipment
from app.errors import Conflict, Refusal
from app.panels.records import HoldOn
from app.panels.service import refuse_held
from app.people.rights import Act, require, require_to_measure

MOST_READINGS = 20
"""Readings taken from one form at the most."""


def open_session(
    database: Database,
    *,
    tester_code: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
    thermometer_code: str | None = None,
) -> int:
    """Open a session at a tester and hand back its number.

    ``thermometer_code`` names what temperatures are measured with in it. A person who has opened
    one there already with the same thermometer, and not yet used it, is given the same one.

    Raises:
        NotFound: there is no such tester or thermometer.
        Refusal: either is not in calibration today, by an accepted certificate.
        Conflict: the tester is out of use or on hold, or somebody's session is running at it.
    """
    require(by, Act.MEASURE)
    with database.write() as session:
        tester = equipment.tester(session, tester_code)
        require_to_measure(by, tester.quantity)
        refuse_out_of_date(session, tester.id, tester.code, at=at, zone=zone)
        refuse_held(session, HoldOn.TESTER, tester.code, at=at)
        if thermometer_code:
            refuse_held(session, HoldOn.THERMOMETER, thermometer_code, at=at)
        thermometer_id = _thermometer(session, thermometer_code, at=at, zone=zone)
        for running in queries.running_sessions(session, tester.id):
            if running.operator_id == by.id:
                return running.id
            raise busy(running.tester, running.operator)
        latest = queries.latest_session_of(session, tester_id=tester.id, operator_id=by.id)
        if latest is not None:
            bench = queries.bench_session(session, latest)
            same = bench.thermometer == (thermometer_code or None)
            if same and bench.standing is Standing.AWAITING_OPENING:
                return latest
        opened = BenchSession(
            tester_id=tester.id, operator_id=by.id, opened_at=at, thermometer_id=thermometer_id
        )
        session.add(opened)
        session.flush()
        append(
            session,
            Tag.BENCH_OPENED,
            by=by,
            at=at,
            about=("tester", tester.code),
            rows=[opened],
            note=f"session {opened.id}",
        )
        return opened.id


def refuse_quarantined(session: Session, tester_id: int, code: str) -> None:
    """Pass if the tester is not out of use; part of a deciding transaction.

    Raises:
        Conflict: it is; says since when and why.
    """
    out = equipment.quarantine_of(session, [tester_id]).get(tester_id)
    if out is not None:
        raise Conflict(
            f"{code} is out of use: {out.reason.rstrip('.')}. Use another tester; a second person "
            "may let this one be used again on its page."
        )


def refuse_out_of_date(
    session: Session, tester_id: int, code: str, *, at: datetime, zone: tzinfo
) -> None:
    """Pass if the tester may be used on that day: not out of use, and in calibration.

    Only certificates that a second person accepted count. Part of a deciding transaction.

    Raises:
        Conflict: it is out of use.
        Refusal: it is not in calibration; says why.
    """
    refuse_quarantined(session, tester_id, code)
    day = day_of(at, zone)
    due = equipment.dues_of_testers(session, [tester_id], on=day)[tester_id]
    if not due.is_in_date:
        raise Refusal(
            f"{code} may not be used: the tester was not in calibration on {day} ({due.words}). "
            "Use another tester, or have an engineer enter its new certificate and a second person "
            "accept it."
        )


def _thermometer(session: Session, code: str | None, *, at: datetime, zone: tzinfo) -> int | None:
    """The key of the thermometer, if one is named and in calibration."""
    if not code:
        return None
    found = equipment.thermometer(session, code)
    day = day_of(at, zone)
    due = equipment.dues_of_thermometers(session, [found.id], on=day)[found.id]
    if not due.is_in_date:
        says = (
            f"Thermometer {code} was not in calibration on {day} ({due.words}). Take another one."
        )
        raise Refusal(says, fields={"thermometer": says})
    return found.id


def busy(tester: str, operator: str) -> Conflict:
    """The refusal of a second session at a tester."""
    return Conflict(
        f"{operator} has a session running at {tester}. It must end with its closing check before "
        "another begins."
    )


def refuse_fields(wrong: dict[str, str], odd: dict[str, str], *, confirmed: bool) -> None:
    """Pass if nothing is wrong and what is odd was confirmed.

    Raises:
        Refusal: with the sentence of each field; field ``confirmed`` where a tick would do.
    """
    if wrong:
        raise Refusal("Nothing was recorded: " + " ".join(wrong.values()), fields=wrong)
    if odd and not confirmed:
        asks = "If it is as you read it, tick this to record it so."
        raise Refusal(
            "Not recorded yet: " + " ".join(odd.values()), fields={**odd, "confirmed": asks}
        )
