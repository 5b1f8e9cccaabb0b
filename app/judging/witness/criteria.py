"""Judge one criterion of a table entry over the readings that count. Pure.

Source: the judging rules, 3.3. Too few readings and too wide a range come first; then zones, a
guarded decision, or a plain comparison.
"""

from decimal import Decimal

from app.errors import Refusal
from app.judging.rounding import round_to_place, shown, shown_working
from app.judging.verdict import Finding, Outcome, worst
from app.judging.witness.acceptance import Criterion, DecisionRule, Statistic, Zone
from app.judging.witness.acceptance_checks import zone_resolution
from app.judging.witness.baseline import note_rise
from app.judging.witness.criterion_notes import note_probability, note_suspicious, note_uncorrected
from app.judging.witness.limits import judge_limits
from app.judging.witness.sample import (
    Evidence,
    Figure,
    Sample,
    counted_readings,
    spoken_name,
    take,
    zone_of,
)


def judge_criterion(criterion: Criterion, evidence: Evidence) -> tuple[Finding, ...]:
    """Every finding of one criterion, the deciding ones first.

    Limits are included: a value equal to its limit conforms.

    Raises:
        Refusal: a value lies in no zone, which `check_table` would have refused.
    """
    sample = take(criterion, evidence)
    notes = (*note_suspicious(sample), *note_rise(sample), *note_uncorrected(sample))
    missing = _too_few(sample) or _too_wide(sample)
    if missing is not None:
        return (missing, *notes)
    if criterion.zones:
        deciding = _judge_zones(sample)
    else:
        deciding = judge_limits(sample, guarded=evidence.entry.decision is DecisionRule.GUARDED)
    return (*deciding, *note_probability(sample), *notes)


def _too_few(sample: Sample) -> Finding | None:
    criterion, taken = sample.criterion, len(sample.readings)
    if taken >= criterion.readings_min:
        return None
    name = f"{criterion.quantity.words} in {criterion.unit}"
    if taken == 0:
        text = (
            f"No counting reading of {name}: {counted_readings(criterion.readings_min)} needed; "
            "the test is to be made."
        )
    else:
        text = (
            f"Only {counted_readings(taken)} of {name} counting, {criterion.readings_min} needed: "
            "take the others."
        )
    return sample.finding(
        "readings",
        Outcome.NOT_PROVEN,
        text,
        value=str(taken),
        limit=str(criterion.readings_min),
        unit="readings",
        working=(f"{taken} counting < {criterion.readings_min} needed",),
    )


def _too_wide(sample: Sample) -> Finding | None:
    widest = sample.criterion.range_max
    if widest is None:
        return None
    values = [one.value for one in sample.readings]
    spread = max(values) - min(values)
    if spread <= widest:
        return None
    unit = sample.criterion.unit
    return sample.finding(
        "range",
        Outcome.NOT_PROVEN,
        f"{spoken_name(sample)}: readings are {shown(spread)} {unit} apart, more than the "
        f"{shown(widest)} permitted: measure again.",
        value=shown(spread),
        limit=shown(widest),
        working=(
            (
                f"range: {shown_working(max(values))} - {shown_working(min(values))} = "
                f"{shown_working(spread)} > {shown(widest)}"
            ),
        ),
    )


def _judge_zones(sample: Sample) -> tuple[Finding, ...]:
    """A finding for each zone the figures fall in, followed by those of its further criteria."""
    step = zone_resolution(sample.criterion)
    if step is None:
        raise Refusal(f"{spoken_name(sample)}: the zones are stated to different places; give one.")
    fallen: dict[Zone, list[Figure]] = {}
    for figure in sample.figures:
        zone = zone_of(round_to_place(figure.value, to=step), sample)
        fallen.setdefault(zone, []).append(figure)
    findings: list[Finding] = []
    for zone, figures in fallen.items():
        further = [
            finding for also in zone.also for finding in judge_criterion(also, sample.evidence)
        ]
        findings.append(_judge_zone(sample, zone, figures, further, step))
        findings.extend(further)
    return tuple(findings)


def _judge_zone(
    sample: Sample, zone: Zone, figures: list[Figure], further: list[Finding], step: Decimal
) -> Finding:
    rounded = ", ".join(shown(round_to_place(one.value, to=step)) for one in figures)
    lines = tuple(
        f"{one.label}: {one.working_text}, to the nearest {shown(step)} (ties to even) "
        f"{shown(round_to_place(one.value, to=step))}: zone {zone}, {zone.outcome.value}"
        for one in figures
    )
    if sample.criterion.minimum is not None or sample.criterion.maximum is not None:
        lines = (*lines, "zones are given, so minimum and maximum do not apply")
    outcome = {
        "accept": Outcome.CONFORMS,
        "reject": Outcome.DOES_NOT_CONFORM,
        "accept_if": Outcome(worst(further).value),
    }[zone.outcome.value]
    what = "mean" if sample.criterion.statistic is Statistic.MEAN else "readings"
    return sample.finding(
        "zone",
        outcome,
        f"{spoken_name(sample)}, {what} {rounded} {sample.criterion.unit} in the zone {zone}: "
        f"{_zone_words(zone, outcome)}.",
        value=rounded,
        limit=str(zone),
        working=(*lines, *(line for finding in further for line in finding.working)),
    )


def _zone_words(zone: Zone, outcome: Outcome) -> str:
    if not zone.also:
        return "accepted" if outcome is Outcome.CONFORMS else "rejected"
    tests = " and ".join(f"{also.quantity.words} {_limits(also)}{also.unit}" for also in zone.also)
    says = {
        Outcome.CONFORMS: "which is met",
        Outcome.DOES_NOT_CONFORM: "which is not met",
        Outcome.NOT_PROVEN: "which is not shown; that test is to be made",
    }[outcome]
    return f"accepted only with {tests}, {says}"


def _limits(criterion: Criterion) -> str:
    if criterion.zones:
        return "in its own zones, "
    words = [
        f"{word} {shown(limit)}"
        for word, limit in (("at least", criterion.minimum), ("at most", criterion.maximum))
        if limit is not None
    ]
    return f"{' and '.join(words)} "
