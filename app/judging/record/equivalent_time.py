"""Equivalent time at a reference temperature. Pure.

Source: judging rules, "Rates, equivalent time, vacuum": the integral of
``exp(-Q/R (1/T - 1/T_ref))`` over the record, T in kelvin, by Simpson's rule on each interval.
"""

from collections.abc import Iterator, Mapping

import numpy as np

from app.judging.record.cycle import Ageing
from app.judging.record.spans import SECONDS_SLACK, Floats
from app.judging.record.trace import Line
from app.judging.verdict import Finding, Outcome
from app.judging.wording import degrees, figure, seconds

GAS_CONSTANT = 8.314462618
"""J/(mol K). Source: CODATA 2018, molar gas constant (exact since the 2019 SI)."""
KELVIN_AT_ZERO_C = 273.15
"""K at 0 degC. Source: SI brochure, 9th edition, 2.3.1, Celsius temperature."""


def equivalent_seconds(line: Line, ageing: Ageing) -> float:
    """Seconds at the reference temperature that the line's known time amounts to.

    Unproven gaps contribute nothing. Intervals are those between the line's points.
    """
    if len(line.times) < 2:  # noqa: PLR2004 - an interval has two ends
        return 0.0
    steps = np.diff(line.times)
    if line.broken is not None:
        steps[line.broken] = 0.0
    middle = line.values[:-1] + line.values[1:]
    middle *= 0.5
    weights = _speed(middle, ageing)
    weights *= 4.0
    ends = _speed(line.values, ageing)
    weights += ends[:-1]
    weights += ends[1:]
    # Not np.dot: its threads wait for each other where the machine is busy.
    return float(np.einsum("i,i->", weights, steps)) / 6.0


def _speed(temperatures_c: Floats, ageing: Ageing) -> Floats:
    """How fast ageing goes at each temperature, relative to the reference temperature."""
    quotient = ageing.activation_energy_j_per_mol / GAS_CONSTANT
    speed = temperatures_c + KELVIN_AT_ZERO_C
    np.divide(-quotient, speed, out=speed)
    speed += quotient / (ageing.reference_c + KELVIN_AT_ZERO_C)
    return np.asarray(np.exp(speed, out=speed), dtype=np.float64)


def equivalent_time_findings(
    found: Mapping[str, float], unproven_s: Mapping[str, float], ageing: Ageing, cycle_name: str
) -> Iterator[Finding]:
    """The coldest and hottest sensor's equivalent time, judged where the cycle sets limits.

    ``unproven_s`` is the time per sensor of which nothing is known: it adds nothing, so a figure
    with such time may be too small. It can show a minimum met and a maximum passed, and no more.
    """
    coldest = min(found, key=lambda name: found[name])
    hottest = max(found, key=lambda name: found[name])
    source = f"cycle {cycle_name}, ageing"
    gaps = {name: span for name, span in unproven_s.items() if span > SECONDS_SLACK}
    working = _working(found, gaps, ageing)
    at = degrees(ageing.reference_c)
    yield Finding(
        "equivalent_time",
        Outcome.NOTE,
        f"Equivalent time at {at}: {seconds(found[coldest])} at the coldest sensor ({coldest}), "
        f"{seconds(found[hottest])} at the hottest ({hottest})"
        + (f"; nothing is counted while {', '.join(gaps)} had no readings." if gaps else "."),
        value=found[coldest],
        unit="s",
        source=source,
        working=working,
    )
    if ageing.min_s is not None:
        short = [name for name in found if found[name] < ageing.min_s - SECONDS_SLACK]
        outcome = Outcome.DOES_NOT_CONFORM if short else Outcome.CONFORMS
        if short and all(name in gaps for name in short):
            outcome = Outcome.NOT_PROVEN
        yield Finding(
            "equivalent_time.shortest",
            outcome,
            f"Equivalent time of the coldest sensor ({coldest}) {seconds(found[coldest])}; at "
            f"least {seconds(ageing.min_s)} is asked for.",
            value=found[coldest],
            limit=ageing.min_s,
            unit="s",
            source=source,
            working=working,
        )
    if ageing.max_s is not None:
        passed = found[hottest] > ageing.max_s + SECONDS_SLACK
        outcome = Outcome.NOT_PROVEN if gaps else Outcome.CONFORMS
        yield Finding(
            "equivalent_time.longest",
            Outcome.DOES_NOT_CONFORM if passed else outcome,
            f"Equivalent time of the hottest sensor ({hottest}) {seconds(found[hottest])}; at "
            f"most {seconds(ageing.max_s)} is permitted.",
            value=found[hottest],
            limit=ageing.max_s,
            unit="s",
            source=source,
            working=working,
        )


def _working(
    found: Mapping[str, float], gaps: Mapping[str, float], ageing: Ageing
) -> tuple[str, ...]:
    """The formula with its figures, and each sensor's result."""
    return (
        (
            f"integral of exp(-Q/R (1/T - 1/T_ref)) dt, Q = "
            f"{figure(ageing.activation_energy_j_per_mol, 6)} J/mol, R = {GAS_CONSTANT} J/(mol K), "
            f"T_ref = {figure(ageing.reference_c, 6)} + {KELVIN_AT_ZERO_C} K, Simpson's rule"
        ),
        *(
            f"{name}: {figure(value, 3)} s"
            + (f", nothing counted for {figure(gaps[name], 3)} s" if name in gaps else "")
            for name, value in found.items()
        ),
    )
