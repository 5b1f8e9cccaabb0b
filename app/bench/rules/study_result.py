"""What a complete study comes to, as it is kept and shown. Pure; its sentences are notes."""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from typing import Any

from app.bench.rules.verdict import finding_paper
from app.judging.verdict import Finding, Outcome
from app.judging.witness.repeatability import (
    POOLED_ABOVE,
    Analysis,
    Component,
    Source,
    deviation_of,
)

GOOD_PERCENT, FAIR_PERCENT = Decimal(10), Decimal(30)
"""Instrument in % of the total deviation: up to the first it serves well, above the second it does
not. AIAG, Measurement Systems Analysis (from memory)."""
FEWEST_CATEGORIES = 5
"""Fewer groups of parts told apart are too few: the same source, from memory."""
GUIDE = "AIAG, Measurement Systems Analysis, guideline (from memory)"
_FIGURES = Context(prec=6, rounding=ROUND_HALF_EVEN)
_TWELVE = Fraction(12)
_LEAST_CHANCE = 0.0001


def study_result(study: Analysis, *, unit: str, resolution: Decimal | None) -> dict[str, Any]:
    """The result's figures (six places that count), notes and working, as kept with the closing.

    ``counted`` is the standard deviation of repeatability that uncertainties are worked out with:
    the study's own, but never less than that of the display's step alone.
    """
    counted = counted_repeatability(study, resolution)
    return {
        "unit": unit,
        "repeatability": _figure(_deviation(study)),
        "counted": _figure(counted),
        "pooled": study.pooled,
        "lines": [_line(line) for line in study.sources],
        "components": [_component(study, one) for one in study.components],
        "instrument": _component(study, Component("instrument", study.instrument)),
        "total": _component(study, Component("total", study.variance())),
        "categories": study.categories,
        "by_ranges": {
            "repeatability": _figure(study.by_ranges.repeatability),
            "reproducibility": _figure(study.by_ranges.reproducibility),
        },
        "notes": [finding_paper(one) for one in _notes(study, unit, resolution)],
        "working": list(_working(study, unit)),
    }


def counted_repeatability(study: Analysis, resolution: Decimal | None) -> Decimal:
    """The study's repeatability, or the deviation of the display's step where that is larger.

    A step r stands for r / sqrt(12). Source: JCGM 100:2008 (GUM), F.2.2.1.
    """
    step = Decimal(0) if resolution is None else deviation_of(Fraction(resolution) ** 2 / _TWELVE)
    return max(_deviation(study), step)


def _deviation(study: Analysis) -> Decimal:
    return deviation_of(study.variance("repeatability"))


def _figure(value: Decimal) -> str:
    return format(_FIGURES.plus(value), "f")


def _exact(value: Fraction) -> str:
    return _figure(Decimal(value.numerator) / Decimal(value.denominator))


def _line(line: Source) -> dict[str, Any]:
    return {
        "name": line.name,
        "squares": _exact(line.squares),
        "freedom": line.freedom,
        "mean_square": _exact(line.mean_square),
        "f": None if line.f is None else _exact(line.f),
        "probability": None if line.probability is None else _chance(line.probability),
    }


def _chance(probability: float) -> str:
    return f"{probability:.4f}" if probability >= _LEAST_CHANCE else f"below {_LEAST_CHANCE}"


def _component(study: Analysis, one: Component) -> dict[str, Any]:
    share = study.share(one.variance)
    return {
        "name": one.name,
        "variance": _exact(one.variance),
        "deviation": _figure(one.deviation),
        "share": None if share is None else f"{share:.1f}",
    }


def _notes(study: Analysis, unit: str, resolution: Decimal | None) -> list[Finding]:
    notes = [*_share_note(study), *_category_note(study)]
    counted = counted_repeatability(study, resolution)
    if resolution is not None and counted > _deviation(study):
        notes.append(
            Finding(
                "study.resolution",
                Outcome.NOTE,
                f"The scatter is smaller than the display's step of {resolution} {unit} can show: "
                f"{_figure(counted)} {unit} is counted as repeatability.",
                value=_figure(_deviation(study)),
                limit=_figure(counted),
                unit=unit,
                source="JCGM 100:2008 (GUM), F.2.2.1",
                working=(f"{resolution} / sqrt(12) = {_figure(counted)} {unit}",),
            )
        )
    return notes


def _share_note(study: Analysis) -> list[Finding]:
    share = study.share(study.instrument)
    if share is None:
        return []
    if share <= GOOD_PERCENT:
        words = "it serves well to tell these parts apart"
    elif share <= FAIR_PERCENT:
        words = "it may serve, by what hangs on it"
    else:
        words = "it does not tell these parts apart well"
    return [
        Finding(
            "study.share",
            Outcome.NOTE,
            f"The measuring makes up {share:.1f} % of the total deviation: {words}.",
            value=f"{share:.1f}",
            limit=f"{GOOD_PERCENT} and {FAIR_PERCENT}",
            unit="%",
            source=GUIDE,
        )
    ]


def _category_note(study: Analysis) -> list[Finding]:
    found = study.categories
    if found is None or found >= FEWEST_CATEGORIES:
        return []
    return [
        Finding(
            "study.categories",
            Outcome.NOTE,
            f"{found} distinct categories of parts can be told apart; {FEWEST_CATEGORIES} are "
            "wanted. Parts that are too much alike make the same figure.",
            value=str(found),
            limit=str(FEWEST_CATEGORIES),
            source=GUIDE,
        )
    ]


def _working(study: Analysis, unit: str) -> tuple[str, ...]:
    part, operator, interaction, repeatability, _ = study.sources
    base = study.pooled_source or interaction
    spread, between = repeatability.mean_square, base.mean_square
    lines = [
        f"Mean square of {line.name}: {_exact(line.squares)} / {line.freedom} = "
        f"{_exact(line.mean_square)}"
        for line in (part, operator, interaction, repeatability)
    ]
    if study.pooled_source is not None:
        pooled = study.pooled_source
        spread = pooled.mean_square
        lines.append(
            f"Interaction exceeded by chance with p = {interaction.probability:.4f}, more than "
            f"{POOLED_ABOVE}: put together with repeatability, {_exact(pooled.squares)} / "
            f"{pooled.freedom} = {_exact(pooled.mean_square)}"
        )
    else:
        lines.append(
            f"Interaction variance: ({_exact(between)} - {_exact(spread)}) / {study.trials} = "
            f"{_exact(study.variance('interaction'))}"
        )
    lines += [
        (
            f"Operator variance: ({_exact(operator.mean_square)} - {_exact(between)}) / "
            f"({study.parts} x {study.trials}) = {_exact(study.variance('operator'))}"
        ),
        (
            f"Part variance: ({_exact(part.mean_square)} - {_exact(between)}) / "
            f"({study.operators} x {study.trials}) = {_exact(study.variance('part'))}"
        ),
        "A difference below zero counts as zero",
        f"Repeatability: sqrt({_exact(spread)}) = {_figure(_deviation(study))} {unit}",
    ]
    return tuple(lines)
