"""Judge kept furnace records again and compare; nothing is written."""

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from app.database import Database
from app.documents.replayed import Replayed, differences, outcome_differences
from app.errors import Refusal
from app.loads import queries
from app.loads.judged import judge_for_load
from app.loads.records import FurnaceRecord, Load, RecordVerdict
from app.loads.rules import RULES_VERSION
from app.loads.trace_store import unpack_trace
from app.requirements import queries as requirements

_BATCH = 20
_FILLED_IN = ("sensors", "corrections")

Cycles = dict[int, dict[str, Any]]
"""Papers of cycle revisions, by key."""


def replay_records(database: Database, *, limit: int | None = None) -> Iterator[Replayed]:
    """Every kept verdict on a furnace record, judged again, the newest first.

    From the samples as kept, by the paper of the cycle's revision with the sensors and corrections
    it was judged with. One trace is in memory at a time, and each batch is a reading of its own.
    """
    cycles: Cycles = {}
    last, left = None, limit
    while left is None or left > 0:
        with database.read() as session:
            size = _BATCH if left is None else min(_BATCH, left)
            rows = session.execute(_before(last).limit(size)).all()
            for row in rows:
                yield _again(session, row, cycles)
        if not rows:
            return
        last = rows[-1].id
        left = None if left is None else left - len(rows)


def _before(last: int | None) -> Select[Any]:
    """Verdicts that are older than the one of that key, the newest first; every one of None."""
    wanted = (
        select(
            RecordVerdict.id,
            RecordVerdict.record_id,
            RecordVerdict.cycle_revision_id,
            RecordVerdict.cycle_as_judged,
            RecordVerdict.verdict,
            RecordVerdict.paper,
            RecordVerdict.rules_version,
            RecordVerdict.judged_at,
            FurnaceRecord.trace_sha256,
            FurnaceRecord.file_name,
            Load.code,
        )
        .join(FurnaceRecord, FurnaceRecord.id == RecordVerdict.record_id)
        .join(Load, Load.id == FurnaceRecord.load_id)
        .order_by(RecordVerdict.id.desc())
    )
    return wanted if last is None else wanted.where(RecordVerdict.id < last)


def _again(session: Session, row: Row[Any], cycles: Cycles) -> Replayed:
    when = f"{row.judged_at:%Y-%m-%d %H:%M} UTC"
    name = f"Load {row.code}, record {row.file_name}, judged {when}"
    older = row.rules_version != RULES_VERSION
    try:
        differs = _difference(session, row, cycles, older=older)
    except Refusal as refusal:
        differs = f"{_words(row.verdict)} then, cannot be judged now: {refusal.sentence}"
    return Replayed(name, older, differs)


def _difference(session: Session, row: Row[Any], cycles: Cycles, *, older: bool) -> str | None:
    content = queries.trace_content(session, row.record_id)
    if sha256(content).hexdigest() != row.trace_sha256:
        return "its samples are not those that were imported"
    paper = dict(_cycle(session, row.cycle_revision_id, cycles))
    paper |= {key: row.cycle_as_judged[key] for key in _FILLED_IN if key in row.cycle_as_judged}
    if not older and paper != row.cycle_as_judged:
        return "the cycle it was judged by is not the paper of its revision"
    made = judge_for_load(unpack_trace(content), paper).paper
    outcome = {"verdict": row.verdict}
    return outcome_differences(outcome, made) if older else differences(outcome, row.paper, made)


def _cycle(session: Session, key: int, cycles: Cycles) -> dict[str, Any]:
    """The paper of a revision, named as findings name it."""
    if key not in cycles:
        found = requirements.revision(session, key)
        cycles[key] = {**found.paper, "name": f"{found.code} revision {found.revision}"}
    return cycles[key]


def _words(verdict: str) -> str:
    return verdict.replace("_", " ")
