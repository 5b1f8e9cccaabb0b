"""The readings one criterion is judged on, in its own unit. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import is_terminating, mean, shown, shown_working
from app.judging.units import Quantity, conversion_factor, conversion_words
from app.judging.verdict import Finding, Outcome
from app.judging.witness.acceptance import Criterion, Entry, Statistic, Zone
from app.judging.witness.counting import Measured


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the criteria of one entry are judged on."""

    entry: Entry
    counted: tuple[Measured, ...]
    expanded_uncertainty: Mapping[tuple[Quantity, str], Decimal]


@dataclass(frozen=True, slots=True)
class Figure:
    """One exact figure that meets a limit: a reading, or the mean."""

    label: str
    value: Fraction
    text: str

    @property
    def working_text(self) -> str:
        """The figure with three dots where it goes on."""
        return self.text if is_terminating(self.value) else f"{self.text}..."


@dataclass(frozen=True, slots=True)
class Sample:
    """The readings one criterion takes, in its unit; the figures to judge; the working so far."""

    criterion: Criterion
    evidence: Evidence
    readings: tuple[Figure, ...]
    figures: tuple[Figure, ...]
    working: tuple[str, ...]

    @property
    def expanded(self) -> Fraction | None:
        """U (k = 2) in the criterion's unit; None where it is not known."""
        known = self.evidence.expanded_uncertainty
        wanted = (self.criterion.quantity, self.criterion.unit)
        if wanted in known:
            return Fraction(known[wanted])
        for (quantity, unit), expanded in known.items():
            factor = conversion_factor(unit, to=self.criterion.unit)
            if quantity is self.criterion.quantity and factor is not None:
                return Fraction(expanded) * factor
        return None

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
            source=self.evidence.entry.source,
            working=(*self.working, *working),
        )


def take(criterion: Criterion, evidence: Evidence) -> Sample:
    """The counting readings that are in the criterion's unit, or convert exactly to it."""
    readings: list[Figure] = []
    lines: list[str] = []
    for one in evidence.counted:
        factor = conversion_factor(one.reading.unit, to=criterion.unit)
        if one.reading.quantity is not criterion.quantity or factor is None:
            continue
        lines.extend(one.working)
        if one.reading.unit != criterion.unit:
            lines.append(
                f"{one.label}: {one.text} {one.reading.unit} "
                f"{conversion_words(one.reading.unit, to=criterion.unit)} = "
                f"{shown_working(one.value * factor)} {criterion.unit}"
            )
        value = one.value * factor
        text = one.text if one.reading.unit == criterion.unit else shown(value)
        readings.append(Figure(one.label, value, text))
    figures = tuple(readings)
    if criterion.statistic is Statistic.MEAN and readings:
        middle = mean(tuple(one.value for one in readings))
        total = " + ".join(one.working_text for one in readings)
        lines.append(f"mean: ({total}) / {len(readings)} = {shown_working(middle)}")
        figures = (Figure(f"mean of {counted_readings(len(readings))}", middle, shown(middle)),)
    return Sample(criterion, evidence, tuple(readings), figures, tuple(lines))


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
