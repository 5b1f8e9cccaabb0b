"""Open the retest that a table permits."""

from datetime import datetime, tzinfo

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench import queries
from app.bench.records import Retest
from app.bench.rules.coupon_file import judge_file
from app.bench.service.verdicts import judge_again
from app.database import Database
from app.errors import Conflict, Refusal
from app.judging.verdict import Verdict
from app.panels.queries import coupon as coupon_of
from app.people.rights import Act, require

SHORTEST_REASON = 10
"""Characters; a reason of fewer says nothing to whoever reads it years later."""


def open_retest(
    database: Database, *, coupon_code: str, reason: str, by: Actor, at: datetime, zone: tzinfo
) -> int:
    """Open the retest that the table's entry permits, and hand back its number.

    The first result stays in the record; as many further coupons or sets as the rule states must
    all conform.

    Raises:
        NotFound: there is no such coupon.
        Conflict: its retest was opened before.
        Refusal: its verdict is not final or conforms, or the entry permits no retest.
    """
    require(by, Act.OPEN_RETEST)
    reason = stated_reason(reason, "why the retest is opened")
    with database.write() as session:
        coupon = coupon_of(session, coupon_code)
        file = queries.coupon_files(session, [coupon.id]).get(coupon.id)
        if file is None:
            raise Refusal(f"Coupon {coupon_code} rode in no load, so there is nothing to retest.")
        if file.retest is not None:
            raise Conflict(f"The retest of {coupon_code} has been opened already.")
        first = judge_file(file, {}, zone)
        if first.verdict is not Verdict.DOES_NOT_CONFORM:
            raise Refusal(
                f"Coupon {coupon_code} {_stands(first.verdict)}; a retest is for one that does "
                "not conform."
            )
        if first.provisional:
            raise Refusal(
                f"The verdict on {coupon_code} is provisional until the closing check; wait for it."
            )
        rule = first.entry.retest if first.entry is not None else None
        if rule is None:
            raise Refusal(
                f"The table's entry permits no retest for {coupon_code}: its result stands. If "
                "the test was invalid, ask for the reading to be voided with its cause."
            )
        row = Retest(
            coupon_id=coupon.id,
            sets_required=rule.further,
            rule=f"{rule.further} further {rule.of.value}, all of which must conform",
            reason=reason,
            opened_by_id=by.id,
            opened_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.RETEST_OPENED,
            by=by,
            at=at,
            about=("coupon", coupon.code),
            rows=[row],
            note=f"{row.rule}: {reason}",
        )
        judge_again(session, [coupon.id], by=by, at=at, zone=zone)
        return row.id


def _stands(verdict: Verdict) -> str:
    return "conforms" if verdict is Verdict.CONFORMS else "is not proven"


def stated_reason(typed: str, what: str, *, field: str = "reason") -> str:
    """A reason with its spaces tidied.

    Raises:
        Refusal: it is shorter than ten characters.
    """
    reason = " ".join(typed.split())
    if len(reason) < SHORTEST_REASON:
        says = f"Say {what} in at least {SHORTEST_REASON} characters."
        raise Refusal(says, fields={field: says})
    return reason
