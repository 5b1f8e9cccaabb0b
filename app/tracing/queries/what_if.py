"""What a revision of an acceptance table would change. Nothing of it is a record.

Coupons that other revisions of the table judged are judged again under this one, by the bench's own
function, and loads that are planned are asked which revision would govern them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from decimal import Decimal, InvalidOperation

from sqlalchemy import Row, Select, func, select
from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files, under_revision
from app.bench.records import CouponVerdict
from app.bench.rules.coupon_file import CouponFile, judge_file
from app.errors import Refusal
from app.judging.verdict import Finding, Outcome
from app.loads import queries as loads
from app.loads.records import FurnaceRecord, Load, LoadPanel, LoadStart
from app.panels.records import Coupon, Panel
from app.requirements import queries
from app.requirements.order_queries import governing_revision, orders_on_file
from app.requirements.queries import Revision
from app.requirements.records import Requirement, RequirementKind, RequirementRevision

MOST_COUPONS = 100
MOST_SEATS = 200
_WEIGHT = (Outcome.DOES_NOT_CONFORM, Outcome.NOT_PROVEN, Outcome.CONFORMS)


_FINEST = Decimal("0.001")
"""A margin is shown no finer than this."""


@dataclass(frozen=True, slots=True)
class CouponThen:
    """A coupon as it was judged, and as it would be: ``now`` None where it cannot be judged.

    ``decides`` is the sentence of the finding that would decide; ``margins`` say how far each
    figure lies from its limit, as shown, minus where it is on the wrong side.
    """

    code: str
    then: str
    then_revision: str
    now: str | None
    decides: str
    margins: tuple[str, ...]

    @property
    def changes(self) -> bool:
        """Whether the verdict would be another."""
        return self.then != self.now


@dataclass(frozen=True, slots=True)
class LoadAhead:
    """A panel of a load that has not run, which the revision would govern, and why."""

    load: str
    panel: str
    planned_revision: str
    reason: str


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What would change; ``total`` coupons were judged under other revisions, not all listed."""

    revision: Revision
    coupons: tuple[CouponThen, ...]
    total: int
    loads: tuple[LoadAhead, ...]


def what_if(session: Session, code: str, name: str, *, at: datetime, zone: tzinfo) -> WhatIf:
    """The newest coupons judged under other revisions, and the loads ahead, under this one.

    Raises:
        NotFound: no such table or revision.
    """
    found = queries.named(session, code, kind=RequirementKind.ACCEPTANCE_TABLE, revision=name)
    revision = next(one for one in found if one.revision == name)
    judged = _judged(revision)
    total = session.scalar(select(func.count()).select_from(judged.subquery())) or 0
    rows = session.execute(judged.order_by(CouponVerdict.id.desc()).limit(MOST_COUPONS)).all()
    files = coupon_files(session, [row.coupon_id for row in rows])
    other = under_revision(session, files, revision)
    return WhatIf(
        revision,
        tuple(_again(row, other, zone) for row in rows if row.coupon_id in other),
        total,
        tuple(_ahead(session, found, revision, at=at, zone=zone)),
    )


def _judged(revision: Revision) -> Select[int, str, str, str]:
    """The newest verdict of each coupon, where it is of another revision of the table."""
    newest = select(func.max(CouponVerdict.id)).group_by(CouponVerdict.coupon_id)
    return (
        select(
            CouponVerdict.coupon_id,
            CouponVerdict.verdict,
            RequirementRevision.revision,
            Coupon.code,
        )
        .join(RequirementRevision, RequirementRevision.id == CouponVerdict.table_revision_id)
        .join(Requirement, Requirement.id == RequirementRevision.requirement_id)
        .join(Coupon, Coupon.id == CouponVerdict.coupon_id)
        .where(
            CouponVerdict.id.in_(newest),
            Requirement.code == revision.code,
            RequirementRevision.id != revision.id,
        )
    )


def _again(
    row: Row[int, str, str, str], files: Mapping[int, CouponFile], zone: tzinfo
) -> CouponThen:
    try:
        judged = judge_file(files[row.coupon_id], files, zone)
    except Refusal as refusal:
        return CouponThen(row.code, row.verdict, row.revision, None, refusal.sentence, ())
    deciding = sorted(
        (one for one in judged.findings if one.outcome in _WEIGHT),
        key=lambda one: _WEIGHT.index(one.outcome),
    )
    return CouponThen(
        row.code,
        row.verdict,
        row.revision,
        judged.verdict.value,
        deciding[0].text if deciding else "No entry of the table is for it.",
        tuple(told for told in map(_margin, judged.findings) if told is not None),
    )


def _margin(finding: Finding) -> str | None:
    """How far a figure lies on the right side of its minimum or maximum; None of other findings."""
    quantity, _, side = finding.code.partition(".")
    if side not in {"minimum", "maximum"} or finding.outcome is Outcome.NOTE:
        return None
    try:
        value, limit = Decimal(str(finding.value)), Decimal(str(finding.limit))
    except InvalidOperation:
        return None
    room = value - limit if side == "minimum" else limit - value
    if room != room.quantize(_FINEST):  # of a mean
        room = room.quantize(_FINEST)
    return f"{quantity.replace('_', ' ')}, {side}: {room:+f} {finding.unit}"


def _ahead(
    session: Session,
    found: Sequence[Revision],
    revision: Revision,
    *,
    at: datetime,
    zone: tzinfo,
) -> list[LoadAhead]:
    """Seats of loads not run yet that the revision would govern if it came into force now."""
    started = select(LoadStart.id).where(LoadStart.load_id == Load.id).exists()
    recorded = select(FurnaceRecord.id).where(FurnaceRecord.load_id == Load.id).exists()
    rows = session.execute(
        select(
            Load.code,
            Load.planned_start,
            Panel.code.label("panel"),
            Panel.order_number,
            RequirementRevision.revision,
        )
        .join(LoadPanel, LoadPanel.load_id == Load.id)
        .join(Panel, Panel.id == LoadPanel.panel_id)
        .join(RequirementRevision, RequirementRevision.id == LoadPanel.table_revision_id)
        .join(Requirement, Requirement.id == RequirementRevision.requirement_id)
        .where(
            Requirement.code == revision.code,
            RequirementRevision.id != revision.id,
            loads.goes_ahead(Load.id),
            ~started,
            ~recorded,
        )
        .order_by(Load.planned_start, Load.id)
        .limit(MOST_SEATS)
    ).all()
    orders = orders_on_file(session, {row.order_number for row in rows})
    as_if = [
        replace(one, in_force_from=one.in_force_from or at) if one is revision else one
        for one in found
    ]
    ahead = []
    for row in rows:
        order = orders.get(row.order_number, row.order_number)
        start = max(at, row.planned_start)
        governs, why = governing_revision(as_if, order, at=start, zone=zone)
        if governs is not None and governs.revision == revision.revision:
            ahead.append(LoadAhead(row.code, row.panel, row.revision, why.reason))
    return ahead
