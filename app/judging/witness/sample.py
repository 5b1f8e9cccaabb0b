"""The readings one criterion is judged on, in its own unit. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import is_terminating, last_place, mean, shown, shown_working
from app.judging.units import Quantity, conversion_factor, conversion_words
from app.judging.verdict import Finding, Outcome
from app.judging.witness.acceptance import Criterion, Entry, Statistic, Zone
from app.judging.witness.acceptance_checks import same_name
from app.judging.witness.budget import Budget, Expanded, combine, stated
from app.judging.witness.counting import Measured
from app.judging.witness.coupon import Baseline
from app.judging.wording import listed


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the criteria of one entry are judged on."""

    entry: Entry
    counted: tuple[Measured, ...]
    expanded_uncertainty: Mapping[tuple[Quantity, str], Decimal | Budget]
    baselines: tuple[Baseline, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """One exact figure that meets a limit: a reading, or the mean.

    ``as_read`` is what it was before anything was added; ``step`` the display's smallest step.
    """

    label: str
    value: Fraction
    text: str
    as_read: Fraction = Fraction(0)
    step: Fraction = Fraction(0)

    @property
    def working_text(self) -> str:
        """The figure with three dots where it goes on."""
        return self.text if is_terminating(self.value) else f"{self.text}..."


@dataclass(frozen=True, slots=True)
class Sample:
    """The readings one criterion takes, in its unit; the figures to judge; the working so far.

    ``expanded`` is U (k = 2) of each of the figures, None where it is not known; ``uncorrected``
    are the labels of readings left out for want of the correction that the criterion asks for.
    """

    criterion: Criterion
    evidence: Evidence
    readings: tuple[Figure, ...]
    figures: tuple[Figure, ...]
    working: tuple[str, ...]
    expanded: Expanded | None = None
    uncorrected: tuple[Measured, ...] = ()

    def finding(
        self,
        code: str,
        outcome: Outcome,
        text: str,
        *,
        value: str | None = None,
        limit: str | None = None,
        unit: str | None = None,
        working: tuple[str, ...] = (),
    ) -> Finding:
        """A finding of this criterion; its working follows the sample's own."""
        return Finding(
            code=f"{self.criterion.quantity}.{code}",
            outcome=outcome,
            text=text,
            value=value,
            limit=limit,
            unit=unit or self.criterion.unit,
            source=self.criterion.source or self.evidence.entry.source,
            working=(*self.working, *working),
        )


def take(criterion: Criterion, evidence: Evidence) -> Sample:
    """The counting readings that are in the criterion's unit, or convert exactly to it.

    Where the criterion names a correction table, those to which it was applied.
    """
    readings: list[Figure] = []
    uncorrected: list[Measured] = []
    lines: list[str] = []
    for one in evidence.counted:
        factor = conversion_factor(one.reading.unit, to=criterion.unit)
        if one.reading.quantity is not criterion.quantity or factor is None:
            continue
        if not _is_corrected(one, criterion):
            uncorrected.append(one)
            continue
        lines.extend(one.working)
        if one.reading.unit != criterion.unit:
            lines.append(
                f"{one.label}: {one.text} {one.reading.unit} "
                f"{conversion_words(one.reading.unit, to=criterion.unit)} = "
                f"{shown_working(one.value * factor)} {criterion.unit}"
            )
        readings.append(_figure(one, criterion, factor))
    figures = tuple(readings)
    is_mean = criterion.statistic is Statistic.MEAN
    if is_mean and readings:
        middle = mean(tuple(one.value for one in readings))
        total = " + ".join(one.working_text for one in readings)
        lines.append(f"mean: ({total}) / {len(readings)} = {shown_working(middle)}")
        figures = (Figure(f"mean of {counted_readings(len(readings))}", middle, shown(middle)),)
    values = [one.value for one in readings]
    expanded = _expanded(criterion, evidence, values, averaged=is_mean)
    return Sample(
        criterion, evidence, tuple(readings), figures, tuple(lines), expanded, tuple(uncorrected)
    )


def _is_corrected(one: Measured, criterion: Criterion) -> bool:
    """True where the criterion's correction table, if it names one, was applied to the reading."""
    if criterion.correction is None:
        return True
    applied = [addend.table for addend in one.reading.addends if addend.table is not None]
    return same_name(criterion.correction) in map(same_name, applied)


def _figure(one: Measured, criterion: Criterion, factor: Fraction) -> Figure:
    """A reading as a figure in the criterion's unit."""
    reading = one.reading
    step = Fraction(0)
    if reading.step is not None:
        step = Fraction(reading.step)
    elif reading.indentation is None and reading.value is not None:
        step = Fraction(last_place(reading.value))
    value = one.value * factor
    text = one.text if reading.unit == criterion.unit else shown(value)
    return Figure(one.label, value, text, one.as_read * factor, step * factor)


def _expanded(
    criterion: Criterion, evidence: Evidence, values: list[Fraction], *, averaged: bool
) -> Expanded | None:
    """U (k = 2) of a figure of the criterion in its unit; None where nothing is known of it."""
    known = evidence.expanded_uncertainty
    stated_in = [
        unit
        for quantity, unit in known
        if quantity is criterion.quantity and conversion_factor(unit, to=criterion.unit) is not None
    ]
    if not stated_in:
        return None
    unit = criterion.unit if criterion.unit in stated_in else stated_in[0]
    figure = known[criterion.quantity, unit]
    factor = conversion_factor(unit, to=criterion.unit) or Fraction(1)
    if not isinstance(figure, Budget):
        return stated(figure, factor)
    words = "" if factor == 1 else conversion_words(unit, to=criterion.unit)
    return combine(
        figure,
        values,
        averaged=averaged,
        unit=criterion.unit,
        factor=factor,
        factor_words=words,
    )


def zone_of(rounded: Decimal, sample: Sample) -> Zone:
    """The zone a rounded value lies in, both ends included.

    Raises:
        Refusal: it lies in none, which `check_table` would have refused.
    """
    for zone in sample.criterion.zones:
        above = zone.lower is None or zone.lower <= rounded
        if above and (zone.upper is None or rounded <= zone.upper):
            return zone
    raise Refusal(f"{spoken_name(sample)}: {shown(rounded)} lies in no zone; correct the table.")


def described(sample: Sample, figure: Figure, *, is_minimum: bool) -> str:
    """The figure in words: "mean of 3 readings", "lowest of 3 readings", or its own label."""
    if sample.criterion.statistic is Statistic.MEAN or len(sample.figures) == 1:
        return figure.label
    return f"{'lowest' if is_minimum else 'highest'} of {counted_readings(len(sample.figures))}"


def spoken_name(sample: Sample) -> str:
    """The quantity at the start of a sentence."""
    return sample.criterion.quantity.words.capitalize()


def counted_readings(number: int) -> str:
    """How many readings, in words: "1 reading", "3 readings"."""
    return f"{number} reading{'' if number == 1 else 's'}"


def left_out(expanded: Expanded) -> str:
    """What a U lacks, in words to follow it; nothing where it is whole."""
    return f", without {listed(expanded.unknown)} (not known)" if expanded.unknown else ""
