"""Control charts against published examples."""

import random
from fractions import Fraction
from statistics import mean

import pytest

from app.judging.witness.control_chart import (
    beyond_limits,
    control_limits,
    cumulative_sums,
    moving_ranges,
    runs_on_one_side,
    shifts_in,
    smoothed_line,
    trends,
)

_FLOW_TEXTS = "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
_FLOW = tuple(map(Fraction, _FLOW_TEXTS.split()))


def test_nist_individuals_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches (seen)."""
    printed = "2.0 2.3 1.4 3.5 3.4 1.4 0.2 1.2 1.5"
    assert moving_ranges(_FLOW) == tuple(map(Fraction, printed.split()))
    limits = control_limits(_FLOW)
    assert limits is not None
    assert limits.centre == Fraction("50.81")
    assert f"{float(limits.moving_range):.4f}" == "1.8778"
    assert f"{float(limits.high):.4f}" == "55.8041"
    assert f"{float(limits.low):.4f}" == "45.8159"
    assert beyond_limits(_FLOW, limits) == ()


def test_montgomery_viscosity_individuals() -> None:
    """Montgomery's viscosity batches, as printed in a general-purpose package's article (seen)."""
    texts = (
        "34.05 34.40 33.59 35.96 34.70 33.51 33.79 34.04 34.52 33.75 33.27 33.71 34.03 34.58 34.02 "
        "33.97 34.05 34.04 33.73 34.05"
    )
    values = tuple(map(Fraction, texts.split()))
    limits = control_limits(values)
    assert limits is not None
    assert limits.centre == Fraction("34.088")
    # The article divides by a d2 of more digits; the printed figures agree to three places.
    assert float(limits.sigma) == pytest.approx(0.5076521, abs=2e-4)
    assert float(limits.low) == pytest.approx(32.56504, abs=6e-4)
    assert float(limits.high) == pytest.approx(35.61096, abs=6e-4)
    assert beyond_limits(values, limits) == (3,)


_GROUPS = (
    "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 "
    "324.625 325.150 328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"
)
_UPPER = (
    "0.00 0.00 0.00 0.00 0.03 0.00 0.00 0.00 0.00 0.00 0.00 0.00 3.01 4.94 7.45 10.63 11.99 14.44 "
    "16.00 19.04"
)
_LOWER = (
    "0.00 0.01 0.00 0.33 0.00 0.00 0.56 0.72 0.17 0.25 0.31 0.00 0.00 0.00 0.00 0.00 0.00 0.00 "
    "0.00 0.00"
)


@pytest.mark.parametrize("side", [0, 1], ids=["upper", "lower"])
def test_nist_cumulative_sums_example(side: int) -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, twenty groups (from memory)."""
    values = tuple(map(Fraction, _GROUPS.split()))
    found = cumulative_sums(values, target=Fraction(325), allowance=Fraction("0.3175"))[side]
    for ours, printed in zip(found, (_UPPER, _LOWER)[side].split(), strict=True):
        # The table carries sums on from unrounded ones: half a hundredth and the last place.
        assert abs(ours - Fraction(printed)) <= Fraction("0.0051"), printed


def test_nist_cumulative_sums_pass_their_decision_interval_at_the_fourteenth_group() -> None:
    """The same example with h 4.1959: starred from group 14 on (from memory)."""
    values = tuple(map(Fraction, _GROUPS.split()))
    upper, _ = cumulative_sums(values, target=Fraction(325), allowance=Fraction("0.3175"))
    assert [place + 1 for place, one in enumerate(upper) if one > Fraction("4.1959")] == list(
        range(14, 21)
    )


def test_cumulative_sums_by_hand() -> None:
    """Tests of a general-purpose package, k = 0.5, centre 0 (seen)."""
    values = tuple(map(Fraction, ["1.5", "0.5", "0.6", "-1.5", "-0.5", "-0.8"]))
    upper, lower = cumulative_sums(values, target=Fraction(0), allowance=Fraction(1, 2))
    assert upper == tuple(map(Fraction, ["1.0", "1.0", "1.1", "0", "0", "0"]))
    assert lower == tuple(map(Fraction, ["0", "0", "0", "1.0", "1.0", "1.3"]))


_EWMA = (
    "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 "
    "53.6 52.1"
)
_EWMA_PRINTED = (
    "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 "
    "49.92 50.73 51.23 51.94 51.99"
)


def test_nist_smoothed_line_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4, weight 0.3, start 50 (from memory)."""
    line = smoothed_line(tuple(map(Fraction, _EWMA.split())), start=Fraction(50))
    for ours, printed in zip(line, _EWMA_PRINTED.split(), strict=True):
        assert abs(ours - Fraction(printed)) <= Fraction("0.00501"), printed


@pytest.mark.parametrize(
    ("shift", "printed"), [("1.0", 10.4), ("1.5", 5.75), ("2.0", 4.01), ("3.0", 2.57)]
)
def test_nist_average_run_lengths(shift: str, printed: float) -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3.1: mean checks to a signal, k 1/2, h 5 (from memory).

    Two thousand seeded runs each; the scatter of their mean is below 3 %.
    """
    chance = random.Random(f"run length {shift}")  # noqa: S311 - a simulation
    lengths = []
    for _ in range(2000):
        values = [
            Fraction(round((chance.gauss(0, 1) + float(shift)) * 1000), 1000) for _ in range(60)
        ]
        found = shifts_in(values, centre=Fraction(0), sigma=Fraction(1))
        lengths.append(found[0].found + 1)
    assert mean(lengths) == pytest.approx(printed, rel=0.06)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        pytest.param([-1] * 8 + [1], [(0, 7)], id="eight-on-one-side"),
        pytest.param([-1] * 7 + [1], [], id="seven-are-none"),
        pytest.param([1] * 4 + [0] + [1] * 4, [], id="one-on-the-centre-ends-a-run"),
    ],
)
def test_western_electric_eight_on_one_side(
    values: list[int], expected: list[tuple[int, int]]
) -> None:
    """Western Electric rule 4, test vector of a general-purpose package (seen): eight of -1."""
    runs = runs_on_one_side([Fraction(one) for one in values], Fraction(0))
    assert [(run.first, run.last) for run in runs] == expected


def test_nelson_trend_of_six() -> None:
    """Nelson's rule 3, six points in a row rising or falling (length seen in a package)."""
    rising = [Fraction(one) for one in (1, 2, 3, 4, 5, 6)]
    assert [(run.kind, run.first, run.last) for run in trends(rising)] == [("rising", 0, 5)]
    assert trends(rising[:5]) == ()
    assert [run.kind for run in trends(rising[::-1])] == ["falling"]
