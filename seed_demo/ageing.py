"""Hardness and conductivity of a witness coupon from the temperatures it saw.

The model's form is the usual one (an equivalent time at the peak-ageing temperature; strength that
rises to a peak and falls, conductivity that only rises as solute leaves the lattice). **Its
constants are invented**, as are the alloys: they describe no real material and limit nothing.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from seed_demo.furnace_course import Series

GAS_CONSTANT = 8.314462618  # J/(mol K), exact in the SI since 2019
KELVIN = 273.15


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeingResponse:
    """How an invented alloy answers to heat; ``peak_s`` seconds at ``reference_c`` give the peak.

    Hardness is in HRB, conductivity in %IACS.
    """

    reference_c: float
    peak_s: float
    activation_j_per_mol: float
    hardness_before: float
    hardness_peak: float
    conductivity_before: float
    conductivity_full: float
    hardness_power: float = 0.3
    conductivity_power: float = 0.5


def equivalent_s(times_s: Series, celsius: Series, response: AgeingResponse) -> float:
    """Seconds at the reference temperature that age as much as the whole history.

    ``times_s`` and ``celsius`` are equally long, without gaps in the temperatures.
    """
    over = response.activation_j_per_mol / GAS_CONSTANT
    rates = np.exp(over / (response.reference_c + KELVIN) - over / (celsius + KELVIN))
    return float(np.sum((rates[1:] + rates[:-1]) / 2 * np.diff(times_s)))


def witness_properties(
    times_s: Series, celsius: Series, response: AgeingResponse
) -> tuple[float, float]:
    """True (hardness in HRB, conductivity in %IACS) of a coupon with this temperature history."""
    aged = equivalent_s(times_s, celsius, response) / response.peak_s
    climb = (aged * math.exp(1 - aged)) ** response.hardness_power
    hardness = response.hardness_before
    hardness += (response.hardness_peak - response.hardness_before) * climb
    freed = 1 - math.exp(-(aged**response.conductivity_power))
    conductivity = response.conductivity_before
    conductivity += (response.conductivity_full - response.conductivity_before) * freed
    return hardness, conductivity


def bench_readings(
    true_value: float, *, scatter: float, count: int, seed: int
) -> tuple[Decimal, ...]:
    """``count`` readings to 0.1 as a bench would take them, ``scatter`` their standard deviation.

    Deviations beyond two standard deviations do not occur: a tester's operator repeats those.
    """
    noise = np.random.default_rng(seed).standard_normal(count).clip(-2, 2)
    return tuple(Decimal(f"{true_value + scatter * step:.1f}") for step in noise.tolist())
