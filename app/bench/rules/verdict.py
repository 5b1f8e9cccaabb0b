"""The verdict on a coupon with its retest, if one was opened, and the paper it is kept as. Pure.

Source: the judging rules, 3.3 and 3.5. A first result that does not conform stays in the record;
the retest's further sets or coupons stand in for it only where every one of them conforms.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from app.judging.units import Quantity
from app.judging.verdict import Finding, Outcome, Verdict, worst
from app.judging.witness.acceptance import Entry, RetestOf, RetestRule, Table
from app.judging.witness.coupon import Coupon, Reading
from app.judging.witness.coupons import CouponVerdict, judge_coupon, judge_retest

RULES_VERSION = "2"
"""Of the rules by which coupons are judged; a change of any rule of judging raises it."""


@dataclass(frozen=True, slots=True)
class Retest:
    """A retest as opened: how many further ones, and what was measured for it.

    ``quantities`` are what its plan repeats, None where none was kept. ``sets`` are the further
    sets of readings on the coupon itself, in order; ``coupons`` the verdicts of the further
    coupons. Only the one that the entry's rule names is used.
    """

    further: int
    quantities: frozenset[Quantity] | None = None
    sets: tuple[tuple[Reading, ...], ...] = ()
    coupons: tuple[tuple[str, CouponVerdict], ...] = ()


@dataclass(frozen=True, slots=True)
class Judged:
    """A coupon's verdict with the retest counted in, and what it rests on.

    ``first`` is the verdict of the first test alone; without a retest it says the same.
    """

    verdict: Verdict
    provisional: bool
    entry: Entry | None
    findings: tuple[Finding, ...]
    first: CouponVerdict


def judge_with_retest(coupon: Coupon, table: Table, retest: Retest | None) -> Judged:
    """The verdict on the first test, and on the retest where one was opened.

    A further set repeats what did not conform; what else the entry asks is taken from the first
    test, whose result stands. Nothing is averaged over sets.

    Raises:
        Refusal: two entries match the coupon, or a figure is one no measurement can have given.
    """
    first = judge_coupon(coupon, table)
    rule = first.entry.retest if first.entry is not None else None
    if retest is None or rule is None:
        return Judged(first.verdict, first.provisional, first.entry, first.findings, first)
    if rule.of is RetestOf.COUPONS:
        made = retest.coupons
    else:
        kept = _kept(coupon, failing(first), retest)
        made = tuple(
            (f"set {number}", judge_coupon(replace(coupon, readings=(*kept, *further)), table))
            for number, further in enumerate(retest.sets, start=1)
        )
    return _with_retest(first, made, RetestRule(retest.further, rule.of))


def failing(judged: CouponVerdict) -> frozenset[Quantity]:
    """The quantities with a finding that does not conform."""
    named = {
        finding.code.split(".")[0]
        for finding in judged.findings
        if finding.outcome is Outcome.DOES_NOT_CONFORM
    }
    return frozenset(quantity for quantity in Quantity if quantity.value in named)


def _kept(coupon: Coupon, repeated: frozenset[Quantity], retest: Retest) -> tuple[Reading, ...]:
    """The first test's readings of everything that the retest does not repeat.

    What it repeats stands in its plan; without one it is what fails, and what was measured for it.
    """
    if retest.quantities is not None:
        repeated = retest.quantities
    else:
        repeated |= {reading.quantity for further in retest.sets for reading in further}
    return tuple(reading for reading in coupon.readings if reading.quantity not in repeated)


def _with_retest(
    first: CouponVerdict, made: Sequence[tuple[str, CouponVerdict]], rule: RetestRule
) -> Judged:
    source = first.entry.source if first.entry is not None else None
    summary = judge_retest(
        first.verdict, [verdict.verdict for _, verdict in made], rule, source=source
    )
    of_sets = tuple(
        replace(finding, text=f"Retest, {name}: {finding.text}")
        for name, verdict in made
        for finding in verdict.findings
    )
    if first.verdict is Verdict.DOES_NOT_CONFORM:
        stands = tuple(
            replace(
                finding,
                outcome=Outcome.NOTE,
                text=f"First test ({finding.outcome.value.replace('_', ' ')}): {finding.text}",
            )
            for finding in first.findings
        )
    else:
        # The first test no longer fails (a reading of it was voided): it decides again, and so
        # does whatever the retest has shown meanwhile.
        stands = first.findings
        summary = replace(summary, outcome=Outcome.NOTE)
    findings = (summary, *of_sets, *stands)
    verdict = Verdict(summary.outcome.value) if summary.outcome is not Outcome.NOTE else None
    provisional = first.provisional or any(judged.provisional for _, judged in made)
    return Judged(verdict or worst(findings), provisional, first.entry, findings, first)


def verdict_paper(judged: Judged, *, entry: dict[str, Any] | None) -> dict[str, Any]:
    """The verdict as it is kept, every finding with its working.

    ``entry`` is the key and place of the entry judged by, or None where none matches.
    """
    return {
        "verdict": judged.verdict.value,
        "provisional": judged.provisional,
        "entry": entry,
        "findings": [finding_paper(finding) for finding in judged.findings],
        "first": judged.first.verdict.value,
    }


def verdict_on(paper: dict[str, Any], quantity: str) -> Verdict | None:
    """What a kept verdict says of one quantity alone, by its own findings.

    None where it says nothing of it, or where a retest decides, which is over all quantities. At
    the bench each quantity is measured in a session of its own; a coupon whose hardness conforms
    is not proven as a whole until its conductivity is measured too.
    """
    findings = paper["findings"]
    if any(finding["code"] == "retest" for finding in findings):
        return None
    own = [
        Finding(finding["code"], Outcome(finding["outcome"]), finding["text"])
        for finding in findings
        if finding["code"].split(".")[0] == quantity and finding["outcome"] != Outcome.NOTE
    ]
    return worst(own) if own else None


def finding_paper(finding: Finding) -> dict[str, Any]:
    """A finding with its working, as texts."""
    return {
        "code": finding.code,
        "outcome": finding.outcome.value,
        "text": finding.text,
        "value": None if finding.value is None else str(finding.value),
        "limit": None if finding.limit is None else str(finding.limit),
        "unit": finding.unit,
        "source": finding.source,
        "working": list(finding.working),
    }
