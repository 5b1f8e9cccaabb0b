"""The control chart of checks: what it needs, what it says, how soon and how often wrongly."""

import random
from fractions import Fraction
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judging.verdict import Outcome
from app.judging.witness.chart_notes import chart_notes, signed
from app.judging.witness.control_chart import (
    BASELINE_CHECKS,
    ControlChart,
    Point,
    control_chart,
    cumulative_sums,
)

RUNS = 300
STEADY_AFTER = 60


def _chart(*errors: str) -> ControlChart:
    return control_chart([Point(Fraction(one)) for one in errors])


def _said(chart: ControlChart) -> list[str]:
    names = [f"day {number}" for number in range(1, len(chart.points) + 1)]
    notes = chart_notes(chart, names, "HRB")
    assert all(note.outcome is Outcome.NOTE for note in notes)
    return [note.text for note in notes]


STEADY = ("0.1", "-0.1", "0.2", "0.0", "-0.2", "0.1", "0.0", "-0.1", "0.1", "-0.1")


def test_nine_checks_give_no_limits_and_ten_do() -> None:
    nine = _chart(*STEADY[:9])
    assert nine.limits is None
    assert _said(nine) == ["No limits yet: 9 of at least 10 conforming checks are on record."]
    assert _chart(*STEADY).limits is not None


def test_a_failed_check_is_drawn_and_sets_no_limit() -> None:
    points = [Point(Fraction(one)) for one in STEADY]
    chart = control_chart([*points[:5], Point(Fraction(3), conforms=False), *points[5:]])
    assert chart.limits == _chart(*STEADY).limits
    assert chart.beyond == (5,)
    assert control_chart([*points[:9], Point(Fraction(0), conforms=False)]).limits is None


def test_checks_that_all_show_the_same_give_no_limits() -> None:
    assert "coarser than the scatter" in _said(_chart(*["0.1"] * 12))[0]


def test_a_steady_tester_is_said_to_be_steady() -> None:
    assert _said(_chart(*STEADY)) == ["Nothing stands out in 10 checks."]


def test_a_check_on_the_limit_is_inside_and_one_beyond_is_named() -> None:
    limits = _chart(*STEADY).limits
    assert limits is not None
    inside = control_chart([*(Point(Fraction(one)) for one in STEADY)] * 3 + [Point(limits.high)])
    assert inside.limits is not None
    on_it = control_chart([*inside.points[:30], Point(inside.limits.high)])
    assert on_it.beyond == ()
    chart = control_chart([*inside.points[:30], Point(inside.limits.high + Fraction(1, 10**6))])
    assert chart.beyond == (30,)
    assert "The check of day 31 shows" in _said(chart)[0]


def test_the_limits_rest_on_the_first_checks_and_never_on_later_ones() -> None:
    first = [Point(Fraction(one)) for one in STEADY * 3]
    assert len(first) == BASELINE_CHECKS
    assert control_chart(first).limits == control_chart([*first, *[Point(Fraction(9))] * 5]).limits


def test_a_shift_is_told_with_its_beginning_and_its_size() -> None:
    chart = _chart(*STEADY * 3, *["0.5"] * 8)
    assert [(one.first, one.last) for one in chart.shifts] == [(30, 37)]
    # 0.5 off a centre of 0.0, exactly, since every check since is 0.5 and the sum began at zero.
    assert chart.shifts[0].by == Fraction(1, 2)
    texts = " ".join(_said(chart))
    assert "moved up by about 0.500 HRB from the check of day 31 on" in texts
    assert "8 checks in a row lie above the centre, from day 31 to day 38." in texts


def test_a_shift_down_is_told_as_down() -> None:
    # Day 30 showed -0.1 already: its sum and that of twelve of -0.4, over thirteen.
    texts = " ".join(_said(_chart(*STEADY * 3, *["-0.4"] * 12)))
    assert "moved down by about 0.377 HRB from the check of day 30" in texts


def test_a_drift_is_told_as_a_trend() -> None:
    chart = _chart(*STEADY, "0.0", "0.1", "0.2", "0.3", "0.4", "0.5")
    assert any("in a row are rising" in text for text in _said(chart))


@pytest.mark.parametrize(
    ("value", "text"),
    [("0.0004", "+0.000"), ("-0.0004", "+0.000"), ("1/3", "+0.333"), ("-2", "-2.000")],
)
def test_an_error_is_written_with_its_sign(value: str, text: str) -> None:
    assert signed(Fraction(value)) == text


@given(st.lists(st.integers(-50, 50), max_size=40))
def test_mirrored_checks_give_the_mirrored_chart(tenths: list[int]) -> None:
    chart = control_chart([Point(Fraction(one, 10)) for one in tenths])
    mirror = control_chart([Point(Fraction(-one, 10)) for one in tenths])
    assert chart.beyond == mirror.beyond
    assert sorted((one.first, one.found, one.last, one.by) for one in chart.shifts) == sorted(
        (one.first, one.found, one.last, -one.by) for one in mirror.shifts
    )
    assert {(run.first, run.last) for run in chart.runs} == {
        (run.first, run.last) for run in mirror.runs
    }


@given(st.lists(st.integers(-30, 30), min_size=1, max_size=40))
def test_a_cumulative_sum_is_the_largest_sum_that_ends_at_the_check(tenths: list[int]) -> None:
    """Another way to the same: the best of all stretches that end there, or none."""
    values, allowance = [Fraction(one, 10) for one in tenths], Fraction(1, 4)
    upper, _ = cumulative_sums(values, target=Fraction(0), allowance=allowance)
    for place, ours in enumerate(upper):
        stretches = [
            sum(one - allowance for one in values[start : place + 1]) for start in range(place + 1)
        ]
        assert ours == max(Fraction(0), *stretches)


def _simulated(shift: float, seed: str) -> list[ControlChart]:
    chance = random.Random(seed)  # noqa: S311 - a simulation
    return [
        control_chart(
            [
                Point(Fraction(round(chance.gauss(mean, 1) * 100), 100))
                for mean in [0.0] * BASELINE_CHECKS + [shift] * STEADY_AFTER
            ]
        )
        for _ in range(RUNS)
    ]


def test_a_shift_of_one_and_a_half_deviations_is_found_within_few_checks() -> None:
    """Simulated: the median is 5 checks, nine in ten within 12 (the chart page says so)."""
    found = []
    for chart in _simulated(1.5, "moved"):
        later = [one for one in chart.shifts if one.found >= BASELINE_CHECKS and one.by > 0]
        found.append(later[0].found - BASELINE_CHECKS + 1 if later else 10**6)
    assert 4 <= median(found) <= 6
    assert sorted(found)[RUNS * 9 // 10] <= 12


def test_how_often_a_steady_tester_raises_a_note() -> None:
    """Simulated over 90 checks: a shift or a point in about a third, a run in about a half."""
    steady = _simulated(0.0, "steady")
    assert sum(bool(chart.shifts) for chart in steady) / RUNS <= 0.42
    assert sum(bool(chart.beyond) for chart in steady) / RUNS <= 0.42
    assert sum(bool(chart.runs) for chart in steady) / RUNS <= 0.55
