"""Judge coupons again inside the decision that changed what their verdicts rest on."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.records import CouponVerdict, Reading, Retest
from app.bench.rules.coupon_file import CouponFile, first_test, further_sets, judge_file
from app.bench.rules.verdict import RULES_VERSION, Judged, verdict_paper
from app.database import paper_sha256
from app.documents.coupon import coupon_to_json
from app.documents.table import entry_key_to_json


def judge_again(
    session: Session, coupon_ids: Collection[int], *, by: Actor, at: datetime, zone: tzinfo
) -> dict[int, Judged]:
    """Judge the coupons, and those whose retest they serve, as the records now stand.

    A verdict is written, with its trail entry, only where what it rests on has changed. Part of a
    deciding transaction.
    """
    session.flush()
    served = session.scalars(
        select(Retest.coupon_id)
        .join(Reading, Reading.retest_id == Retest.id)
        .where(Reading.coupon_id.in_(coupon_ids))
        .distinct()
    )
    concerned = sorted(set(coupon_ids) | set(served))
    files = queries.coupon_files(session, concerned)
    latest = queries.latest_coupon_verdicts(session, concerned)
    judged = {}
    for coupon_id in concerned:
        file = files[coupon_id]
        result = judge_file(file, files, zone)
        judged[coupon_id] = result
        digest = _inputs_digest(file, files, zone)
        before = latest.get(coupon_id)
        if before is None or before.inputs_sha256 != digest:
            _record(session, file, result, digest, by=by, at=at)
    return judged


def _record(
    session: Session, file: CouponFile, judged: Judged, digest: str, *, by: Actor, at: datetime
) -> None:
    row = CouponVerdict(
        coupon_id=file.id,
        table_revision_id=file.table_revision_id,
        verdict=judged.verdict.value,
        provisional=judged.provisional,
        paper=verdict_paper(judged, entry=_entry_paper(file, judged)),
        inputs_sha256=digest,
        rules_version=RULES_VERSION,
        judged_by_id=by.id,
        judged_at=at,
    )
    session.add(row)
    words = judged.verdict.value.replace("_", " ")
    append(
        session,
        Tag.COUPON_JUDGED,
        by=by,
        at=at,
        about=("coupon", file.code),
        rows=[row],
        note=f"{words}, provisional" if judged.provisional else words,
    )


def _entry_paper(file: CouponFile, judged: Judged) -> dict[str, Any] | None:
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


def _inputs_digest(file: CouponFile, files: Mapping[int, CouponFile], zone: tzinfo) -> str:
    """SHA-256 over everything the verdict is computed from."""
    coupon = first_test(file, zone)
    inputs: dict[str, Any] = {
        "rules": RULES_VERSION,
        "table": file.table_sha256,
        "coupon": coupon_to_json(coupon),
        "sets": [
            coupon_to_json(replace(coupon, readings=further))["readings"]
            for further in further_sets(file, zone)
        ],
        "further": None if file.retest is None else file.retest.further,
        "coupons": [
            coupon_to_json(first_test(files[coupon_id], zone))
            for coupon_id in (file.retest.coupons if file.retest is not None else ())
        ],
    }
    return paper_sha256(inputs)
