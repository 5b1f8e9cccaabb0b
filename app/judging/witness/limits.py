"""Judge a minimum and a maximum, plainly or with a guard band. Pure."""

from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import (
    RoundingMethod,
    last_place,
    round_to_place,
    shown,
    shown_working,
)
from app.judging.verdict import Finding, Outcome
from app.judging.witness.sample import Figure, Sample, described, left_out, spoken_name
from app.judging.witness.uncertainty import judge_guarded_maximum, judge_guarded_minimum


def judge_limits(sample: Sample, *, guarded: bool) -> tuple[Finding, ...]:
    """One finding for the minimum and one for the maximum, where each is given."""
    judge = _judge_guarded if guarded else _judge_plain
    criterion, findings = sample.criterion, []
    if criterion.minimum is not None:
        figure = min(sample.figures, key=lambda one: one.value)
        findings.append(judge(sample, figure, criterion.minimum, is_minimum=True))
    if criterion.maximum is not None:
        figure = max(sample.figures, key=lambda one: one.value)
        findings.append(judge(sample, figure, criterion.maximum, is_minimum=False))
    return tuple(findings)


def _judge_plain(sample: Sample, figure: Figure, limit: Decimal, *, is_minimum: bool) -> Finding:
    """Round once, compare; the figure furthest to the wrong side speaks for all."""
    criterion = sample.criterion
    step = None
    if criterion.rounding is RoundingMethod.ROUNDING:
        step = criterion.resolution or last_place(limit)
    lines = []
    for one in sample.figures:
        met, line = _compare(one, limit, step, is_minimum=is_minimum)
        lines.append(f"{line}: {'met' if met else 'not met'}")
    met, _ = _compare(figure, limit, step, is_minimum=is_minimum)
    side = "minimum" if is_minimum else "maximum"
    wrong = "below" if is_minimum else "above"
    rounded = "" if step is None else f", rounded to {shown(round_to_place(figure.value, to=step))}"
    says = f"meets the {side}" if met else f"is {wrong} the {side}"
    return sample.finding(
        side,
        Outcome.CONFORMS if met else Outcome.DOES_NOT_CONFORM,
        f"{spoken_name(sample)}, {described(sample, figure, is_minimum=is_minimum)}: "
        f"{figure.text} {criterion.unit}{rounded}, {says} {shown(limit)} {criterion.unit}.",
        value=figure.text,
        limit=shown(limit),
        working=tuple(lines),
    )


def _compare(
    figure: Figure, limit: Decimal, step: Decimal | None, *, is_minimum: bool
) -> tuple[bool, str]:
    """Whether a figure meets its limit, and the line of working. ``step`` None: no rounding."""
    compared: Decimal | Fraction = figure.value
    line = f"{figure.label}: {figure.working_text}"
    if step is not None:
        compared = round_to_place(figure.value, to=step)
        line += f", to the nearest {shown(step)} (ties to even) {shown(compared)}"
    compared, bound = Fraction(compared), Fraction(limit)
    met = compared >= bound if is_minimum else compared <= bound
    sign = (">=" if met else "<") if is_minimum else ("<=" if met else ">")
    return met, f"{line} {sign} {shown(limit)}"


def _judge_guarded(sample: Sample, figure: Figure, limit: Decimal, *, is_minimum: bool) -> Finding:
    """Compare with the guard band of U, without rounding."""
    side, unit = "minimum" if is_minimum else "maximum", sample.criterion.unit
    expanded = sample.expanded
    opening = f"{spoken_name(sample)}, {described(sample, figure, is_minimum=is_minimum)}"
    if expanded is None:
        return sample.finding(
            side,
            Outcome.NOT_PROVEN,
            f"{opening}: {figure.text} {unit} cannot be decided against the {side} "
            f"{shown(limit)} {unit}: the entry is guarded and the expanded uncertainty is unknown.",
            value=figure.text,
            limit=shown(limit),
            working=("guarded decision: expanded uncertainty U not given",),
        )
    judge = judge_guarded_minimum if is_minimum else judge_guarded_maximum
    outcome = judge(figure.value, limit, expanded.squared)
    guard = Fraction(limit) + (expanded.value if is_minimum else -expanded.value)
    says = {
        Outcome.CONFORMS: f"meets the guarded {side}",
        Outcome.DOES_NOT_CONFORM: f"is {'below' if is_minimum else 'above'} the {side}",
        Outcome.NOT_PROVEN: f"is too near the {side} to decide,",
    }[outcome]
    sign = "+" if is_minimum else "-"
    lines = tuple(
        f"{one.label}: {one.working_text}: {judge(one.value, limit, expanded.squared).value}"
        for one in sample.figures
    )
    return sample.finding(
        side,
        outcome,
        f"{opening}: {figure.text} {unit} {says} {shown(limit)} {unit} "
        f"(U = {shown_working(expanded.value)}{left_out(expanded)}).",
        value=figure.text,
        limit=shown(limit),
        working=(
            *expanded.working,
            (
                f"guarded {side}, no rounding: met from {shown(limit)} {sign} "
                f"{shown_working(expanded.value)}"
                f" = {shown_working(guard)}; not met beyond {shown(limit)}"
            ),
            *lines,
        ),
    )
