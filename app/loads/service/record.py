"""Decisions on a load's furnace record: to keep a logger's file, to exclude a failed sensor."""

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.errors import Conflict, Refusal
from app.judging.trace import Trace
from app.loads import queries
from app.loads.judged import JudgedRecord, judge_for_load
from app.loads.record_wanted import (
    Columns,
    Wanted,
    cycle_of_load,
    read_for_load,
    refuse_columns,
    refuse_known_file,
    renamed,
    started_at,
    wanted_of,
)
from app.loads.records import (
    FurnaceRecord,
    Load,
    RecordTrace,
    RecordVerdict,
    SensorExclusion,
    SensorRole,
    StoredFile,
)
from app.loads.rules import RULES_VERSION
from app.loads.trace_store import pack_file, pack_trace, unpack_trace
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign

_MOVED = "Somebody else changed this load meanwhile. Look at it again and repeat; nothing was kept."


def import_record(
    database: Database,
    load_code: str,
    source: Path | bytes,
    chosen: Columns,
    *,
    file_name: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
    reason: str = "",
    max_bytes: int | None = None,
) -> JudgedRecord:
    """Read a logger's file whole, judge it, and keep file, samples and verdict, or keep nothing.

    A record that is there already is replaced, for the ``reason`` given, and stays visible. Times
    without a zone are in the shop's ``zone``.

    Raises:
        NotAllowed: the person imports no records.
        BadFile: the file cannot be read exactly; names row and column.
        FileInUse: the same bytes are on record.
        Refusal: a required channel has no column, or a replacement has no reason.
        Conflict: somebody else imported or excluded meanwhile.
    """
    require(by, Act.IMPORT_RECORD)
    content = source if isinstance(source, bytes) else source.read_bytes()
    with ThreadPoolExecutor(max_workers=1) as beside:
        # Compressing lets other threads run: it goes on beside the parser.
        digest = beside.submit(lambda: sha256(content).hexdigest())
        with database.read() as session:
            load = queries.load(session, load_code)
            wanted = wanted_of(session, load)
            refuse_known_file(session, digest.result(), load=load, layout=chosen.paper())
            _refuse_without_reason(wanted.current, reason)
        refuse_columns(chosen, wanted)
        packed: Future[bytes] = beside.submit(pack_file, content)
        reading = read_for_load(content, chosen, wanted, file_name=file_name, max_bytes=max_bytes)
        trace = renamed(reading.trace, chosen)
        packed_trace = beside.submit(pack_trace, trace)
        starts_at = started_at(reading, zone)
        day_of = starts_at or wanted.load.planned_start
        with database.read() as session:
            cycle = cycle_of_load(session, wanted, day_of, zone)
        judged = judge_for_load(trace, cycle)
        brought = _Brought(
            digest.result(), len(content), packed.result(), packed_trace.result(), file_name
        )
    samples = (starts_at, trace)
    with database.write() as session:
        now = wanted_of(session, queries.load(session, load_code))
        if _key(now.current) != _key(wanted.current) or now.channels != wanted.channels:
            raise Conflict(_MOVED)
        refuse_known_file(session, brought.sha256, load=now.load, layout=chosen.paper())
        rows = _keep_file(session, brought, samples, chosen, now, by=by, at=at)
        record = next(row for row in rows if isinstance(row, FurnaceRecord))
        verdict = _verdict_row(record, now.load, judged, by=by, at=at)
        session.add(verdict)
        append(
            session,
            Tag.RECORD_IMPORTED,
            by=by,
            at=at,
            about=("load", load_code),
            rows=[*rows, verdict],
            note=_import_note(file_name, judged, now.current, reason),
        )
    return judged


@dataclass(frozen=True, slots=True)
class _Brought:
    """A file ready to be kept."""

    sha256: str
    size_bytes: int
    packed: bytes
    packed_trace: bytes
    name: str


def _key(record: FurnaceRecord | None) -> int | None:
    return None if record is None else record.id


def _refuse_without_reason(current: FurnaceRecord | None, reason: str) -> None:
    if current is not None and not reason.strip():
        sentence = (
            f"The load has a furnace record, {current.file_name}. Say why this one replaces it; "
            "the earlier one stays on record."
        )
        raise Refusal(sentence, fields={"reason": sentence})


def _keep_file(
    session: Session,
    brought: _Brought,
    samples: tuple[datetime | None, Trace],
    chosen: Columns,
    wanted: Wanted,
    *,
    by: Actor,
    at: datetime,
) -> Sequence[Base]:
    """Add the file (unless these bytes are there), the record and its samples."""
    rows: list[Base] = []
    if queries.find_file(session, brought.sha256) is None:
        stored = StoredFile(
            sha256=brought.sha256,
            load_id=wanted.load.id,
            size_bytes=brought.size_bytes,
            compression="zstd",
            content=brought.packed,
            stored_at=at,
        )
        session.add(stored)
        session.flush()
        rows.append(stored)
    starts_at, trace = samples
    record = FurnaceRecord(
        load_id=wanted.load.id,
        file_sha256=brought.sha256,
        file_name=brought.name[:200],
        layout=chosen.paper(),
        starts_at=starts_at,
        length_s=Decimal(repr(round(float(trace.times[-1]), 6))),
        samples=len(trace.times),
        trace_sha256=sha256(brought.packed_trace).hexdigest(),
        replaces_id=_key(wanted.current),
        imported_by_id=by.id,
        imported_at=at,
    )
    session.add(record)
    session.flush()
    kept = RecordTrace(record_id=record.id, content=brought.packed_trace)
    session.add(kept)
    return [*rows, record, kept]


def _verdict_row(
    record: FurnaceRecord, load: Load, judged: JudgedRecord, *, by: Actor, at: datetime
) -> RecordVerdict:
    return RecordVerdict(
        record_id=record.id,
        cycle_revision_id=load.cycle_revision_id,
        cycle_as_judged=judged.cycle_as_judged,
        verdict=judged.verdict,
        paper=judged.paper,
        paper_sha256=judged.paper_sha256,
        rules_version=RULES_VERSION,
        judged_by_id=by.id,
        judged_at=at,
    )


def _import_note(
    file_name: str, judged: JudgedRecord, replaced: FurnaceRecord | None, reason: str
) -> str:
    verdict = judged.verdict.replace("_", " ")
    note = f"{file_name}: {verdict}"
    if replaced is not None:
        note += f"; replaces {replaced.file_name}: {reason.strip()}"
    return note


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
    proof = re_authenticate(database, by, password=password)
    judged = None if packed is None else judge_for_load(unpack_trace(packed), cycle)
    with database.write() as session:
        load = queries.load(session, load_code)
        now = wanted_of(session, load)
        seat = _refuse_exclusion(now, channel)
        if _key(now.current) != _key(wanted.current) or now.channels != wanted.channels:
            raise Conflict(_MOVED)
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
            rows.append(_verdict_row(now.current, load, judged, by=by, at=at))
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
