"""Open the retest that a table permits, as it is planned."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.queries.retests import RetestOffer, retest_offer
from app.bench.records import Retest
from app.bench.service.changing import stated_reason
from app.bench.service.verdicts import judge_again
from app.database import Database, paper_sha256
from app.errors import Conflict, Refusal
from app.judging.witness.acceptance import RetestOf
from app.panels.queries import coupon as coupon_of
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign


def open_retest(
    database: Database,
    *,
    coupon_code: str,
    reason: str,
    positions: Sequence[str],
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> int:
    """Open the retest that the table's entry permits, signed, and hand back its number.

    The first result stays in the record; as many further coupons or sets as the rule states must
    all conform. ``positions`` are the coupons that serve, where the rule is of coupons; they, what
    is repeated and who may not measure stand in the plan, and nothing of it is changed later.

    Raises:
        NotFound: there is no such coupon.
        Conflict: its retest was opened before.
        Refusal: its verdict is not final or conforms, the order of moves is not finished, the
            entry permits no retest, the coupons chosen cannot serve, or the password is wrong.
    """
    require(by, Act.OPEN_RETEST)
    reason = stated_reason(reason, "why the retest is opened")
    with database.read() as session:
        _planned(session, coupon_code, positions, zone)
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        planned = _planned(session, coupon_code, positions, zone)
        content = {"coupon": coupon_code, "plan": planned.plan, "reason": reason}
        signature = sign(
            session,
            proof,
            meaning=Meaning.OPENED_RETEST,
            content_sha256=paper_sha256(content),
            at=at,
        )
        further = planned.offer.rule.further
        row = Retest(
            coupon_id=planned.coupon_id,
            sets_required=further,
            rule=f"{further} further {planned.offer.rule.of.value}, all of which must conform",
            reason=reason,
            opened_by_id=by.id,
            opened_at=at,
            plan=planned.plan,
            signature_id=signature.id,
        )
        session.add(row)
        append(
            session,
            Tag.RETEST_OPENED,
            by=by,
            at=at,
            about=("coupon", coupon_code),
            rows=[signature, row],
            note=f"{planned.plan['words']} {reason}",
        )
        judge_again(session, [planned.coupon_id], by=by, at=at, zone=zone)
        return row.id


@dataclass(frozen=True, slots=True)
class _Planned:
    """What may be opened: for which coupon, as offered, and the plan as it would be kept."""

    coupon_id: int
    offer: RetestOffer
    plan: dict[str, Any]


def _planned(
    session: Session, coupon_code: str, positions: Sequence[str], zone: tzinfo
) -> _Planned:
    """The plan, if the retest may be opened with these coupons.

    Raises:
        NotFound, Conflict, Refusal: as `open_retest`.
    """
    coupon = coupon_of(session, coupon_code)
    file = queries.file_of(session, coupon.id)
    if file is None:
        raise Refusal(f"Coupon {coupon_code} rode in no load, so there is nothing to retest.")
    if file.retest is not None:
        raise Conflict(
            f"The retest of {coupon_code} has been opened already, and a second is never opened: "
            "a result is not improved by testing until it fits."
        )
    offer = retest_offer(session, file, zone)
    if isinstance(offer, str):
        raise Refusal(offer)
    chosen = _chosen(offer, positions)
    return _Planned(coupon.id, offer, offer.plan(chosen))


def _chosen(offer: RetestOffer, positions: Sequence[str]) -> list[tuple[str, str]]:
    """The coupons that serve, with their stations; none where the rule is of sets."""
    if offer.rule.of is not RetestOf.COUPONS:
        return []
    seats: Mapping[str, Any] = {one.code: one for one in offer.candidates}
    says = None
    strangers = [code for code in positions if code not in seats or seats[code].why_not]
    if strangers:
        why = seats[strangers[0]].why_not if strangers[0] in seats else None
        says = f"{strangers[0]} cannot serve: {why or 'it did not ride on the same panel'}."
    elif len(set(positions)) != offer.rule.further:
        says = (
            f"The table asks for {offer.rule.further} further "
            f"{'coupon' if offer.rule.further == 1 else 'coupons'}; choose exactly as many, "
            f"before anything is measured on them ({len(set(positions))} chosen)."
        )
    if says is not None:
        raise Refusal(says, fields={"positions": says})
    return [(one.code, one.station) for one in offer.candidates if one.code in positions]
