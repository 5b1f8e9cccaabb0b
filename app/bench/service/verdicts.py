"""Judge coupons again inside the decision that changed what their verdicts rest on."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.queries.evidence import with_readings
from app.bench.queries.papers_since import kept_digests
from app.bench.queries.unmoved import Unmoved
from app.bench.records import CouponVerdict, Reading, Retest
from app.bench.rules.coupon_file import Assembled, CouponFile, assemble, judge_assembled
from app.bench.rules.verdict import RULES_VERSION, Judged, finding_paper, verdict_paper
from app.database import paper_sha256
from app.documents.coupon import coupon_to_json
from app.documents.table import entry_key_to_json
from app.judging.verdict import Verdict
from app.panels.service import recall

_retest, _reading = Retest.__table__.c, Reading.__table__.c


_NEIGHBOURS = (
    select(_retest.coupon_id)
    .join(Reading.__table__, _reading.retest_id == _retest.id)
    .where(_reading.coupon_id.in_(bindparam("keys", expanding=True)))
    .distinct()
)

_BEFORE = (
    select(CouponVerdict.verdict, CouponVerdict.provisional)
    .where(CouponVerdict.coupon_id == bindparam("coupon_id"))
    .order_by(CouponVerdict.id.desc())
    .limit(1)
)


def judge_again(
    session: Session, coupon_ids: Collection[int], *, by: Actor, at: datetime, zone: tzinfo
) -> dict[int, Judged]:
    """Judge the coupons, and those whose retest they serve, as the records now stand.

    A verdict is written, with its trail entry, only where what it rests on has changed; where it
    conformed and no longer does, a panel in use is recalled. Part of a deciding transaction.
    """
    session.flush()
    served = session.execute(_NEIGHBOURS, {"keys": list(coupon_ids)}).scalars()
    concerned = sorted(set(coupon_ids) | set(served))
    files = queries.coupon_files(session, concerned)
    return _judge(session, concerned, files, by=by, at=at, zone=zone)


def moved(session: Session, coupon_ids: Collection[int], *, zone: tzinfo) -> list[int]:
    """Those of the coupons whose newest verdict rests on something that has changed since.

    Compared under the rules that judged it: new rules alone move nothing. One without a verdict
    has none that could have moved. As many queries for many coupons as for one.
    """
    kept = kept_digests(session, coupon_ids)
    files = queries.coupon_files(session, list(kept))
    return [
        key
        for key, (digest, rules) in sorted(kept.items())
        if key in files
        and inputs_digest(assemble(files[key], zone), files[key], files, zone, rules=rules)
        != digest
    ]


def judge_with(
    session: Session,
    file: CouponFile,
    rows: Sequence[Reading],
    *,
    known: Unmoved | None,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> Judged:
    """Judge a coupon with readings that were just recorded; part of a deciding transaction.

    The same as `judge_again`, and without asking the records again for what they said in this very
    transaction: ``file`` is the coupon's as it was read before, ``known`` what was read about the
    session. Where a retest is in play the records are asked, for it concerns other coupons too.
    """
    if file.retest is not None or file.serves or any(row.retest_id is not None for row in rows):
        return judge_again(session, [file.id], by=by, at=at, zone=zone)[file.id]
    now = with_readings(session, file, rows, known=known)
    return _judge(session, [file.id], {file.id: now}, by=by, at=at, zone=zone)[file.id]


def _judge(
    session: Session,
    concerned: Sequence[int],
    files: Mapping[int, CouponFile],
    *,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> dict[int, Judged]:
    judged, turned = {}, []
    for coupon_id in concerned:
        file = files[coupon_id]
        assembled = assemble(file, zone)
        result = judge_assembled(assembled, file, files, zone)
        judged[coupon_id] = result
        digest = inputs_digest(assembled, file, files, zone)
        if file.judged_sha256 != digest:
            if file.in_use and _turns(session, file, result):
                turned.append(file)
            _record(session, file, result, digest, by=by, at=at)
    for file in turned:
        words = _words(judged[file.id])
        reason = f"Coupon {file.code} conformed when the panel was decided on, and now: {words}."
        recall(session, [file.panel_id], reason=reason, by=by, at=at)
    return judged


def _turns(session: Session, file: CouponFile, now: Judged) -> bool:
    """Whether the coupon's newest verdict conforms for good, and this one does not."""
    if now.verdict is Verdict.CONFORMS and not now.provisional:
        return False
    before = session.execute(_BEFORE, {"coupon_id": file.id}).one_or_none()
    if before is None:  # Decided on unmeasured, or replaced before it was.
        return False
    conformed: bool = before.verdict == Verdict.CONFORMS.value and not before.provisional
    return conformed


def _words(judged: Judged) -> str:
    words = judged.verdict.value.replace("_", " ")
    return f"{words}, provisional" if judged.provisional else words


def _record(
    session: Session, file: CouponFile, judged: Judged, digest: str, *, by: Actor, at: datetime
) -> None:
    row = CouponVerdict(
        coupon_id=file.id,
        table_revision_id=file.table_revision_id,
        verdict=judged.verdict.value,
        provisional=judged.provisional,
        paper=verdict_paper(judged, entry=entry_paper(file, judged)),
        inputs_sha256=digest,
        rules_version=RULES_VERSION,
        judged_by_id=by.id,
        judged_at=at,
    )
    session.add(row)
    append(
        session,
        Tag.COUPON_JUDGED,
        by=by,
        at=at,
        about=("coupon", file.code),
        rows=[row],
        note=_words(judged),
    )


def entry_paper(file: CouponFile, judged: Judged) -> dict[str, Any] | None:
    """The entry's key, source and place in its table; its number counts from 1."""
    if judged.entry is None:
        return None
    retest = judged.entry.retest
    return {
        **entry_key_to_json(judged.entry.key),
        "source": judged.entry.source,
        "table": file.table_code,
        "revision": file.table.revision,
        "number": file.table.entries.index(judged.entry) + 1,
        "retest": None if retest is None else {"further": retest.further, "of": retest.of.value},
    }


def inputs_digest(
    assembled: Assembled,
    file: CouponFile,
    files: Mapping[int, CouponFile],
    zone: tzinfo,
    *,
    rules: str = RULES_VERSION,
) -> str:
    """SHA-256 over everything the verdict is computed from, by the rules of that version."""
    first = assembled.first
    inputs: dict[str, Any] = {
        "rules": rules,
        "table": file.table_sha256,
        "coupon": coupon_to_json(first),
        "sets": [
            coupon_to_json(replace(first, readings=further))["readings"]
            for further in assembled.sets
        ],
        "further": None if file.retest is None else file.retest.further,
        "coupons": [
            coupon_to_json(assemble(files[coupon_id], zone).first)
            for coupon_id in (file.retest.coupons if file.retest is not None else ())
        ],
        "notes": [finding_paper(note) for note in assembled.notes],
    }
    return paper_sha256(inputs)
