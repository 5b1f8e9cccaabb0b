"""What a control chart shows, in sentences. Pure; notes only."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from app.judging.rounding import round_to_place, shown, shown_working
from app.judging.verdict import Finding, Outcome
from app.judging.witness.control_chart import (
    ALLOWANCE_SIGMAS,
    DECISION_SIGMAS,
    FEWEST_CHECKS,
    RUN_OF_TREND,
    RUN_ON_ONE_SIDE,
    ControlChart,
    ControlLimits,
    Run,
    Shift,
)
from app.judging.wording import listed

INDIVIDUALS = "NIST/SEMATECH e-Handbook 6.3.2.2"
SUMS = "NIST/SEMATECH e-Handbook 6.3.2.3"
RULES = "common practice"
_THOUSANDTH = Decimal("0.001")


def chart_notes(chart: ControlChart, names: Sequence[str], unit: str) -> tuple[Finding, ...]:
    """The notes on a chart, in words; ``names`` say which check each point is, in its order.

    A chart with limits and nothing to tell says so in one note.
    """
    limits = chart.limits
    if limits is None:
        return (_no_limits(chart),)
    notes = [
        *_beyond(chart, limits, names, unit),
        *(_run(run, names) for run in chart.runs),
        *(_shift(shift, limits, names, unit) for shift in chart.shifts),
    ]
    return tuple(notes) or (
        Finding(
            "chart.steady",
            Outcome.NOTE,
            f"Nothing stands out in {len(chart.points)} checks.",
            source=INDIVIDUALS,
            working=limits_working(limits, unit),
        ),
    )


def limits_working(limits: ControlLimits, unit: str) -> tuple[str, ...]:
    """How the limits came about, line by line."""
    reach = limits.high - limits.centre
    return (
        (
            f"Centre: mean error of the first {limits.checks} conforming checks = "
            f"{shown_working(limits.centre)} {unit}"
        ),
        f"Mean change from check to check = {shown_working(limits.moving_range)} {unit}",
        (
            f"Standard deviation = {shown_working(limits.moving_range)} / 1.128 = "
            f"{shown_working(limits.sigma)} {unit}"
        ),
        (
            f"Limits = {shown_working(limits.centre)} -/+ 3 x {shown_working(limits.sigma)} = "
            f"{shown_working(limits.centre)} -/+ {shown_working(reach)} = "
            f"{shown_working(limits.low)} to {shown_working(limits.high)} {unit}"
        ),
    )


def signed(value: Fraction) -> str:
    """An error with its sign, to the thousandth."""
    rounded = round_to_place(value, to=_THOUSANDTH)
    return f"{rounded:+f}"


def _no_limits(chart: ControlChart) -> Finding:
    if chart.usable < FEWEST_CHECKS:
        text = (
            f"No limits yet: {chart.usable} of at least {FEWEST_CHECKS} conforming checks are on "
            "record."
        )
    else:
        text = (
            "No limits can be drawn: all checks show the same error, so the display's step is "
            "coarser than the scatter."
        )
    return Finding("chart.no_limits", Outcome.NOTE, text, source=INDIVIDUALS)


def _beyond(
    chart: ControlChart, limits: ControlLimits, names: Sequence[str], unit: str
) -> list[Finding]:
    span = f"{signed(limits.low)} to {signed(limits.high)} {unit}"
    return [
        Finding(
            "chart.beyond",
            Outcome.NOTE,
            f"The check of {names[place]} shows {signed(chart.points[place].error)} {unit}; this "
            f"tester usually shows {span}.",
            value=shown(chart.points[place].error),
            limit=span.removesuffix(f" {unit}"),
            unit=unit,
            source=INDIVIDUALS,
            working=limits_working(limits, unit),
        )
        for place in chart.beyond
    ]


def _run(run: Run, names: Sequence[str]) -> Finding:
    span = listed([names[run.first], names[run.last]]).replace(" and ", " to ")
    if run.kind in {"above", "below"}:
        text = f"{run.length} checks in a row lie {run.kind} the centre, from {span}."
        limit = f"{RUN_ON_ONE_SIDE} in a row"
    else:
        text = f"{run.length} checks in a row are {run.kind}, from {span}."
        limit = f"{RUN_OF_TREND} in a row"
    return Finding(
        f"chart.{run.kind}", Outcome.NOTE, text, value=str(run.length), limit=limit, source=RULES
    )


def _shift(shift: Shift, limits: ControlLimits, names: Sequence[str], unit: str) -> Finding:
    way = "up" if shift.by > 0 else "down"
    checks = shift.last - shift.first + 1
    text = (
        f"The mean error has moved {way} by about {signed(abs(shift.by))[1:]} {unit} from the "
        f"check of {names[shift.first]} on; found at the check of {names[shift.found]}."
    )
    return Finding(
        f"chart.shift_{way}",
        Outcome.NOTE,
        text,
        value=signed(shift.by),
        unit=unit,
        source=SUMS,
        working=(
            (
                f"Centre {shown_working(limits.centre)}, standard deviation "
                f"{shown_working(limits.sigma)} {unit}"
            ),
            (
                f"Allowance {shown(ALLOWANCE_SIGMAS)} and decision interval {DECISION_SIGMAS} "
                "standard deviations"
            ),
            (
                f"{checks} checks since the sum was last zero: the sum over {checks}, plus the "
                f"allowance = {signed(shift.by)} {unit}"
            ),
        ),
    )
