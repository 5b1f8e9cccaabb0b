"""Everything on record about a coupon, as plain values, and its verdict. Pure.

What judging itself cannot see is settled here: bench checks, calibration, voids and corrections
say of each reading whether it counts, and why not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from app.bench.rules.bracketing import Check, bracket, day_of, why_out_of_date
from app.bench.rules.plausibility import readings_needed
from app.bench.rules.verdict import Judged, Retest, judge_with_retest
from app.equipment.rules import DatedPaper, governing
from app.judging.units import Quantity, conversion_factor
from app.judging.witness.acceptance import Entry, Surface, Table
from app.judging.witness.coupon import Coupon, Reading
from app.judging.witness.coupons import find_entry, judge_coupon


@dataclass(frozen=True, slots=True)
class Certificate:
    """A tester's calibration, both days included, with U (k = 2) where it states one."""

    paper: DatedPaper
    expanded: Decimal | None


@dataclass(frozen=True, slots=True)
class SessionFile:
    """A bench session's tester, its checks in the order made, certificates newest entry first."""

    tester: str
    checks: tuple[Check, ...]
    certificates: tuple[Certificate, ...]


@dataclass(frozen=True, slots=True)
class ReadingFile:
    """A reading as recorded. ``number`` counts the coupon's readings from 1.

    ``voided`` is the cause, where a void was approved; ``replaced`` is true where a correction
    names it.
    """

    id: int
    number: int
    session_id: int | None
    quantity: Quantity
    unit: str
    value: Decimal
    coupon_c: Decimal | None
    block_c: Decimal | None
    frequency_khz: Decimal | None
    spacing_confirmed: bool | None
    retest_id: int | None
    set_number: int | None
    taken_at: datetime
    voided: str | None
    replaced: bool


@dataclass(frozen=True, slots=True)
class RetestFile:
    """A retest as opened; ``coupons`` are the ids of the further coupons measured for it."""

    id: int
    further: int
    coupons: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CouponFile:
    """A coupon, its readings in the order recorded, and the table that judges it."""

    id: int
    code: str
    panel_id: int
    load_id: int
    alloy: str
    temper: str
    form: str
    thickness_mm: Decimal
    surface: str
    table: Table
    table_revision_id: int
    table_code: str
    table_sha256: str
    readings: tuple[ReadingFile, ...]
    sessions: Mapping[int, SessionFile]
    retest: RetestFile | None

    def entry(self) -> Entry | None:
        """The table's entry that is for this coupon, or None."""
        return find_entry(self.coupon(()), self.table)

    def coupon(self, readings: Sequence[Reading], **uncertainty: object) -> Coupon:
        """The coupon as judging knows it, with these readings."""
        surfaces = {surface.value: surface for surface in Surface}
        return Coupon(
            alloy=self.alloy,
            temper=self.temper,
            form=self.form,
            thickness_mm=self.thickness_mm,
            surface=surfaces.get(self.surface),
            readings=tuple(readings),
            **uncertainty,  # type: ignore[arg-type]
        )


def why_not_counted(
    reading: ReadingFile, file: CouponFile, zone: tzinfo
) -> tuple[str | None, bool]:
    """Why a reading does not count (None where it does), and whether it counts provisionally."""
    if reading.voided is not None:
        return f"voided: {reading.voided}", False
    if reading.replaced:
        return "replaced by a correction", False
    if reading.session_id is None:
        return None, False
    bench = file.sessions[reading.session_id]
    papers = [certificate.paper for certificate in bench.certificates]
    out_of_date = why_out_of_date(papers, day_of(reading.taken_at, zone))
    if out_of_date is not None:
        return out_of_date, False
    if reading.quantity is Quantity.HARDNESS and not reading.spacing_confirmed:
        return "the spacing and edge rules of the method were not confirmed", False
    return bracket(reading.taken_at, bench.checks)


def as_judged(reading: ReadingFile, file: CouponFile, zone: tzinfo) -> Reading:
    """A reading as judging takes it, with the reason for which it does not count."""
    reason, provisional = why_not_counted(reading, file, zone)
    return Reading(
        quantity=reading.quantity,
        unit=reading.unit,
        value=reading.value,
        frequency_khz=reading.frequency_khz,
        coupon_c=reading.coupon_c,
        block_c=reading.block_c,
        discounted=reason,
        provisional=provisional,
        name=f"reading {reading.number}",
    )


def first_test(file: CouponFile, zone: tzinfo) -> Coupon:
    """The coupon with the readings of its first test: all but the further sets of its retest."""
    own = file.retest.id if file.retest is not None else None
    readings = [
        as_judged(one, file, zone)
        for one in file.readings
        if one.retest_id is None or one.retest_id != own
    ]
    return file.coupon(readings, expanded_uncertainty=_uncertainty(file, zone))


def further_sets(file: CouponFile, zone: tzinfo) -> tuple[tuple[Reading, ...], ...]:
    """The further sets of readings of the coupon's retest, in order."""
    if file.retest is None:
        return ()
    sets: dict[int, list[Reading]] = {}
    for one in file.readings:
        if one.retest_id == file.retest.id and one.set_number is not None:
            sets.setdefault(one.set_number, []).append(as_judged(one, file, zone))
    return tuple(tuple(sets[number]) for number in sorted(sets))


def judge_file(file: CouponFile, files: Mapping[int, CouponFile], zone: tzinfo) -> Judged:
    """The coupon's verdict. ``files`` holds the further coupons of its retest.

    Raises:
        Refusal: two entries of the table match the coupon.
    """
    retest = None
    if file.retest is not None:
        others = [files[coupon_id] for coupon_id in file.retest.coupons]
        retest = Retest(
            file.retest.further,
            sets=further_sets(file, zone),
            coupons=tuple(
                (f"coupon {one.code}", judge_coupon(first_test(one, zone), one.table))
                for one in others
            ),
        )
    return judge_with_retest(first_test(file, zone), file.table, retest)


def counting(
    file: CouponFile, zone: tzinfo, *, quantity: Quantity, unit: str, set_number: int | None = None
) -> int:
    """How many readings of the quantity count: of the first test, or of one further set."""
    own = file.retest.id if file.retest is not None else None
    return sum(
        reading.quantity is quantity
        and conversion_factor(reading.unit, to=unit) is not None
        and (reading.set_number if own is not None and reading.retest_id == own else None)
        == set_number
        and why_not_counted(reading, file, zone)[0] is None
        for reading in file.readings
    )


def still_needed(file: CouponFile, zone: tzinfo, *, quantity: Quantity, unit: str) -> int:
    """How many more readings of the first test the table asks for; 0 where it has enough."""
    needed = readings_needed(file.entry(), quantity, unit)
    return max(needed - counting(file, zone, quantity=quantity, unit=unit), 0)


def _uncertainty(file: CouponFile, zone: tzinfo) -> dict[tuple[Quantity, str], Decimal]:
    """U by quantity and unit: the largest of the testers that took the readings."""
    known: dict[tuple[Quantity, str], Decimal] = {}
    for reading in file.readings:
        if reading.session_id is None:
            continue
        certificates = file.sessions[reading.session_id].certificates
        papers = [certificate.paper for certificate in certificates]
        paper = governing(papers, on=day_of(reading.taken_at, zone))
        stated = [one.expanded for one in certificates if one.paper is paper]
        if paper is not None and stated[0] is not None:
            key = (reading.quantity, reading.unit)
            known[key] = max(known.get(key, stated[0]), stated[0])
    return known
