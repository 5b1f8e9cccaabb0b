"""The decision to keep a logger's files as a load's furnace record."""

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from hashlib import sha256
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.documents.logger.logger_csv import LoggerReading
from app.documents.logger.logger_files import LoggerFile, read_logger
from app.errors import Conflict, Refusal
from app.judging.record.trace import Trace
from app.loads import queries
from app.loads.importing.record_wanted import (
    Chosen,
    Wanted,
    cycle_of_load,
    planned_trace,
    refuse_chosen,
    refuse_known_files,
    wanted_of,
)
from app.loads.importing.sources import Brought, Source, bring
from app.loads.judged import JudgedRecord, judge_for_load
from app.loads.record_queries import files_of
from app.loads.records import (
    FurnaceRecord,
    RecordFile,
    RecordSummary,
    RecordTrace,
    RecordVerdict,
    StoredFile,
)
from app.loads.rules import RULES_VERSION
from app.loads.service.recalling import recall_by_record
from app.loads.service.refusals import refuse_cancelled
from app.loads.trace_store import pack_trace
from app.people.records import Meaning, Signature
from app.people.rights import Act, require
from app.people.service import Proof, re_authenticate, sign

MOVED = "Somebody else changed this load meanwhile. Look at it again and repeat; nothing was kept."


def import_record(
    database: Database,
    load_code: str,
    sources: Sequence[Source | Brought],
    chosen: Chosen,
    *,
    by: Actor,
    at: datetime,
    zone: tzinfo,
    reason: str = "",
    password: str = "",
    max_bytes: int | None = None,
    reading: Future[LoggerReading] | None = None,
) -> JudgedRecord:
    """Read a logger's files whole, judge them, and keep files, samples and verdict, or nothing.

    No verdict waits for what looks odd: that is noted afterwards (``note_doubts``).
    A record that is there already is replaced, for the ``reason`` given and signed with the
    ``password``, and stays visible; a load's first record is not signed. The day of the sensors'
    certificates is the shop's, by ``zone``. ``reading`` is what the files hold in the chosen way,
    where they are being read already.

    Raises:
        NotAllowed: the person imports no records.
        BadFile: a file cannot be read exactly; names row and column.
        FileInUse: the same bytes are on record.
        Refusal: the mapping is not in force or leaves out a required channel, or a replacement has
            no reason or no password.
        NotSigned: a replacement's password is not the person's.
        Conflict: somebody else imported or excluded meanwhile.
    """
    require(by, Act.IMPORT_RECORD)
    with ThreadPoolExecutor(max_workers=3) as beside:
        brought = bring(sources, beside)
        with database.read() as session:
            wanted = wanted_of(session, queries.load(session, load_code))
            refuse_chosen(session, chosen, wanted, at=at)
            _refuse_unsigned(wanted.current, reason, password)
        proof = None
        if wanted.current is not None:
            proof = re_authenticate(database, by, password=password, at=at)
        if reading is None:
            files = [LoggerFile(one.source.name, one.source.read()) for one in brought]
            found = read_logger(files, chosen.mapping, max_bytes=max_bytes)
        else:
            found = reading.result()
        trace = planned_trace(found.trace, wanted)
        packed = beside.submit(pack_trace, trace)
        with database.read() as session:
            _refuse_known(session, brought, chosen, wanted, zone=zone)
            day_of = found.started_at or wanted.load.planned_start
            cycle = cycle_of_load(session, wanted, day_of, zone)
        judged = judge_for_load(trace, cycle)
        read = _Read(trace, found.started_at, found.notes, packed.result())
        files_packed = [one.packed.result() for one in brought]
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        now = wanted_of(session, load)
        if record_key(now.current) != record_key(wanted.current) or now.channels != wanted.channels:
            raise Conflict(MOVED)
        refuse_chosen(session, chosen, now, at=at)
        _refuse_known(session, brought, chosen, now, zone=zone)
        recall_by_record(session, load, now.current, judged.verdict, by=by, at=at)
        rows = _add_files(session, brought, files_packed, now, at=at)
        record = _record(brought, read, chosen, now, by=by, at=at)
        if proof is not None and now.current is not None:
            content = _replacement(
                session,
                record,
                now.current,
                load_code=load_code,
                files=[one.sha256 for one in brought],
                verdict=judged.verdict,
                reason=reason,
            )
            rows.append(_sign(session, proof, record, content, at=at))
        session.add(record)
        session.flush()
        kept = RecordTrace(record_id=record.id, content=read.packed)
        session.add(kept)
        rows += [record, kept, *_add_further_files(session, record, brought)]
        rows += add_verdict(session, record, now, judged, by=by, at=at)
        append(
            session,
            Tag.RECORD_IMPORTED,
            by=by,
            at=at,
            about=("load", load_code),
            rows=rows,
            note=_import_note(brought, judged, now.current, reason),
        )
    return judged


def record_key(record: FurnaceRecord | None) -> int | None:
    """The record's key; None where there is none."""
    return None if record is None else record.id


@dataclass(frozen=True, slots=True)
class _Read:
    """What was read of the files."""

    trace: Trace
    starts_at: datetime | None
    notes: Sequence[str]
    packed: bytes


