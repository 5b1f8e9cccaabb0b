"""What the form for a scanned coupon rests on: its tester, what was keyed, where to go on."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files
from app.bench.queries.places import place_for
from app.bench.queries.sessions import BenchAtWork, running_sessions
from app.bench.queries.waiting import expected_coupon
from app.bench.records import EntryDraft, Reading
from app.bench.rules.bracketing import Standing
from app.bench.rules.coupon_file import CouponFile, counting
from app.bench.rules.plausibility import asked_criteria
from app.bench.rules.sizes import SizedTester, sized_tester
from app.bench.rules.standards import standards_wanted, why_not_framed
from app.equipment.records import Tester
from app.errors import Refusal
from app.judging.units import Quantity
from app.panels.records import Coupon


@dataclass(frozen=True, slots=True)
class TesterAt:
    """The tester of a session as the form needs it.

    ``resolution`` is the step of its display, ``reach`` the range it measures (an end that is None
    is open), ``sized`` is there where the sizes of an indentation may be keyed.
    """

    code: str
    unit: str
    build: str | None
    resolution: Decimal | None
    reach: tuple[Decimal | None, Decimal | None]
    sized: SizedTester | None


def tester_at(session: Session, tester_id: int) -> TesterAt:
    """The tester of that number."""
    found = session.get_one(Tester, tester_id)
    return TesterAt(
        code=found.code,
        unit=found.unit,
        build=None if found.build is None else found.build.value,
        resolution=found.resolution,
        reach=(found.measures_from, found.measures_to),
        sized=sized_tester(found.unit, found.force_n, found.ball_mm, found.asymmetry_percent),
    )


@dataclass(frozen=True, slots=True)
class Draft:
    """What was keyed for a coupon and is not recorded yet, and when it was last kept."""

    coupon: str
    fields: Mapping[str, str]
    saved_at: datetime


def draft_of(session: Session, *, session_id: int, coupon_id: int) -> Draft | None:
    """What is kept for the coupon in the session, or None."""
    row = session.execute(
        select(Coupon.code, EntryDraft.fields, EntryDraft.saved_at)
        .select_from(EntryDraft)
        .join(Coupon, Coupon.id == EntryDraft.coupon_id)
        .where(EntryDraft.session_id == session_id, EntryDraft.coupon_id == coupon_id)
    ).one_or_none()
    return None if row is None else Draft(*row)


def drafts_in(session: Session, session_id: int) -> list[Draft]:
    """Everything keyed in the session and not recorded, the oldest first; one query."""
    return [
        Draft(*row)
        for row in session.execute(
            select(Coupon.code, EntryDraft.fields, EntryDraft.saved_at)
            .select_from(EntryDraft)
            .join(Coupon, Coupon.id == EntryDraft.coupon_id)
            .where(EntryDraft.session_id == session_id)
            .order_by(EntryDraft.saved_at, EntryDraft.id)
        )
    ]


@dataclass(frozen=True, slots=True)
class Ground:
    """What the form for one coupon starts from.

    ``coupon_c`` and ``block_c`` are the temperatures last given in the session, in degC;
    ``why_not`` is why readings of this tester would not count here, as a sentence, or None.
    """

    tester: TesterAt
    draft: Draft | None
    coupon_c: Decimal | None
    block_c: Decimal | None
    why_not: str | None


def ground_for(session: Session, bench: BenchAtWork, file: CouponFile) -> Ground:
    """What the form for the coupon starts from in that session."""
    tester = tester_at(session, bench.tester_id)
    coupon_c, block_c = last_temperatures(session, bench)
    return Ground(
        tester=tester,
        draft=draft_of(session, session_id=bench.id, coupon_id=file.id),
        coupon_c=coupon_c,
        block_c=block_c,
        why_not=why_not_here(file, bench, tester),
    )


def why_not_here(file: CouponFile, bench: BenchAtWork, tester: TesterAt) -> str | None:
    """Why readings of the coupon in this session would not count, as a sentence; or None.

    For an instrument that its table does not permit, or standards that do not lie about its limits.
    The sentence names no limit of a table that is measured blind.
    """
    entry, quantity = file.entry(), Quantity(bench.quantity)
    if entry is None:
        return None
    for criterion in asked_criteria(entry, quantity, bench.unit):
        if criterion.instruments and tester.build not in criterion.instruments:
            kind = tester.build or "of a build that is not registered"
            return (
                f"{file.table_code} permits {' or '.join(criterion.instruments)} instruments for "
                f"{quantity.words}, and {tester.code} is {kind}: these readings would not count. "
                "Measure with another tester."
            )
    for wanted in standards_wanted(entry, quantity, bench.unit):
        reason = why_not_framed(wanted, bench.bracketing, bench.unit, blind=file.table.blind)
        if reason is not None:
            return (
                f"These readings would not count: {reason}. Make the closing check and open a new "
                "session with such a pair."
            )
    return None


def hidden_for_now(session: Session, coupon_ids: Collection[int], *, zone: tzinfo) -> set[int]:
    """Those of the coupons that are measured blind and lack readings: no verdict is shown yet."""
    files = coupon_files(session, coupon_ids)
    return {key for key, file in files.items() if file.table.blind and _lacks(file, zone)}


def _lacks(file: CouponFile, zone: tzinfo) -> bool:
    """Whether a criterion of the entry itself has too few readings to be judged.

    The further tests of an *accept if* zone do not count: whether they are asked for is the very
    thing that the verdict tells.
    """
    entry = file.entry()
    asked = entry.criteria if entry is not None else ()
    return any(
        counting(file, zone, quantity=one.quantity, unit=one.unit) < one.readings_min
        for one in asked
    )


def last_temperatures(
    session: Session, bench: BenchAtWork
) -> tuple[Decimal | None, Decimal | None]:
    """Coupon and block in degC as last given in the session; None where none was."""
    row = session.execute(
        select(Reading.coupon_c, Reading.block_c)
        .where(Reading.session_id == bench.id)
        .order_by(Reading.id.desc())
        .limit(1)
    ).one_or_none()
    coupon_c, block_c = (None, None) if row is None else (row.coupon_c, row.block_c)
    if block_c is None:
        block_c = next((one.block_c for one in reversed(bench.checks) if one.block_c), None)
    return coupon_c, block_c


@dataclass(frozen=True, slots=True)
class OtherSession:
    """A session of the same person in which the coupon still lacks readings."""

    id: int
    tester: str
    quantity: str


def session_lacking(
    session: Session, code: str, bench: BenchAtWork, *, zone: tzinfo
) -> OtherSession | None:
    """Where the person who runs ``bench`` can go on with a coupon that has all it needs there.

    Raises:
        NotFound: no coupon has that identity.
        Refusal: the coupon is not expected at the bench.
    """
    seat = expected_coupon(session, code)
    others = [
        one
        for one in running_sessions(session)
        if one.operator_id == bench.operator_id and one.id != bench.id
    ]
    file = coupon_files(session, [seat.coupon_id])[seat.coupon_id]
    entry = file.entry()
    for other in others:
        quantity = Quantity(other.quantity)
        asked = entry is not None and asked_criteria(entry, quantity, other.unit)
        if not asked or other.standing is not Standing.OPEN:
            continue
        try:
            place_for(session, file, quantity, other.unit, zone, operator_id=other.operator_id)
        except Refusal:
            continue
        return OtherSession(other.id, other.tester, quantity.words)
    return None
