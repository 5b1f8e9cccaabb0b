"""The decision to exclude a failed load sensor."""

from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.errors import Conflict, Refusal
from app.loads import queries
from app.loads.importing.record_wanted import Wanted, cycle_of_load, wanted_of
from app.loads.judged import JudgedRecord, judge_for_load
from app.loads.records import SensorExclusion, SensorRole
from app.loads.service.recalling import recall_by_record
from app.loads.service.record import MOVED, add_verdict, record_key
from app.loads.trace_store import unpack_trace
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign


def exclude_sensor(
    database: Database,
    load_code: str,
    channel: str,
    *,
    reason: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> JudgedRecord | None:
    """Take a failed load sensor out of the required ones, signed, and judge the record again.

    Hands back the new judgement, or None where no record is in yet.

    Raises:
        NotAllowed: the person is no supervisor.
        Refusal: no such load sensor, excluded already, the last one, no reason, a wrong password.
        Conflict: the record changed meanwhile.
    """
    require(by, Act.EXCLUDE_SENSOR)
    reason = reason.strip()
    if not reason:
        sentence = "Say how the sensor failed and how you know."
        raise Refusal(sentence, fields={"reason": sentence})
    with database.read() as session:
        wanted = wanted_of(session, queries.load(session, load_code))
        _refuse_exclusion(wanted, channel)
        cycle, packed = _to_judge_again(session, wanted, zone, without=channel)
    proof = re_authenticate(database, by, password=password, at=at)
    judged = None if packed is None else judge_for_load(unpack_trace(packed), cycle)
    with database.write() as session:
        load = queries.load(session, load_code)
        now = wanted_of(session, load)
        seat = _refuse_exclusion(now, channel)
        if record_key(now.current) != record_key(wanted.current) or now.channels != wanted.channels:
            raise Conflict(MOVED)
        content = {"load": load.code, "channel": channel, "sensor": seat.code, "reason": reason}
        signature = sign(
            session,
            proof,
            meaning=Meaning.EXCLUDED_SENSOR,
            content_sha256=paper_sha256(content),
            at=at,
        )
        row = SensorExclusion(
            load_sensor_id=seat.id, reason=reason, by_id=by.id, at=at, signature_id=signature.id
        )
        rows: list[Base] = [signature, row]
        if judged is not None and now.current is not None:
            recall_by_record(session, load, now.current, judged.verdict, by=by, at=at)
            rows += add_verdict(session, now.current, now, judged, by=by, at=at)
        session.add_all(rows)
        append(
            session,
            Tag.SENSOR_EXCLUDED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=rows,
            note=f"{channel} ({seat.code}): {reason}",
        )
    return judged


def _to_judge_again(
    session: Session, wanted: Wanted, zone: tzinfo, *, without: str
) -> tuple[dict[str, Any], bytes | None]:
    """The cycle without a channel, and the standing record's samples; None before any record."""
    record = wanted.current
    day_of = (record.starts_at if record is not None else None) or wanted.load.planned_start
    cycle = cycle_of_load(session, wanted, day_of, zone, without=without)
    return cycle, None if record is None else queries.trace_content(session, record.id)


def _refuse_exclusion(wanted: Wanted, channel: str) -> queries.SensorPlace:
    """The sensor on the channel, if it may be excluded.

    Raises:
        Refusal: it is not a load sensor that decides, or it is the last one.
    """
    seat = next((one for one in wanted.channels if one.channel == channel), None)
    if seat is None or seat.role is not SensorRole.LOAD:
        problem = f"The load has no load sensor on channel {channel}; choose one that it has."
    elif seat.excluded is not None:
        problem = f"Sensor {channel} is excluded already."
    elif len(wanted.required) == 1:
        problem = f"{channel} is the last sensor that decides; without it nothing can be judged."
    else:
        return seat
    raise Refusal(problem, fields={"channel": problem})
