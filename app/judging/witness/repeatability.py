"""Repeatability and reproducibility of a tester: operators x parts x trials, crossed. Pure.

Analysis of variance in exact fractions. Square roots are taken to 28 figures; probabilities, which
only decide whether two lines are put together, are floats. Nothing here decides about a coupon.

Source of the method: AIAG, Measurement Systems Analysis (from memory); NIST/SEMATECH e-Handbook
7.4.3.7 for the two-way analysis (from memory).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from fractions import Fraction
from math import isqrt

from app.judging.rounding import mean
from app.judging.witness.budget import root
from app.judging.witness.outliers import regularised_beta

POOLED_ABOVE = 0.25
"""An interaction that is exceeded by chance more often than this is put together with
repeatability. AIAG, Measurement Systems Analysis (from memory)."""
_CATEGORIES = Fraction(141, 100)
"""Distinct categories are 1.41 times parts over instrument, as in the same source."""
_K1 = {2: "0.8862", 3: "0.5908", 4: "0.4857", 5: "0.4299"}
_K2 = {2: "0.7071", 3: "0.5231", 4: "0.4467", 5: "0.4030"}
"""Range to standard deviation, by trials and by operators: the same source, from memory."""
_FIGURES = Context(prec=28)


@dataclass(frozen=True, slots=True)
class Trial:
    """One reading of one operator on one part."""

    operator: str
    part: str
    value: Decimal


@dataclass(frozen=True, slots=True)
class Source:
    """One line of the analysis: sum of squares, degrees of freedom, F and its probability.

    ``f`` is None where the line is compared with nothing, or its yardstick is zero; ``probability``
    is the chance of an F as large where the source has no effect.
    """

    name: str
    squares: Fraction
    freedom: int
    f: Fraction | None = None
    probability: float | None = None

    @property
    def mean_square(self) -> Fraction:
        """Sum of squares over degrees of freedom."""
        return self.squares / self.freedom


@dataclass(frozen=True, slots=True)
class Component:
    """What one source adds to the variance of a single reading; never below zero."""

    name: str
    variance: Fraction

    @property
    def deviation(self) -> Decimal:
        """Its standard deviation, in the readings' unit."""
        return deviation_of(self.variance)


@dataclass(frozen=True, slots=True)
class RangeMethod:
    """The same by the average and range method, for comparison."""

    repeatability: Decimal
    reproducibility: Decimal


