"""Which coupons an act on an instrument's papers may concern after they were judged.

Readings, checks, voids, corrections and retests judge their coupons in their own transaction.
Papers are accepted, studies closed and correction tables verified without knowing the coupons.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Protocol

from sqlalchemy import Select, func, or_, select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.bench.records import Baseline, BenchSession, BlockCheck, CouponVerdict, Reading
from app.equipment.records import (
    ReferenceBlock,
    ReportReview,
    Tester,
    TesterCertificate,
    Thermometer,
    ThermometerCertificate,
)
from app.loads.queries import goes_ahead
from app.loads.records import LoadCoupon
from app.panels.records import OUT_OF_HAND, Coupon, Panel

SPEAKS_OF_COUPONS = (
    Tag.REPORT_REVIEWED,
    Tag.STUDY_CLOSED,
    Tag.CORRECTION_TABLE_VERIFIED,
    Tag.CORRECTION_TABLE_WITHDRAWN,
)
"""Acts that can change what coupons judged before them rest on."""
_TAGS = tuple(tag.value for tag in SPEAKS_OF_COUPONS)
_KINDS = ("tester", "thermometer", "reference_block", "correction_table")
_ZONES_APART = timedelta(hours=14)
"""A day of the shop begins this long before the day in UTC at the most."""


class Spoke(Protocol):
    """An entry of the trail, as far as it matters here."""

    @property
    def tag(self) -> str:
        """What was done."""

    @property
    def kind(self) -> str:
        """The kind of the thing it is about."""

    @property
    def code(self) -> str:
        """The thing's identity."""

    @property
    def by(self) -> str:
        """Whose act it was."""

    @property
    def at(self) -> datetime:
        """When."""


def coupons_concerned(session: Session, entries: Iterable[Spoke]) -> dict[int, str]:
    """Coupons with a verdict that the entries may concern, each with the user name of who acted.

    Their panel is neither scrapped nor returned; whether anything changed for them is not said. A
    certificate governs from the day it was made, a study and a correction table from the act on.
    One statement for each instrument, and one for all correction tables; none where no entry is
    of these kinds.
    """
    first: dict[tuple[str, str, str], Spoke] = {}
    for entry in entries:
        if entry.tag in _TAGS and entry.kind in _KINDS:
            code = "" if entry.kind == "correction_table" else entry.code
            key = (entry.tag, entry.kind, code)
            if key not in first or entry.at < first[key].at:
                first[key] = entry
    found: dict[int, str] = {}
    for entry in first.values():
        found |= dict.fromkeys(session.scalars(judged_at_hand(_measured(session, entry))), entry.by)
    return dict(sorted(found.items()))


def judged_at_hand(coupons: Sequence[Select[Any]]) -> Select[Any]:
    """Selects those of the coupons, each selected by its key, whose verdict can matter still.

    They have one, ride in a load that goes ahead, and their panel is neither scrapped nor returned.
    """
    return (
        select(LoadCoupon.coupon_id)
        .join(Panel, Panel.id == LoadCoupon.panel_id)
        .where(
            or_(*(LoadCoupon.coupon_id.in_(some) for some in coupons)),
            goes_ahead(LoadCoupon.load_id),
            Panel.decided.not_in(OUT_OF_HAND),
            select(CouponVerdict.id)
            .where(CouponVerdict.coupon_id == LoadCoupon.coupon_id)
            .exists(),
        )
        .order_by(LoadCoupon.coupon_id)
    )


def _measured(session: Session, entry: Spoke) -> list[Select[Any]]:
    """What selects the coupons that were measured with the instrument in the time concerned."""
    reading = select(Reading.coupon_id)
    if entry.kind == "correction_table":
        return [reading.where(Reading.session_id.is_not(None), Reading.taken_at >= entry.at)]
    if entry.kind == "reference_block":
        checked = (
            select(BlockCheck.session_id)
            .join(ReferenceBlock, ReferenceBlock.id == BlockCheck.block_id)
            .where(ReferenceBlock.code == entry.code)
        )
        before = select(Baseline.coupon_id).where(Baseline.session_id.in_(checked))
        return [reading.where(Reading.session_id.in_(checked)), before]
    since = entry.at
    if entry.tag == Tag.REPORT_REVIEWED.value:
        made_on: date | None = session.scalar(_first_made(entry))
        if made_on is None:
            return []
        since = datetime.combine(made_on, time.min, UTC) - _ZONES_APART
    held = select(BenchSession.id)
    if entry.kind == "tester":
        held = held.join(Tester, Tester.id == BenchSession.tester_id).where(
            Tester.code == entry.code
        )
    else:
        held = held.join(Thermometer, Thermometer.id == BenchSession.thermometer_id).where(
            Thermometer.code == entry.code
        )
    return [reading.where(Reading.session_id.in_(held), Reading.taken_at >= since)]


def _first_made(entry: Spoke) -> Any:
    """When the first made of the certificates was that were accepted since the entry.

    What was rejected counted no more before, and changes nothing.
    """
    made: Any
    if entry.kind == "tester":
        made = (
            select(func.min(TesterCertificate.done_on))
            .join(Tester, Tester.id == TesterCertificate.tester_id)
            .join(ReportReview, ReportReview.tester_certificate_id == TesterCertificate.id)
            .where(Tester.code == entry.code)
        )
    else:
        made = (
            select(func.min(ThermometerCertificate.done_on))
            .join(Thermometer, Thermometer.id == ThermometerCertificate.thermometer_id)
            .join(
                ReportReview, ReportReview.thermometer_certificate_id == ThermometerCertificate.id
            )
            .where(Thermometer.code == entry.code)
        )
    return made.where(ReportReview.accepted, ReportReview.reviewed_at >= entry.at)


def spoken_since_judged(session: Session, coupon_ids: Collection[int]) -> bool:
    """Whether the trail has an act on the bench's papers after one of the coupons was judged.

    Of any instrument: whether it concerns them is not said. One statement.
    """
    if not coupon_ids:
        return False
    judged = (
        select(func.max(TrailEntry.number).label("number"))
        .join(Coupon, Coupon.code == TrailEntry.about_code)
        .where(TrailEntry.tag == Tag.COUPON_JUDGED.value, Coupon.id.in_(coupon_ids))
        .group_by(Coupon.id)
        .subquery()
    )
    first = select(func.min(judged.c.number)).scalar_subquery()
    return (
        session.scalar(
            select(TrailEntry.number)
            .where(
                TrailEntry.number > first,
                TrailEntry.tag.in_(_TAGS),
                TrailEntry.about_kind.in_(_KINDS),
            )
            .limit(1)
        )
        is not None
    )


def kept_digests(session: Session, coupon_ids: Collection[int]) -> dict[int, tuple[str, str]]:
    """Digest and rules of each coupon's newest verdict, by coupon; those without one are left out.

    One statement.
    """
    newest = (
        select(func.max(CouponVerdict.id))
        .where(CouponVerdict.coupon_id.in_(coupon_ids))
        .group_by(CouponVerdict.coupon_id)
    )
    rows = session.execute(
        select(
            CouponVerdict.coupon_id, CouponVerdict.inputs_sha256, CouponVerdict.rules_version
        ).where(CouponVerdict.id.in_(newest))
    )
    return {row.coupon_id: (row.inputs_sha256, row.rules_version) for row in rows}
