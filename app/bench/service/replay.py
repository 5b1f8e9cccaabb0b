"""Judge coupons again from the records and compare with what was kept; nothing is written."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import tzinfo
from typing import Any

from sqlalchemy import BindParameter, Row, Select, bindparam, func, select
from sqlalchemy.orm import Session, aliased

from app.bench import queries
from app.bench.queries.evidence import under_revision
from app.bench.queries.in_sessions import session_files
from app.bench.queries.material_then import material_then
from app.bench.records import CouponVerdict, Reading, Retest, VoidAnswer, VoidRequest
from app.bench.rules.as_it_stood import Since, files_as_they_stood, of_its_material_then
from app.bench.rules.coupon_file import CouponFile, assemble, judge_assembled
from app.bench.rules.verdict import RULES_VERSION, verdict_paper
from app.bench.service.verdicts import entry_paper, inputs_digest
from app.database import Database
from app.documents.replayed import Replayed, differences, outcome_differences
from app.errors import Refusal
from app.loads.queries import goes_ahead
from app.loads.records import LoadCoupon
from app.panels.records import OUT_OF_HAND, Coupon, Panel
from app.requirements import queries as requirements

_BATCH = 100
_OTHER_RECORDS = "what it rests on is not on record as it was judged"
_KEYS: BindParameter[Any] = bindparam("keys", expanding=True)
_correction = aliased(Reading)

_VOIDED = (
    select(Reading.id.label("key"), func.min(VoidAnswer.answered_at).label("at"))
    .join(VoidRequest, VoidRequest.reading_id == Reading.id)
    .join(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
    .where(Reading.coupon_id.in_(_KEYS), VoidAnswer.approved)
    .group_by(Reading.id)
)
_REPLACED = (
    select(Reading.id.label("key"), _correction.entered_at.label("at"))
    .join(_correction, _correction.replaces_id == Reading.id)
    .where(Reading.coupon_id.in_(_KEYS))
)
_OPENED = select(Retest.id.label("key"), Retest.opened_at.label("at")).where(
    Retest.coupon_id.in_(_KEYS)
)


def replay_coupons(
    database: Database, *, zone: tzinfo, limit: int | None = None
) -> Iterator[Replayed]:
    """Every kept verdict on a coupon, judged again, the newest first.

    Under the revision it was judged by. A coupon's last verdict must follow from the evidence on
    record; an earlier one from what was there when it was judged. Papers that were accepted since
    are left out where they would say otherwise. Each batch is a reading of its own.
    """
    last, left = None, limit
    while left is None or left > 0:
        with database.read() as session:
            size = _BATCH if left is None else min(_BATCH, left)
            rows = session.execute(_before(last).limit(size)).all()
            replayed = _again(session, rows, zone)
        if not rows:
            return
        yield from replayed
        last = rows[-1].id
        left = None if left is None else left - len(rows)


def _before(last: int | None) -> Select[Any]:
    """Verdicts older than the one of that key, the newest first; every one of None."""
    later = aliased(CouponVerdict)
    newer = select(later.id).where(
        later.coupon_id == CouponVerdict.coupon_id, later.id > CouponVerdict.id
    )
    gone = (
        select(LoadCoupon.id)
        .join(Panel, Panel.id == LoadCoupon.panel_id)
        .where(LoadCoupon.coupon_id == Coupon.id, goes_ahead(LoadCoupon.load_id))
        .where(Panel.decided.in_(OUT_OF_HAND))
    )
    wanted = (
        select(
            CouponVerdict.id,
            CouponVerdict.coupon_id,
            CouponVerdict.table_revision_id,
            CouponVerdict.verdict,
            CouponVerdict.provisional,
            CouponVerdict.paper,
            CouponVerdict.inputs_sha256,
            CouponVerdict.rules_version,
            CouponVerdict.judged_at,
            Coupon.code,
            newer.exists().label("superseded"),
            gone.exists().label("panel_gone"),
        )
        .join(Coupon, Coupon.id == CouponVerdict.coupon_id)
        .order_by(CouponVerdict.id.desc())
    )
    return wanted if last is None else wanted.where(CouponVerdict.id < last)


def _again(session: Session, rows: Sequence[Row[Any]], zone: tzinfo) -> list[Replayed]:
    files = queries.coupon_files(session, {row.coupon_id for row in rows})
    since = _since(session, files)
    return [_replayed(session, row, files, since, zone) for row in rows]


def _since(session: Session, files: Mapping[int, CouponFile]) -> Since:
    """When the coupons' readings were voided and replaced, and their retests opened."""
    keys = {"keys": list(files)}
    return Since(
        {row.key: row.at for row in session.execute(_VOIDED, keys)},
        {row.key: row.at for row in session.execute(_REPLACED, keys)},
        {row.key: row.at for row in session.execute(_OPENED, keys)},
        material_then(session, list(files)),
    )