def _refuse_known(
    session: Session,
    brought: Sequence[Brought],
    chosen: Chosen,
    wanted: Wanted,
    *,
    zone: tzinfo,
) -> None:
    """Refuse files that are on record, as the load stands now."""
    digests = [one.sha256 for one in brought]
    refuse_known_files(session, digests, load=wanted.load, zone=zone, chosen=chosen)


def _refuse_unsigned(current: FurnaceRecord | None, reason: str, password: str) -> None:
    """Refuse to replace a record without a reason, or without a password to sign it with."""
    if current is None:
        return
    no_reason = (
        f"The load has a furnace record, {current.file_name}. Say why this one replaces it; the "
        "earlier one stays on record."
    )
    unsigned = "To replace a furnace record is signed; type your own password."
    asked = (("reason", reason.strip(), no_reason), ("password", password, unsigned))
    problems = {field: sentence for field, typed, sentence in asked if not typed}
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def _replacement(
    session: Session,
    record: FurnaceRecord,
    former: FurnaceRecord,
    *,
    load_code: str,
    files: Sequence[str],
    verdict: str,
    reason: str,
) -> dict[str, Any]:
    """What is signed where a record replaces another: both, their verdicts, and why."""
    stood = queries.latest_verdict(session, former.id)
    return {
        "load": load_code,
        "record": {
            "files": list(files),
            "trace": record.trace_sha256,
            "verdict": verdict,
        },
        "replaces": {
            "files": [digest for _, digest in files_of(session, former)],
            "trace": former.trace_sha256,
            "verdict": None if stood is None else stood.verdict,
        },
        "reason": reason.strip(),
    }


def _sign(
    session: Session, proof: Proof, record: FurnaceRecord, content: dict[str, Any], *, at: datetime
) -> Signature:
    """The signature under a replacement, named on the record that replaces."""
    signature = sign(
        session,
        proof,
        meaning=Meaning.REPLACED_RECORD,
        content_sha256=paper_sha256(content),
        at=at,
    )
    record.reason, record.signature_id = content["reason"], signature.id
    return signature


def _add_files(
    session: Session,
    brought: Sequence[Brought],
    packed: Sequence[bytes],
    wanted: Wanted,
    *,
    at: datetime,
) -> list[Base]:
    """Add the files whose bytes are not there yet."""
    rows: list[Base] = [
        StoredFile(
            sha256=one.sha256,
            load_id=wanted.load.id,
            size_bytes=one.size_bytes,
            compression="zstd",
            content=content,
            stored_at=at,
        )
        for one, content in zip(brought, packed, strict=True)
        if queries.find_file(session, one.sha256) is None
    ]
    session.add_all(rows)
    session.flush()
    return rows


def _record(
    brought: Sequence[Brought],
    read: _Read,
    chosen: Chosen,
    wanted: Wanted,
    *,
    by: Actor,
    at: datetime,
) -> FurnaceRecord:
    first = brought[0]
    return FurnaceRecord(
        load_id=wanted.load.id,
        file_sha256=first.sha256,
        file_name=first.name,
        layout=chosen.paper(),
        starts_at=read.starts_at,
        length_s=Decimal(repr(round(float(read.trace.times[-1]), 6))),
        samples=len(read.trace.times),
        trace_sha256=sha256(read.packed).hexdigest(),
        replaces_id=record_key(wanted.current),
        imported_by_id=by.id,
        imported_at=at,
        mapping_revision_id=chosen.revision_id,
        notes=list(read.notes),
    )


def _add_further_files(
    session: Session, record: FurnaceRecord, brought: Sequence[Brought]
) -> list[Base]:
    rows: list[Base] = [
        RecordFile(
            record_id=record.id, position=position, file_sha256=one.sha256, file_name=one.name
        )
        for position, one in enumerate(brought[1:], start=2)
    ]
    session.add_all(rows)
    return rows


def add_verdict(
    session: Session,
    record: FurnaceRecord,
    wanted: Wanted,
    judged: JudgedRecord,
    *,
    by: Actor,
    at: datetime,
) -> list[Base]:
    """Add a judgement of the record, with what its sensors saw."""
    verdict = RecordVerdict(
        record_id=record.id,
        cycle_revision_id=wanted.load.cycle_revision_id,
        cycle_as_judged=judged.cycle_as_judged,
        verdict=judged.verdict,
        paper=judged.paper,
        paper_sha256=judged.paper_sha256,
        rules_version=RULES_VERSION,
        judged_by_id=by.id,
        judged_at=at,
    )
    session.add(verdict)
    session.flush()
    summary = RecordSummary(verdict_id=verdict.id, paper=judged.summary)
    session.add(summary)
    return [verdict, summary]


def _import_note(
    brought: Sequence[Brought],
    judged: JudgedRecord,
    replaced: FurnaceRecord | None,
    reason: str,
) -> str:
    verdict = judged.verdict.replace("_", " ")
    note = f"{', '.join(one.name for one in brought)}: {verdict}"
    if replaced is not None:
        note += f"; replaces {replaced.file_name}: {reason.strip()}"
    return note
