"""Everything on record about a coupon, as plain values, and its verdict. Pure.

What judging itself cannot see is settled here: bench checks, calibration, standards, corrections,
voids and the plan of a retest say of each reading whether it counts, and why not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from fractions import Fraction
from typing import Any

from app.bench.rules.bracketing import day_of
from app.bench.rules.files import (
    BaselineFile,
    CorrectionOnFile,
    CouponFile,
    ReadingFile,
    RetestFile,
)
from app.bench.rules.notes import late_note, no_as_found_note, no_thermometer_note
from app.bench.rules.plausibility import asked_criteria, readings_needed
from app.bench.rules.retest_plan import why_not_in_plan
from app.bench.rules.session_file import (
    SessionFile,
    budget_parts,
    proven_at,
    why_no_thermometer,
    why_not_calibrated,
)
from app.bench.rules.standards import standards_wanted, why_not_framed
from app.bench.rules.verdict import Judged, Retest, judge_with_retest
from app.judging.units import Quantity, conversion_factor
from app.judging.verdict import Finding
from app.judging.witness.acceptance import Entry
from app.judging.witness.acceptance_checks import same_name
from app.judging.witness.budget import Budget
from app.judging.witness.corrections import Corrections, CorrectionTable, corrections_of
from app.judging.witness.coupon import Baseline, Coupon, Reading
from app.judging.witness.coupons import judge_coupon
from app.judging.witness.indentation import hardness_number

__all__ = [
    "Assembled",
    "BaselineFile",
    "CorrectionOnFile",
    "CouponFile",
    "ReadingFile",
    "RetestFile",
    "assemble",
    "counting",
    "judge_assembled",
    "judge_file",
    "still_needed",
    "why_not_counted",
]


def why_not_counted(
    reading: ReadingFile, file: CouponFile, zone: tzinfo
) -> tuple[str | None, bool]:
    """Why a reading does not count (None where it does), and whether it counts provisionally."""
    settled = _settle(reading, file, file.entry(), zone)
    return settled.discounted, settled.provisional


def _settle(reading: ReadingFile, file: CouponFile, entry: Entry | None, zone: tzinfo) -> Reading:
    """A reading as judging takes it: what is added to it, or why it does not count."""
    taken = _as_read(reading, file)
    reason, provisional = _why_not(reading, file, entry, zone)
    if reason is not None:
        return replace(taken, discounted=reason)
    added = _added(reading, file, entry, zone)
    if added.why_not is not None:
        return replace(taken, discounted=added.why_not)
    return replace(taken, addends=added.addends, provisional=provisional)


def _as_read(reading: ReadingFile, file: CouponFile) -> Reading:
    bench = None if reading.session_id is None else file.sessions[reading.session_id]
    sized = reading.indentation is not None
    return Reading(
        quantity=reading.quantity,
        unit=reading.unit,
        value=None if sized else reading.value,
        indentation=reading.indentation,
        step=None if bench is None or sized else bench.step,
        frequency_khz=reading.frequency_khz,
        coupon_c=reading.coupon_c,
        block_c=reading.block_c,
        name=f"reading {reading.number}",
    )


def _why_not(
    reading: ReadingFile, file: CouponFile, entry: Entry | None, zone: tzinfo
) -> tuple[str | None, bool]:
    """Everything but corrections that may speak against a reading, the plainest reason first."""
    taken_out = _why_taken_out(reading, file)
    if taken_out is not None or reading.session_id is None:
        return taken_out, False
    bench = file.sessions[reading.session_id]
    unproven, provisional = proven_at(bench, reading.taken_at)
    reason = (
        _why_unfit(reading, bench, entry, zone) or unproven or _why_unframed(reading, bench, entry)
    )
    return reason, provisional and reason is None


def _why_taken_out(reading: ReadingFile, file: CouponFile) -> str | None:
    """Why a reading stands in the record and in no test, or None."""
    if reading.voided is not None:
        return f"voided: {reading.voided}"
    if reading.replaced:
        return "replaced by a correction"
    if reading.retest_id is None:
        return None
    plan = (file.serves or {}).get(reading.retest_id)
    operator = None if reading.session_id is None else reading.taken_by_id
    unplanned = why_not_in_plan(plan, file.code, reading.quantity, operator)
    return None if unplanned is None else f"outside the plan of its retest: {unplanned}"


def _why_unframed(reading: ReadingFile, bench: SessionFile, entry: Entry | None) -> str | None:
    """Why the session's standards do not frame the table's limits, or None."""
    for wanted in standards_wanted(entry, reading.quantity, reading.unit):
        unframed = why_not_framed(wanted, bench.checks, bench.unit)
        if unframed is not None:
            return unframed
    return None


def _why_unfit(
    reading: ReadingFile, bench: SessionFile, entry: Entry | None, zone: tzinfo
) -> str | None:
    """Why the tester or the thermometer was not fit for the reading, or None."""
    day = day_of(reading.taken_at, zone)
    out_of_date = why_not_calibrated(bench, day)
    if out_of_date is not None:
        return out_of_date
    asked = [] if entry is None else asked_criteria(entry, reading.quantity, reading.unit)
    # Where criteria of one quantity ask differently, a reading counts for all of them or for none.
    barring = [one.instruments for one in asked if one.instruments]
    if not all(bench.build in builds for builds in barring):
        kinds = " or ".join(dict.fromkeys(build for builds in barring for build in builds))
        own = "of unknown build" if bench.build is None else bench.build
        return f"its table permits {kinds} testers only, and {bench.tester} is {own}"
    if reading.quantity is Quantity.CONDUCTIVITY:
        return why_no_thermometer(bench, day)
    if reading.quantity is Quantity.HARDNESS and not reading.spacing_confirmed:
        return "the spacing and edge rules of the method were not confirmed"
    return None


def _added(
    reading: ReadingFile, file: CouponFile, entry: Entry | None, zone: tzinfo
) -> Corrections:
    """What is added to a reading of the bench; nothing to a laboratory's result."""
    if reading.session_id is None:
        return Corrections()
    bench = file.sessions[reading.session_id]
    asked = [] if entry is None else asked_criteria(entry, reading.quantity, reading.unit)
    code = next((one.correction for one in asked if one.correction is not None), None)
    table = None
    if code is not None:
        table = _table_at(file, code, reading.taken_at)
        if table is None:
            when = day_of(reading.taken_at, zone)
            return Corrections(
                why_not=f"no verified revision of correction table {code} was in force on {when}"
            )
    instrument = bench.correction_on(day_of(reading.taken_at, zone))
    if instrument is None and table is None:
        return Corrections()
    sized = reading.indentation
    value = Fraction(reading.value) if sized is None else hardness_number(sized).value
    return corrections_of(
        value,
        reading.unit,
        instrument=instrument,
        table=table,
        diameter_mm=file.diameter_mm,
        thickness_mm=file.thickness_mm,
    )


