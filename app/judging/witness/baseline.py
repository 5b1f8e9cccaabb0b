"""What the furnace changed on a coupon: a note where that is not what the table expects. Pure.

A coupon that was not in this run shows no change, or another one. It decides nothing: the verdict
is on the readings after the furnace. Source: the judging rules, 3.3.
"""

from fractions import Fraction

from app.judging.rounding import mean, shown, shown_working
from app.judging.units import conversion_factor
from app.judging.verdict import Finding, Outcome
from app.judging.witness.sample import Sample, spoken_name


def note_rise(sample: Sample) -> tuple[Finding, ...]:
    """A note on the difference from the baseline, where the criterion expects one.

    The mean after the furnace minus the mean before, both as read, for what is added to a reading
    is added on both sides. ``rise`` has its ends included. Nothing before there are readings.
    """
    rise = sample.criterion.rise
    if rise is None or not sample.readings:
        return ()
    before = _before(sample)
    unit = sample.criterion.unit
    limit = f"{shown(rise[0])} to {shown(rise[1])}"
    opening = f"{spoken_name(sample)}, rise over the baseline"
    if not before:
        return (
            sample.finding(
                "baseline",
                Outcome.NOTE,
                f"{opening}: nothing was measured on the coupon before the furnace, so nothing "
                f"here shows that it was in this run; {limit} {unit} is expected.",
                limit=limit,
            ),
        )
    after = tuple(one.as_read for one in sample.readings)
    difference = mean(after) - mean(before)
    expected = Fraction(rise[0]) <= difference <= Fraction(rise[1])
    says = "as expected" if expected else "the coupon was perhaps not in this run"
    return (
        sample.finding(
            "baseline",
            Outcome.NOTE,
            f"{opening}: {shown(difference)} {unit}, where {limit} is expected: {says}.",
            value=shown(difference),
            limit=limit,
            working=(
                f"before the furnace, as read: {_mean_line(before)} {unit}",
                f"after it, as read: {_mean_line(after)} {unit}",
                (
                    f"rise: {shown_working(mean(after))} - {shown_working(mean(before))} = "
                    f"{shown_working(difference)} {unit}"
                ),
            ),
        ),
    )


def _before(sample: Sample) -> tuple[Fraction, ...]:
    """The baseline readings in the criterion's unit."""
    found: list[Fraction] = []
    for baseline in sample.evidence.baselines:
        factor = conversion_factor(baseline.unit, to=sample.criterion.unit)
        if baseline.quantity is sample.criterion.quantity and factor is not None:
            found += [Fraction(reading) * factor for reading in baseline.readings]
    return tuple(found)


def _mean_line(values: tuple[Fraction, ...]) -> str:
    if len(values) == 1:
        return shown_working(values[0])
    total = " + ".join(shown_working(value) for value in values)
    return f"({total}) / {len(values)} = {shown_working(mean(values))}"
