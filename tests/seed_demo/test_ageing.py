"""The invented alloys answer to heat in the order a metallurgist would expect."""

from decimal import Decimal

import numpy as np
import pytest

from seed_demo.ageing import bench_readings, equivalent_s, witness_properties
from seed_demo.scenario import ALLOYS

HOUR_S = 3600.0


def held_at(celsius: float, hours: float) -> tuple[np.ndarray, np.ndarray]:
    times_s = np.linspace(0.0, hours * HOUR_S, 200)
    return times_s, np.full(200, celsius)


@pytest.mark.parametrize("alloy", ALLOYS, ids=lambda alloy: alloy.alloy)
def test_an_hour_at_the_reference_temperature_counts_as_an_hour(alloy) -> None:
    times_s, celsius = held_at(alloy.response.reference_c, 1.0)
    assert equivalent_s(times_s, celsius, alloy.response) == pytest.approx(HOUR_S, rel=1e-9)


@pytest.mark.parametrize("alloy", ALLOYS, ids=lambda alloy: alloy.alloy)
def test_hardness_peaks_at_the_stated_time_and_conductivity_only_rises(alloy) -> None:
    response = alloy.response
    shares = np.array([0.05, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0])
    hours = shares * response.peak_s / HOUR_S
    pairs = [witness_properties(*held_at(response.reference_c, h), response) for h in hours]
    hardness, conductivity = np.array(pairs).T
    assert hardness.argmax() == 3
    assert hardness[3] == pytest.approx(response.hardness_peak, abs=1e-6)
    assert np.all(np.diff(hardness[:4]) > 0)
    assert np.all(np.diff(hardness[3:]) < 0)
    assert np.all(np.diff(conductivity) > 0)
    assert response.conductivity_before < conductivity[0]
    assert conductivity[-1] < response.conductivity_full


def test_hotter_ages_faster() -> None:
    response = ALLOYS[0].response
    cooler = equivalent_s(*held_at(147.0, 24), response)
    hotter = equivalent_s(*held_at(153.0, 24), response)
    assert cooler < 24 * HOUR_S < hotter


def test_bench_readings_are_figures_to_a_tenth_within_two_standard_deviations() -> None:
    readings = bench_readings(84.0, scatter=0.5, count=40, seed=3)
    assert readings == bench_readings(84.0, scatter=0.5, count=40, seed=3)
    assert all(reading.as_tuple().exponent == -1 for reading in readings)
    assert all(abs(reading - Decimal(84)) <= Decimal("1.05") for reading in readings)
    assert len(set(readings)) > 5