def _table_at(file: CouponFile, code: str, at: datetime) -> CorrectionTable | None:
    """The newest revision of the correction table in force at that time, or None."""
    found = (file.corrections or {}).get(same_name(code), ())
    in_force = [
        one.table for one in found if one.since <= at and (one.until is None or at < one.until)
    ]
    return in_force[-1] if in_force else None


@dataclass(frozen=True, slots=True)
class Assembled:
    """All that a verdict is computed from: the first test, the retest's sets, what is noted."""

    first: Coupon
    sets: tuple[tuple[Reading, ...], ...]
    notes: tuple[Finding, ...]


def assemble(file: CouponFile, zone: tzinfo) -> Assembled:
    """The file as judging takes it."""
    entry = file.entry()
    own = file.retest.id if file.retest is not None else None
    first: list[Reading] = []
    sets: dict[int, list[Reading]] = {}
    counted: list[ReadingFile] = []
    for one in file.readings:
        settled = _settle(one, file, entry, zone)
        if settled.discounted is None:
            counted.append(one)
        if one.retest_id is None or one.retest_id != own:
            first.append(settled)
        elif one.set_number is not None:
            sets.setdefault(one.set_number, []).append(settled)
    coupon = file.coupon(
        first,
        expanded_uncertainty=_budgets(file, counted, zone),
        baselines=_standing_baselines(file),
    )
    ordered = tuple(tuple(sets[number]) for number in sorted(sets))
    return Assembled(coupon, ordered, _notes(file, counted, zone))


def judge_file(file: CouponFile, files: Mapping[int, CouponFile], zone: tzinfo) -> Judged:
    """The coupon's verdict. ``files`` holds the further coupons of its retest.

    Raises:
        Refusal: two entries of the table match the coupon.
    """
    return judge_assembled(assemble(file, zone), file, files, zone)