@dataclass(frozen=True, slots=True)
class Analysis:
    """The whole analysis. ``sources`` are part, operator, interaction, repeatability and total.

    ``pooled`` says that the interaction was put together with repeatability, then called
    ``pooled_source``; ``components`` are repeatability, operator, interaction and part.
    """

    operators: int
    parts: int
    trials: int
    sources: tuple[Source, ...]
    pooled_source: Source | None
    components: tuple[Component, ...]
    by_ranges: RangeMethod

    @property
    def pooled(self) -> bool:
        """Whether the interaction was put together with repeatability."""
        return self.pooled_source is not None

    def variance(self, *names: str) -> Fraction:
        """The variance of the components of those names together; of all where none is named."""
        return sum(
            (one.variance for one in self.components if not names or one.name in names),
            Fraction(0),
        )

    @property
    def instrument(self) -> Fraction:
        """Variance of the measuring: repeatability, operator and interaction."""
        return self.variance("repeatability", "operator", "interaction")

    @property
    def categories(self) -> int | None:
        """How many groups of parts the tester tells apart, cut off; None without any scatter."""
        if self.instrument == 0:
            return None
        # The whole part of a root is the whole root of the whole part.
        ratio = _CATEGORIES**2 * self.variance("part") / self.instrument
        return isqrt(ratio.numerator // ratio.denominator)

    def share(self, variance: Fraction) -> Decimal | None:
        """A standard deviation in % of the total one; None where nothing differs at all."""
        total = self.variance()
        return None if total == 0 else deviation_of(variance / total) * 100


def analyse(trials: Sequence[Trial]) -> Analysis:
    """The analysis of a complete study: every operator, every part, equally many trials (2 to 5).

    Raises:
        ValueError: the study is not complete, or too small to tell anything.
    """
    cells, operators, parts, each = _cells(trials)
    means = {key: mean(values) for key, values in cells.items()}
    grand = mean(tuple(means.values()))
    of_part = {one: mean(tuple(means[who, one] for who in operators)) for one in parts}
    of_operator = {one: mean(tuple(means[one, what] for what in parts)) for one in operators}
    part = _squares(of_part.values(), grand) * len(operators) * each
    operator = _squares(of_operator.values(), grand) * len(parts) * each
    between, within = one_way(tuple(cells.values()))
    crossed = between.freedom - (len(parts) - 1) - (len(operators) - 1)
    lines = _lines(
        Source("part", part, len(parts) - 1),
        Source("operator", operator, len(operators) - 1),
        Source("interaction", between.squares - part - operator, crossed),
        Source("repeatability", within.squares, within.freedom),
    )
    pooled = _pooled(lines)
    return Analysis(
        len(operators),
        len(parts),
        each,
        (*lines, Source("total", between.squares + within.squares, len(trials) - 1)),
        pooled,
        _components(lines, pooled, len(operators), len(parts), each),
        _by_ranges(cells, of_operator, len(parts), each),
    )


def one_way(groups: Sequence[Sequence[Fraction]]) -> tuple[Source, Source]:
    """Between and within groups of any sizes, with the F of the former. Two groups or more."""
    grand = mean(tuple(value for group in groups for value in group))
    means = [mean(tuple(group)) for group in groups]
    between = sum(
        (len(group) * (centre - grand) ** 2 for group, centre in zip(groups, means, strict=True)),
        Fraction(0),
    )
    within = sum(
        (_squares(group, centre) for group, centre in zip(groups, means, strict=True)), Fraction(0)
    )
    inside = Source("within", within, sum(len(group) - 1 for group in groups))
    return _against(Source("between", between, len(groups) - 1), inside), inside


def exceeded(f: Fraction, freedom: int, under: int) -> float:
    """The chance of an F of ``f`` or more at ``freedom`` over ``under`` degrees of freedom.

    Source: NIST Digital Library of Mathematical Functions, 8.17(i).
    """
    x = Fraction(under) / (under + freedom * f)
    return regularised_beta(under / 2, freedom / 2, float(x))


def deviation_of(variance: Fraction) -> Decimal:
    """The standard deviation of a variance from zero up, to 28 figures."""
    found = root(variance)
    return _FIGURES.divide(Decimal(found.numerator), Decimal(found.denominator))


Cells = Mapping[tuple[str, str], tuple[Fraction, ...]]


def _cells(trials: Sequence[Trial]) -> tuple[Cells, list[str], list[str], int]:
    cells: dict[tuple[str, str], tuple[Fraction, ...]] = {}
    for one in trials:
        key = one.operator, one.part
        cells[key] = (*cells.get(key, ()), Fraction(one.value))
    operators = list(dict.fromkeys(who for who, _ in cells))
    parts = list(dict.fromkeys(what for _, what in cells))
    counts = {len(cells.get((who, what), ())) for who in operators for what in parts}
    if len(operators) not in _K2 or len(parts) < min(_K2) or counts - set(_K1) or len(counts) != 1:
        raise ValueError(
            "A study needs 2 to 5 operators, 2 parts or more and 2 to 5 trials, all complete."
        )
    return cells, operators, parts, counts.pop()


def _squares(values: Iterable[Fraction], centre: Fraction) -> Fraction:
    return sum(((value - centre) ** 2 for value in values), Fraction(0))


def _against(line: Source, yardstick: Source) -> Source:
    """The line with its F over the yardstick's mean square."""
    if yardstick.mean_square == 0:
        return line
    f = line.mean_square / yardstick.mean_square
    chance = exceeded(f, line.freedom, yardstick.freedom)
    return Source(line.name, line.squares, line.freedom, f, chance)


def _lines(
    part: Source, operator: Source, interaction: Source, repeatability: Source
) -> tuple[Source, Source, Source, Source]:
    """The lines with their F: parts and operators over the interaction, it over repeatability."""
    return (
        _against(part, interaction),
        _against(operator, interaction),
        _against(interaction, repeatability),
        repeatability,
    )


def _pooled(lines: tuple[Source, Source, Source, Source]) -> Source | None:
    *_, interaction, repeatability = lines
    if interaction.probability is None or interaction.probability <= POOLED_ABOVE:
        return None
    return Source(
        "repeatability with interaction",
        interaction.squares + repeatability.squares,
        interaction.freedom + repeatability.freedom,
    )


def _components(
    lines: tuple[Source, Source, Source, Source],
    pooled: Source | None,
    operators: int,
    parts: int,
    each: int,
) -> tuple[Component, ...]:
    """What the mean squares say of each source; a difference below zero is none."""
    part, operator, interaction, repeatability = (line.mean_square for line in lines)
    if pooled is not None:
        interaction = repeatability = pooled.mean_square
    none = Fraction(0)
    return (
        Component("repeatability", repeatability),
        Component("operator", max(none, (operator - interaction) / (parts * each))),
        Component("interaction", max(none, (interaction - repeatability) / each)),
        Component("part", max(none, (part - interaction) / (operators * each))),
    )


def _by_ranges(
    cells: Cells, of_operator: Mapping[str, Fraction], parts: int, each: int
) -> RangeMethod:
    ranges = tuple(max(values) - min(values) for values in cells.values())
    repeatability = mean(ranges) * Fraction(_K1[each])
    apart = max(of_operator.values()) - min(of_operator.values())
    of_operators = apart * Fraction(_K2[len(of_operator)])
    rest = of_operators**2 - repeatability**2 / (parts * each)
    return RangeMethod(deviation_of(repeatability**2), deviation_of(max(Fraction(0), rest)))
