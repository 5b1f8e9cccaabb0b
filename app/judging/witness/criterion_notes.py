"""What is worth knowing beside a criterion's decision: notes, which decide nothing. Pure."""

from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import round_to_place, shown, shown_working
from app.judging.verdict import Finding, Outcome
from app.judging.witness.acceptance_checks import zone_resolution
from app.judging.witness.outliers import grubbs_test
from app.judging.witness.sample import (
    Figure,
    Sample,
    counted_readings,
    left_out,
    spoken_name,
    zone_of,
)
from app.judging.witness.uncertainty import probability_of_conformity


def note_probability(sample: Sample) -> tuple[Finding, ...]:
    """A note of the smallest probability of conformity, where U is known."""
    expanded = sample.expanded
    if expanded is None:
        return ()
    chances = [
        (probability_of_conformity(one.value, expanded.value, *_bounds(sample, one)), one)
        for one in sample.figures
    ]
    smallest, figure = min(chances, key=lambda chance: chance[0])
    comma = "," if expanded.unknown else ""
    what = "the zone it was placed in" if sample.criterion.zones else "the limits"
    return (
        sample.finding(
            "probability",
            Outcome.NOTE,
            f"{spoken_name(sample)}, {figure.label}: with U = {expanded.text} "
            f"{sample.criterion.unit}{left_out(expanded)}{comma} the true value lies "
            f"within {what} with a probability of {_chance(smallest)}.",
            value=f"{smallest:.4f}",
            unit="1",
            working=(
                *expanded.working,
                f"normal model, u = U / 2 = {shown_working(expanded.value / 2)} (JCGM 106:2012, 7)",
                *(
                    f"{one.label}: {one.working_text}, within {_span(*_bounds(sample, one))}: "
                    f"{chance:.4f}"
                    for chance, one in chances
                ),
            ),
        ),
    )


def _chance(probability: float) -> str:
    """A probability to four places, never rounded up to certainty."""
    return "more than 0.9999" if probability > 0.9999 else f"{probability:.4f}"  # noqa: PLR2004


def _bounds(sample: Sample, figure: Figure) -> tuple[Fraction | None, Fraction | None]:
    """The criterion's limits, or the ends of the figure's zone with half a step either side."""
    criterion = sample.criterion
    step = zone_resolution(criterion) if criterion.zones else None
    if step is None:
        return _exact(criterion.minimum), _exact(criterion.maximum)
    zone = zone_of(round_to_place(figure.value, to=step), sample)
    lower, upper, half = _exact(zone.lower), _exact(zone.upper), Fraction(step) / 2
    return None if lower is None else lower - half, None if upper is None else upper + half


def _span(lower: Fraction | None, upper: Fraction | None) -> str:
    """The interval a probability is of, in words."""
    ends = [
        f"{word} {shown(end)}"
        for word, end in (("from", lower), ("up to", upper))
        if end is not None
    ]
    return " ".join(ends) or "any value"


def _exact(limit: Decimal | None) -> Fraction | None:
    return None if limit is None else Fraction(limit)


def note_suspicious(sample: Sample) -> tuple[Finding, ...]:
    """A note where one reading lies unusually far from the others. It is never dropped."""
    step = max((one.step for one in sample.readings), default=Fraction(0))
    test = grubbs_test([one.value for one in sample.readings], step=step)
    if test is None or not test.is_suspicious:
        return ()
    one = sample.readings[test.index]
    display = f", with step^2 / 12 for the display's {shown(step)}" if step else ""
    return (
        sample.finding(
            "suspicious",
            Outcome.NOTE,
            f"{spoken_name(sample)}, {one.label}: {one.text} {sample.criterion.unit} lies "
            "unusually far from the others (Grubbs' test, two-sided, 5 %); it still counts.",
            value=one.text,
            working=(
                (
                    f"Grubbs: s = {test.deviation:.4f}{display}, G = {test.statistic:.4f} > "
                    f"{test.critical:.4f} for {counted_readings(len(sample.readings))}"
                ),
            ),
        ),
    )


def note_uncorrected(sample: Sample) -> tuple[Finding, ...]:
    """A note for each reading without the correction that the criterion asks for."""
    return tuple(
        sample.finding(
            "uncorrected",
            Outcome.NOTE,
            f"{one.label[0].upper()}{one.label[1:]}, {sample.criterion.quantity.words} {one.text} "
            f"{one.reading.unit}, does not count: correction table {sample.criterion.correction}, "
            "which the entry asks for, was not applied to it.",
            value=one.text,
            unit=one.reading.unit,
            working=one.working,
        )
        for one in sample.uncorrected
    )