def judge_assembled(
    assembled: Assembled, file: CouponFile, files: Mapping[int, CouponFile], zone: tzinfo
) -> Judged:
    """The same, of a file that is assembled already."""
    retest = None
    if file.retest is not None:
        others = [files[coupon_id] for coupon_id in file.retest.coupons]
        retest = Retest(
            file.retest.further,
            quantities=_planned_quantities(file.retest),
            sets=assembled.sets,
            coupons=tuple(
                (f"coupon {one.code}", judge_coupon(assemble(one, zone).first, one.table))
                for one in others
            ),
        )
    judged = judge_with_retest(assembled.first, file.table, retest)
    return replace(judged, findings=(*judged.findings, *assembled.notes))


def _planned_quantities(retest: RetestFile) -> frozenset[Quantity] | None:
    """What the plan repeats; None for a retest opened before plans were kept."""
    if retest.plan is None:
        return None
    return frozenset(Quantity(one) for one in retest.plan["quantities"])


def counting(
    file: CouponFile, zone: tzinfo, *, quantity: Quantity, unit: str, set_number: int | None = None
) -> int:
    """How many readings of the quantity count: of the first test, or of one further set."""
    if not file.readings:
        return 0
    own = file.retest.id if file.retest is not None else None
    entry = file.entry()
    return sum(
        reading.quantity is quantity
        and conversion_factor(reading.unit, to=unit) is not None
        and (reading.set_number if own is not None and reading.retest_id == own else None)
        == set_number
        and _settle(reading, file, entry, zone).discounted is None
        for reading in file.readings
    )


def still_needed(file: CouponFile, zone: tzinfo, *, quantity: Quantity, unit: str) -> int:
    """How many more readings of the first test the table asks for; 0 where it has enough."""
    needed = readings_needed(file.entry(), quantity, unit)
    return max(needed - counting(file, zone, quantity=quantity, unit=unit), 0)


def _budgets(
    file: CouponFile, counted: Sequence[ReadingFile], zone: tzinfo
) -> dict[tuple[Quantity, str], Budget]:
    """What the uncertainty of each quantity is combined from, where a tester's U is known."""
    by_quantity: dict[tuple[Quantity, str], list[tuple[SessionFile, Any, datetime]]] = {}
    for reading in counted:
        if reading.session_id is not None:
            bench = file.sessions[reading.session_id]
            taken = (bench, day_of(reading.taken_at, zone), reading.taken_at)
            by_quantity.setdefault((reading.quantity, reading.unit), []).append(taken)
    found = {key: budget_parts(taken) for key, taken in by_quantity.items()}
    return {key: Budget(parts) for key, parts in found.items() if parts is not None}


def _standing_baselines(file: CouponFile) -> tuple[Baseline, ...]:
    """The newest baseline of each quantity and unit, where its checks do not speak against it."""
    newest = {(one.quantity, one.unit): one for one in file.baselines}
    return tuple(
        Baseline(one.quantity, one.unit, one.readings)
        for one in newest.values()
        if proven_at(file.sessions[one.session_id], one.taken_at)[0] is None
    )


def _notes(file: CouponFile, counted: Sequence[ReadingFile], zone: tzinfo) -> tuple[Finding, ...]:
    """What the working says besides: late readings, and papers that leave a question open."""
    late = [
        late_note(one.number, one.quantity, (one.taken_at, one.entered_at), one.late_reason, zone)
        for one in file.readings
        if one.late_reason is not None and one.entered_at is not None
    ]
    unnamed: list[int] = []
    papers: dict[tuple[Quantity, str, str, str], None] = {}
    for one in counted:
        if one.session_id is None:
            continue
        bench = file.sessions[one.session_id]
        warm = one.coupon_c is not None or one.block_c is not None
        if one.quantity is Quantity.CONDUCTIVITY and warm and bench.thermometer is None:
            unnamed.append(one.number)
        paper = bench.certificate_on(day_of(one.taken_at, zone))
        if paper is not None and not paper.as_found:
            papers[one.quantity, bench.tester, paper.name, paper.remark] = None
    noted = [no_as_found_note(*key) for key in papers]
    return (*late, *([no_thermometer_note(unnamed)] if unnamed else ()), *noted)
