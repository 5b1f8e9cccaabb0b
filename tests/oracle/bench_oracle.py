"""Judge a coupon exactly and slowly from everything on record at the bench.

Written from the judging rules, section 3, alone; it shares no code with the program.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction

from . import bench_counting
from .bench_case import BenchCase, Desk, Taken
from .bench_counting import Counted
from .bench_figures import HIDDEN, squared_uncertainty, stand_about
from .coupon_oracle import (
    CONFORMS,
    FAILS,
    UNPROVEN,
    in_unit,
    matches,
    number,
    place_of,
    rounded,
    worst,
)

Told = tuple[str, str, str, Fraction | None]  # part, code, outcome, value compared


@dataclass
class BenchTruth:
    """What the rules say of a coupon.

    ``findings`` are those that decide; ``allowed`` further ones that a judge may show, of a zone
    that was not the worst. ``branches`` are the rules that the case went through.
    """

    verdict: str = UNPROVEN
    provisional: bool = False
    first: str = UNPROVEN
    counting: set[int] = field(default_factory=set)
    findings: set[Told] = field(default_factory=set)
    allowed: set[Told] = field(default_factory=set)
    branches: set[str] = field(default_factory=set)
    unsure: bool = False

    @property
    def failing(self) -> set[str]:
        """The quantities with a finding that does not conform."""
        return {told[1].partition(".")[0] for told in self.findings if told[2] == FAILS}


def judge_bench(case: BenchCase) -> BenchTruth:
    """The verdict on the first test, and on the retest where one was opened (3.3, 3.5)."""
    truth = BenchTruth()
    fitting = [entry for entry in case.table["entries"] if matches(entry, _coupon(case))]
    entry = fitting[0] if fitting else None
    truth.branches.add("entry" if entry else "no entry")
    first = _Judging(case, entry, [r for r in case.readings if r.again is None], "", truth)
    truth.first = truth.verdict = first.verdict
    if case.retest is not None and entry is not None:
        _with_retest(case, entry, first, truth)
    return truth


def _coupon(case: BenchCase) -> dict:
    return {**case.key, "thickness_mm": case.thickness}


def _with_retest(case: BenchCase, entry: dict, first: "_Judging", truth: BenchTruth) -> None:
    told = []
    if case.retest.of == "sets":
        again = defaultdict(list)
        for reading in case.readings:
            if reading.again is not None:
                again[reading.again].append(reading)
        others = [r for r in first.readings if r.quantity not in case.retest.quantities]
        for which in sorted(again):
            part = f"set {which}"
            told.append(_Judging(case, entry, again[which] + others, part, truth).verdict)
    else:
        for neighbour in case.neighbours:
            beside = judge_bench(neighbour)
            told.append(beside.verdict)
            truth.provisional |= beside.provisional
            truth.unsure |= beside.unsure
    if truth.first != FAILS:
        truth.branches.add("retest of a first that does not fail")
        truth.verdict = worst([truth.first, *told])
        return
    missing = [UNPROVEN] * (case.retest.further - len(told))
    truth.verdict = worst([*told, *missing])
    truth.branches.add(f"retest {case.retest.of} {truth.verdict}")
    truth.findings = {one for one in truth.findings if one[0]}
    truth.allowed = {one for one in truth.allowed if one[0]}
    truth.findings.add(("", "retest", truth.verdict, None))


class _Judging:
    """One lot of readings under one entry: the first test, or one further set."""

    def __init__(
        self, case: BenchCase, entry: dict | None, readings: list[Taken], part: str, truth
    ) -> None:
        self.case, self.entry, self.readings, self.part, self.truth = (
            case,
            entry,
            readings,
            part,
            truth,
        )
        self.counted, unsure = bench_counting.counted(case, entry, readings, truth.branches)
        truth.unsure |= unsure
        self.outcomes: dict[str, list[str]] = defaultdict(list)
        if entry is not None:
            for criterion in entry["criteria"]:
                outcome = self.criterion(criterion)
                self.outcomes[criterion["quantity"]].append(outcome)
        self.verdict = worst([one for found in self.outcomes.values() for one in found])
        truth.counting |= {one.reading.number for one in self.counted if self._taken(one)}
        truth.provisional |= any(one.provisional for one in self.counted if self._taken(one))

    def _taken(self, one: Counted) -> bool:
        """Whether a criterion is of its quantity and unit, and none refuses how it was measured.

        "A reading counts when": where criteria ask differently, it counts for all of them or none.
        """
        asking = [
            criterion
            for criterion in bench_counting.every_criterion(self.entry)
            if criterion["quantity"] == one.reading.quantity
            and in_unit(Fraction(1), one.reading.unit, bench_counting.unit_of(criterion))
        ]
        return bool(asking) and all(self._measured_rightly(one_, one) for one_ in asking)

    def _measured_rightly(self, criterion: dict, one: Counted) -> bool:
        """3.2: permitted builds, and standards about the limits, where the criterion asks."""
        if one.reading.desk is None:
            return True
        desk = self.case.desks[one.reading.desk]
        if criterion.get("instruments") and desk.build not in criterion["instruments"]:
            self.truth.branches.add("build not permitted")
            return False
        if criterion.get("standards_apart"):
            limits = [number(criterion[k]) for k in ("min", "max") if criterion.get(k)]
            for zone in criterion.get("zones") or []:
                limits += [number(zone[k]) for k in ("from", "to") if zone.get(k)]
            apart = number(criterion["standards_apart"])
            if not stand_about(desk, bench_counting.unit_of(criterion), limits, apart):
                self.truth.branches.add("standards not apart")
                return False
            self.truth.branches.add("standards apart")
        return True

    def criterion(self, criterion: dict, *, only_allowed: bool = False) -> str:
        """3.3, points 1 to 5."""
        quantity, unit = criterion["quantity"], bench_counting.unit_of(criterion)
        taken = [
            (one, in_unit(one.value, one.reading.unit, unit))
            for one in self.counted
            if one.reading.quantity == quantity and self._taken(one)
        ]
        taken = [(one, value) for one, value in taken if value is not None]
        values = [value for _, value in taken]
        least = int(criterion.get("readings_min") or 1)
        if len(values) < least:
            return self._say(f"{quantity}.readings", UNPROVEN, Fraction(len(values)), only_allowed)
        widest = criterion.get("range_max")
        if widest is not None:
            spread = max(values) - min(values)
            self._near(spread, number(widest), all(one.exact for one, _ in taken))
            if spread > number(widest):
                return self._say(f"{quantity}.range", UNPROVEN, spread, only_allowed)
        averaged = criterion.get("statistic", "each") == "mean"
        figures = [sum(values, Fraction(0)) / len(values)] if averaged else values
        exact = all(one.exact for one, _ in taken)
        if criterion.get("zones"):
            return self._zones(criterion, figures, only_allowed, exact=exact)
        squared = None
        if self.entry.get("decision", "simple") == "guarded":
            squared = self._squared(taken, values, unit, averaged=averaged)
        return self._limits(criterion, figures, squared, only_allowed, exact=exact)

    def _squared(self, taken, values, unit, *, averaged) -> Fraction | None:
        used = self._used([one for one, _ in taken])
        squared = squared_uncertainty(used, values, unit, averaged=averaged)
        quantity = taken[0][0].reading.quantity
        every = [r for r in self.case.readings if r.quantity == quantity]
        if {reading.desk for reading in every} != {one.reading.desk for one, _ in taken}:
            # Whose testers count, where a coupon was read at several, the rules leave open.
            for lot in (
                bench_counting.settled(self.case, self.entry, every, set()),
                bench_counting.settled(self.case, self.entry, self.readings, set()),
            ):
                of_it = self._used([one for one in lot if one.reading.quantity == quantity])
                wider = squared_uncertainty(of_it, values, unit, averaged=averaged)
                self.truth.unsure |= wider != squared
        return squared

    def _used(self, counted: list[Counted]) -> list[tuple[Desk, int, int]]:
        return [
            (self.case.desks[one.reading.desk], one.day, one.reading.minute)
            for one in counted
            if one.reading.desk is not None
        ]

    def _near(self, figure: Fraction, edge: Fraction, exact: bool) -> None:  # noqa: FBT001 - plain
        """A figure with a root or pi in it, hard by what it is compared with: left open."""
        if not exact and abs(figure - edge) < HIDDEN:
            self.truth.unsure = True

    def _say(self, code, outcome, value, only_allowed) -> str:
        told = (self.part, code, outcome, value)
        (self.truth.allowed if only_allowed else self.truth.findings).add(told)
        self.truth.branches.add(f"{code.partition('.')[2]} {outcome}")
        return outcome

    def _limits(self, criterion, figures, squared, only_allowed, *, exact) -> str:
        guarded = self.entry.get("decision", "simple") == "guarded"
        found = []
        for key, name, sign in (("min", "minimum", 1), ("max", "maximum", -1)):
            if criterion.get(key) is None:
                continue
            limit = number(criterion[key])
            worst_figure = min(figures) if sign == 1 else max(figures)
            if guarded:
                outcome = _guarded((worst_figure - limit) * sign, squared)
                self.truth.branches.add(f"guarded {outcome}" + ("" if squared else ", no U"))
                self._near(worst_figure, limit, exact)
            else:
                told = worst_figure
                if criterion.get("rounding", "rounding") == "rounding":
                    place = place_of(criterion, criterion[key])
                    told = rounded(told, place)
                    self._near(worst_figure % place, place / 2, exact)
                self._near(worst_figure, limit, exact)
                outcome = CONFORMS if (told - limit) * sign >= 0 else FAILS
            code = f"{criterion['quantity']}.{name}"
            found.append(self._say(code, outcome, worst_figure, only_allowed))
        return worst(found)

    def _zones(self, criterion, figures, only_allowed, *, exact) -> str:
        bounds = [z[k] for z in criterion["zones"] for k in ("from", "to") if z.get(k)]
        place = place_of(criterion, bounds[0])
        found = []
        for figure in figures:
            self._near(figure % place, place / 2, exact)
            told = rounded(figure, place)
            zone = next(zone for zone in criterion["zones"] if _lies_in(told, zone))
            found.append((zone, told, figure))
        reached = []
        for zone, told, _ in found:
            outcome = {"accept": CONFORMS, "reject": FAILS}.get(zone["outcome"])
            if outcome is None:
                outcome = worst([self.criterion(also) for also in zone["also"]])
                self.truth.branches.add(f"accept if {outcome}")
            reached.append((outcome, told))
        outcome = worst([one for one, _ in reached])
        code = f"{criterion['quantity']}.zone"
        for one, told in reached:
            self._say(code, one, told, only_allowed=True)
        self.truth.findings.add((self.part, code, outcome, None))
        return outcome


def _lies_in(told: Fraction, zone: dict) -> bool:
    low, high = zone.get("from"), zone.get("to")
    return (low is None or told >= number(low)) and (high is None or told <= number(high))


def _guarded(margin: Fraction, squared: Fraction | None) -> str:
    """3.3, point 5: compared as squares, so that no root decides."""
    if squared is None:
        return UNPROVEN
    if margin < 0:
        return FAILS
    return CONFORMS if margin * margin >= squared else UNPROVEN