def _of_that_time(
    session: Session, files: Mapping[int, CouponFile], row: Row[Any]
) -> dict[int, CouponFile]:
    """The files of the coupon and its retest's with the papers accepted when it was judged."""
    file = files[row.coupon_id]
    wanted = [file.id, *(file.retest.coupons if file.retest is not None else ())]
    used = {key for one in wanted for key in files[one].sessions}
    then = session_files(session, used, until=row.judged_at)
    found = {}
    for key in wanted:
        sessions = {
            number: replace(
                then[number],
                checks=tuple(one for one in then[number].checks if one in bench.checks),
            )
            for number, bench in files[key].sessions.items()
        }
        found[key] = replace(files[key], sessions=sessions)
    return found


def _replayed(
    session: Session,
    row: Row[Any],
    files: Mapping[int, CouponFile],
    since: Since,
    zone: tzinfo,
) -> Replayed:
    name = f"Coupon {row.code}, judged {row.judged_at:%Y-%m-%d %H:%M} UTC"
    older = row.rules_version != RULES_VERSION
    if row.coupon_id not in files:
        return Replayed(name, older, "it rides in no load that goes ahead now")
    if row.superseded:
        files = files_as_they_stood(_near(files, row.coupon_id), since, row.judged_at)
    elif row.panel_gone:
        # Nothing is judged again for a panel that nothing can be said of any more.
        files = {
            key: of_its_material_then(one, since.corrected.get(key, ()), row.judged_at)
            for key, one in files.items()
        }
    files = _as_judged(session, files, row)
    differs = _difference(row, files, zone, older=older)
    if (
        differs is not None
        and _difference(row, _of_that_time(session, files, row), zone, older=older) is None
    ):
        differs = None
    return Replayed(name, older, differs)


def _near(files: Mapping[int, CouponFile], coupon_id: int) -> dict[int, CouponFile]:
    """The files of the coupon and of those that serve its retest."""
    retest = files[coupon_id].retest
    return {key: files[key] for key in (coupon_id, *(retest.coupons if retest else ()))}


def _as_judged(
    session: Session, files: Mapping[int, CouponFile], row: Row[Any]
) -> Mapping[int, CouponFile]:
    """The files under the revision that judged the coupon; mostly the very same."""
    if files[row.coupon_id].table_revision_id == row.table_revision_id:
        return files
    return under_revision(session, files, requirements.revision(session, row.table_revision_id))


def _difference(
    row: Row[Any], files: Mapping[int, CouponFile], zone: tzinfo, *, older: bool
) -> str | None:
    """In what the verdict differs, what it rests on included; None in nothing."""
    file = files[row.coupon_id]
    try:
        assembled = assemble(file, zone)
        judged = judge_assembled(assembled, file, files, zone)
    except Refusal as refusal:
        return f"it cannot be judged now: {refusal.sentence}"
    made = verdict_paper(judged, entry=entry_paper(file, judged))
    outcome = {"verdict": row.verdict, "provisional": row.provisional}
    if older:
        return outcome_differences(outcome, made)
    changed = differences(outcome, row.paper, made)
    if row.inputs_sha256 == inputs_digest(assembled, file, files, zone):
        return changed
    return "; ".join(one for one in (_OTHER_RECORDS, changed) if one is not None)
