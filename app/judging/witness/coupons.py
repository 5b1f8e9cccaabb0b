"""The verdict on a coupon against an acceptance table, and on a retest. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.errors import Refusal
from app.judging.units import Quantity, conversion_factor
from app.judging.verdict import Finding, Outcome, Verdict, worst
from app.judging.witness.acceptance import Entry, RetestRule, Table
from app.judging.witness.acceptance_checks import all_criteria, material, same_name
from app.judging.witness.counting import Measured, count_readings
from app.judging.witness.coupon import Coupon, check_coupon
from app.judging.witness.criteria import judge_criterion
from app.judging.witness.sample import Evidence

__all__ = [
    "CouponVerdict",
    "all_criteria",
    "find_entry",
    "judge_coupon",
    "judge_retest",
    "nearest_entries",
]

NEAREST_SHOWN = 3


@dataclass(frozen=True, slots=True)
class CouponVerdict:
    """What the coupon's readings say, by which entry, and every finding with its working.

    ``provisional`` is true while a counted reading still waits for its closing check: nothing may
    be released on it.
    """

    verdict: Verdict
    entry: Entry | None
    findings: tuple[Finding, ...]
    provisional: bool = False


def judge_coupon(coupon: Coupon, table: Table) -> CouponVerdict:
    """Judge a coupon by the one entry of the table that is for it; no such entry is not proven.

    The table is one that `check_table` passes.

    Raises:
        Refusal: two entries match the coupon, or a figure is one no measurement can have given.
    """
    check_coupon(coupon)
    entry = find_entry(coupon, table)
    if entry is None:
        return CouponVerdict(Verdict.NOT_PROVEN, None, (_no_entry(coupon, table),))
    counted, notes = count_readings(coupon, depths_needed=entry.depths_needed)
    evidence = Evidence(entry, counted, coupon.expanded_uncertainty, coupon.baselines)
    findings = [
        finding for criterion in entry.criteria for finding in judge_criterion(criterion, evidence)
    ]
    unasked = [one for one in counted if not _is_asked(one, entry)]
    notes = (*notes, *(_not_asked(one, entry) for one in unasked))
    provisional = any(one.reading.provisional for one in counted if one not in unasked)
    return CouponVerdict(
        worst(findings), entry, tuple(dict.fromkeys((*findings, *notes))), provisional
    )


def find_entry(coupon: Coupon, table: Table) -> Entry | None:
    """The entry that is for this coupon, or None. A coupon without a thickness matches none.

    Raises:
        Refusal: more than one entry matches; both are named.
    """
    matching = [entry for entry in table.entries if _is_for(entry, coupon)]
    if len(matching) > 1:
        raise Refusal(
            f"Two entries match {coupon}: {matching[0].key} and {matching[1].key}; the table must "
            "be corrected before it can judge."
        )
    return matching[0] if matching else None


def _is_for(entry: Entry, coupon: Coupon) -> bool:
    key = entry.key
    return (
        material(key) == _material(coupon)
        and key.surface in {None, coupon.surface}
        and coupon.thickness_mm is not None
        and key.thickness.admits(coupon.thickness_mm)
    )


def _material(coupon: Coupon) -> tuple[str, str, str]:
    return same_name(coupon.alloy), same_name(coupon.temper), same_name(coupon.form)


def nearest_entries(coupon: Coupon, table: Table) -> list[Entry]:
    """Up to three entries, the most alike first: by material, surface, then thickness."""

    def unlikeness(entry: Entry) -> tuple[int, Decimal]:
        pairs = zip(material(entry.key), _material(coupon), strict=True)
        different = sum(one != other for one, other in pairs)
        different += entry.key.surface not in {None, coupon.surface}
        if coupon.thickness_mm is None:
            return different, Decimal(0)
        thickness = entry.key.thickness
        outside = max(
            thickness.lower - coupon.thickness_mm,
            coupon.thickness_mm - thickness.upper,
            Decimal(0),
        )
        return different, outside

    return sorted(table.entries, key=unlikeness)[:NEAREST_SHOWN]


def _no_entry(coupon: Coupon, table: Table) -> Finding:
    nearest = "; ".join(str(entry.key) for entry in nearest_entries(coupon, table))
    reason = " (without a thickness no entry matches)" if coupon.thickness_mm is None else ""
    return Finding(
        code="entry.none",
        outcome=Outcome.NOT_PROVEN,
        text=(
            f"No entry of {table.name} revision {table.revision} is for {coupon}{reason}; "
            f"nearest: {nearest}."
        ),
        source=f"{table.name} revision {table.revision}",
        working=(f"coupon: {coupon}", *(f"entry: {entry.key}" for entry in table.entries)),
    )


def _is_asked(one: Measured, entry: Entry) -> bool:
    return any(
        criterion.quantity is one.reading.quantity
        and conversion_factor(one.reading.unit, to=criterion.unit) is not None
        for criterion in all_criteria(entry.criteria)
    )


def _not_asked(one: Measured, entry: Entry) -> Finding:
    quantity, unit = one.reading.quantity, one.reading.unit
    wanted = sorted({c.unit for c in all_criteria(entry.criteria) if c.quantity is quantity})
    if not wanted:
        reason = f"the entry asks for no {quantity.words}"
    elif quantity is Quantity.HARDNESS:
        reason = f"the entry asks for {', '.join(wanted)}, and scales are not converted"
    else:
        reason = f"the entry asks for {', '.join(wanted)}"
    return Finding(
        code="reading.not_counted",
        outcome=Outcome.NOTE,
        text=(
            f"{one.label[0].upper()}{one.label[1:]}, {quantity.words} {one.text} {unit}, "
            f"does not count: {reason}."
        ),
        value=one.text,
        unit=unit,
        working=one.working,
    )


def judge_retest(
    first: Verdict, sets: Sequence[Verdict], rule: RetestRule | None, *, source: str | None = None
) -> Finding:
    """Whether further coupons or sets of readings may stand in for a first that does not conform.

    ``sets`` holds one verdict each, in the order made; nothing is averaged across them. At least
    the stated number, and every one made, must conform. The first verdict stays on the record.
    """
    if first is not Verdict.DOES_NOT_CONFORM or rule is None:
        return _no_retest(first, source)
    made, needed = len(sets), rule.further
    of = rule.of.value if needed > 1 else rule.of.value.removesuffix("s")
    if Verdict.DOES_NOT_CONFORM in sets:
        outcome, says = Outcome.DOES_NOT_CONFORM, "one of them does not conform"
    elif made < needed:
        outcome, says = Outcome.NOT_PROVEN, f"{needed - made} still to be tested"
    elif Verdict.NOT_PROVEN in sets:
        outcome, says = Outcome.NOT_PROVEN, "one of them is not proven"
    else:
        outcome, says = Outcome.CONFORMS, "all conform"
    return Finding(
        code="retest",
        outcome=outcome,
        text=f"Retest with {needed} further {of}, {made} tested: {says}.",
        value=str(sum(verdict is Verdict.CONFORMS for verdict in sets)),
        limit=str(needed),
        unit=of,
        source=source,
        working=(
            f"first: {first.value}",
            *(f"retest {number}: {v.value}" for number, v in enumerate(sets, start=1)),
            f"conforming: {sum(v is Verdict.CONFORMS for v in sets)} of {needed} needed",
        ),
    )


def _no_retest(first: Verdict, source: str | None) -> Finding:
    """The first verdict stands: it asks for no retest, or the table permits none."""
    says = {
        Verdict.CONFORMS: "The first test conforms: no retest is needed.",
        Verdict.DOES_NOT_CONFORM: "The entry permits no retest: the first test stands.",
        Verdict.NOT_PROVEN: (
            "The first test is not proven: complete or repeat it; a retest is for one that does "
            "not conform."
        ),
    }[first]
    return Finding(code="retest", outcome=Outcome(first.value), text=says, source=source)
