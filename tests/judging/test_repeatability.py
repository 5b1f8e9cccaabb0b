"""The analysis of a tester study."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judging.witness.repeatability import Analysis, Trial, analyse, deviation_of

Rows = list[list[list[int]]]


def _trials(rows: Rows) -> list[Trial]:
    """Readings in tenths as operators x parts x trials."""
    return [
        Trial(f"operator {who}", f"part {what}", Decimal(tenths) / 10)
        for who, parts in enumerate(rows)
        for what, readings in enumerate(parts)
        for tenths in readings
    ]


@st.composite
def studies(draw: st.DrawFn) -> Rows:
    operators, parts, each = (draw(st.integers(2, most)) for most in (4, 5, 4))
    return [
        [[draw(st.integers(-99, 99)) for _ in range(each)] for _ in range(parts)]
        for _ in range(operators)
    ]


def test_equal_readings_leave_nothing_and_divide_by_nothing() -> None:
    study = analyse(_trials([[[5, 5]] * 3] * 2))
    assert study.variance() == 0
    assert study.categories is None
    assert study.share(study.instrument) is None
    assert not study.pooled


def test_operators_who_only_differ_from_each_other_are_told_apart() -> None:
    study = analyse(_trials([[[10, 10], [20, 20]], [[13, 13], [23, 23]]]))
    assert study.variance("repeatability", "interaction") == 0
    # Means of 1.5 and 1.8: the variance of two figures 0.3 apart.
    assert study.variance("operator") == Fraction(9, 200)
    assert study.variance("part") == Fraction(1, 2)


def test_a_component_below_zero_is_none() -> None:
    study = analyse(_trials([[[0, 9], [9, 0]], [[9, 0], [0, 9]]]))
    assert study.variance("operator") == study.variance("part") == 0
    assert study.categories == 0


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param([[[1, 2], [1, 2]]], id="one-operator"),
        pytest.param([[[1, 2]], [[1, 2]]], id="one-part"),
        pytest.param([[[1], [2]], [[1], [2]]], id="one-trial"),
        pytest.param([[[1, 2], [1, 2]], [[1, 2], [1]]], id="one-reading-missing"),
        pytest.param([[[1, 2], [1, 2]], [[1, 2]]], id="one-part-missing"),
        pytest.param([[[1, 2], [1, 2]]] * 6, id="six-operators"),
    ],
)
def test_an_incomplete_study_is_not_analysed(rows: Rows) -> None:
    with pytest.raises(ValueError, match="all complete"):
        analyse(_trials(rows))


@given(studies())
def test_the_lines_add_up_to_the_total_squares(rows: Rows) -> None:
    """The total is worked out here from the readings alone."""
    study = analyse(_trials(rows))
    values = [Fraction(one, 10) for parts in rows for readings in parts for one in readings]
    centre = sum(values, Fraction(0)) / len(values)
    total = sum(((one - centre) ** 2 for one in values), Fraction(0))
    *lines, whole = study.sources
    assert whole.squares == total == sum(line.squares for line in lines)
    assert whole.freedom == len(values) - 1 == sum(line.freedom for line in lines)
    assert all(line.squares >= 0 for line in lines)


@given(studies(), st.integers(-500, 500), st.randoms(use_true_random=False))
def test_order_and_a_constant_added_change_nothing(rows: Rows, added: int, chance: object) -> None:
    trials = _trials(rows)
    moved = [Trial(one.operator, one.part, one.value + Decimal(added) / 10) for one in trials]
    chance.shuffle(moved)  # type: ignore[attr-defined]
    before, after = analyse(trials), analyse(moved)
    assert _figures(before) == _figures(after)


def _figures(study: Analysis) -> object:
    return [(line.squares, line.freedom, line.f) for line in study.sources], study.components


def test_a_root_is_taken_to_many_figures() -> None:
    assert str(deviation_of(Fraction(2)))[:22] == "1.41421356237309504880"
    assert deviation_of(Fraction(9, 4)) == Decimal("1.5")
