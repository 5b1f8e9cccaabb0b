"""Measured: how often each doubt is raised where it should be, and where it should not.

On generated runs (tests/judging/doubt_faults.py). The bounds stand below what 400 runs gave, so
that they hold for any seed; ``python -m tests.speed.doubt_rates`` prints the rates themselves.
"""

import pytest

from tests.judging import doubt_rates
from tests.judging.doubt_rates import Rate

RUNS = 120
SEED = 20


@pytest.mark.parametrize(
    ("measured", "at_least"),
    [
        pytest.param(doubt_rates.frozen_on_the_way, 0.95, id="frozen on the way"),
        pytest.param(doubt_rates.frozen_in_the_soak, 0.95, id="frozen in the soak"),
        pytest.param(doubt_rates.frozen_in_any_soak, 0.80, id="frozen in any soak"),
        pytest.param(doubt_rates.copied, 0.95, id="copied"),
        pytest.param(doubt_rates.brought_again, 0.95, id="brought again"),
        pytest.param(doubt_rates.clock_set, 0.95, id="clock set"),
        pytest.param(doubt_rates.clock_leaps, 0.95, id="clock leaps"),
        pytest.param(doubt_rates.pace_changed, 0.93, id="pace changed"),
    ],
)
def test_a_fault_is_found(measured, at_least):
    rate = measured(RUNS, SEED)
    assert rate.runs == RUNS
    assert rate.share >= at_least, rate


def test_an_honest_run_raises_no_doubt():
    for rate in doubt_rates.honest(300, SEED):
        assert rate.share <= 0.02, rate


def test_a_new_run_was_not_seen_before():
    assert doubt_rates.not_seen_before(200, SEED).found == 0


def test_what_earlier_loads_tell_is_found_and_nothing_else():
    swapped, smooth, no_swap, no_smooth = doubt_rates.swapped_and_smooth(RUNS, SEED)
    assert swapped.share >= 0.93, swapped
    assert smooth.share >= 0.93, smooth
    assert no_swap.share <= 0.03, no_swap
    assert no_smooth.share <= 0.03, no_smooth


def test_published_wilson_interval():
    """L. D. Brown, T. T. Cai, A. DasGupta, Statistical Science 16 (2001): formula (4), from memory.

    Worked by hand for 8 of 10 at z = 1.96: middle (0.8 + 0.19208) / 1.38416, half
    1.96 / 1.38416 * sqrt(0.016 + 0.0096040).
    """
    low, high = Rate("", 8, 10).interval
    assert low == pytest.approx(0.71674 - 0.22658, abs=2e-4)
    assert high == pytest.approx(0.71674 + 0.22658, abs=2e-4)
