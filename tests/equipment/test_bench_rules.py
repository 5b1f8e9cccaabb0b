"""As-found figures, pairs as typed, scales of hardness, and indents left."""

from datetime import date
from decimal import Decimal

import pytest

from app.equipment.rules import (
    FEW_INDENTS,
    AsFound,
    DueState,
    FoundPaper,
    as_found,
    as_found_findings,
    bench_corrections_from_lines,
    block_due,
    figures_of_scale,
    indents_due,
    indents_left_of,
    largest_error,
    points_from_lines,
    why_not_of_scale,
)
from app.errors import Refusal
from app.judging.verdict import Outcome


def _paper(
    *points: tuple[str, str], within: bool | None = None, accuracy: str | None = "0.5"
) -> FoundPaper:
    stated = None if accuracy is None else Decimal(accuracy)
    return FoundPaper([list(point) for point in points], within, stated, "HRB")


@pytest.mark.parametrize(
    ("paper", "found"),
    [
        pytest.param(_paper(("85.0", "84.5")), AsFound.WITHIN, id="an-error-as-large-is-within"),
        pytest.param(_paper(("85.0", "84.46")), AsFound.WITHIN, id="rounded-once-to-0.5"),
        pytest.param(_paper(("85.0", "84.45")), AsFound.OUTSIDE, id="a-tie-goes-to-even-0.6"),
        pytest.param(_paper(("85.0", "85.6"), ("40.0", "40.0")), AsFound.OUTSIDE, id="one-is-off"),
        pytest.param(_paper(("85.0", "85.0"), within=False), AsFound.OUTSIDE, id="its-own-word"),
        pytest.param(_paper(("85.0", "86.0"), within=True), AsFound.OUTSIDE, id="figures-go-first"),
        pytest.param(_paper(within=False), AsFound.OUTSIDE, id="a-word-without-figures"),
        pytest.param(_paper(within=True), AsFound.UNKNOWN, id="a-good-word-without-figures"),
        pytest.param(_paper(), AsFound.UNKNOWN, id="nothing"),
        pytest.param(_paper(("85.0", "90.0"), accuracy=None), AsFound.UNKNOWN, id="no-accuracy"),
        pytest.param(
            _paper(("85.0", "84.0"), accuracy=None, within=True), AsFound.WITHIN, id="word-alone"
        ),
    ],
)
def test_how_a_tester_was_found(paper: FoundPaper, found: AsFound) -> None:
    """Rule 3.6 of the judging rules; rounding as in its section 2, ties to even."""
    assert as_found(paper) is found


def test_every_as_found_point_has_its_error_with_working() -> None:
    good, bad = as_found_findings(_paper(("40.0", "40.3"), ("85.0", "84.2")))
    assert (good.outcome, good.value) == (Outcome.CONFORMS, "0.3")
    assert (bad.outcome, bad.value, bad.limit) == (Outcome.DOES_NOT_CONFORM, "-0.8", "0.5")
    assert bad.working[0] == "84.2 - 85.0 = -0.8"
    assert "-0.8 HRB off: beyond its accuracy of 0.5 HRB either side" in bad.text
    (note,) = as_found_findings(_paper(("40.0", "40.3"), accuracy=None))
    assert note.outcome is Outcome.NOTE
    assert largest_error([["40.0", "40.3"], ["85.0", "84.2"]]) == Decimal("-0.8")
    assert largest_error([]) is None


def test_points_are_kept_digit_for_digit_and_lines_that_cannot_be_are_named() -> None:
    assert points_from_lines("85.0 84.60\n\n41,8 41.9\n", "HRB", field="as_found") == [
        ["85.0", "84.60"],
        ["41.8", "41.9"],
    ]
    assert points_from_lines(" \n", "HRB", field="as_found") is None
    for typed, says in (
        ("85.0", "Line 1: '85.0' is not a reference value and what the tester read"),
        ("85.0 84.6\n85.0 high", "Line 2: 'high' is not a number"),
        ("85.0 846", "Line 1: 761.0 HRB at 85.0 HRB is more than a quarter of it"),
        ("0 0", "Line 1: 0 HRB cannot be"),
    ):
        with pytest.raises(Refusal) as refused:
            points_from_lines(typed, "HRB", field="as_left")
        assert says in refused.value.fields["as_left"]


def test_a_testers_corrections_rise_and_are_small() -> None:
    assert bench_corrections_from_lines("80 -0.30\n90 +0.1", "HRB") == [
        ["80", "-0.30"],
        ["90", "0.1"],
    ]
    assert bench_corrections_from_lines("", "HRB") is None
    for typed, says in (
        ("90 0.1\n80 0.1", "Line 2: 80 HRB does not come after 90 HRB; give the values read in"),
        ("40 10.1\n50 0", "more than a quarter"),
        ("80 0.1", "give at least two, between which"),
    ):
        with pytest.raises(Refusal, match=says):
            bench_corrections_from_lines(typed, "HRB")


def test_more_pairs_than_a_certificate_has_are_refused() -> None:
    with pytest.raises(Refusal, match="41 pairs are more than a certificate has"):
        points_from_lines("85.0 85.0\n" * 41, "HRB", field="as_found")


@pytest.mark.parametrize(
    ("scale", "force_n", "ball_mm"),
    [
        # ISO 6506-1:2014, table 2 (from memory): nominal forces of HBW 10/500, 5/250 and 2.5/62.5.
        ("HBW 10/500", "4903", "10"),
        ("HBW 5/250", "2452", "5"),
        ("HBW 2.5/62.5", "612.9", "2.5"),
        # ISO 6507-1:2018, table 3 (from memory): HV5 and HV10.
        ("HV5", "49.03", None),
        ("HV10", "98.07", None),
    ],
)
def test_forces_of_scales_published(scale: str, force_n: str, ball_mm: str | None) -> None:
    """ISO 6506-1 and ISO 6507-1, nominal test forces (from memory)."""
    says = figures_of_scale(scale)
    assert says.force_n is not None
    assert abs(says.force_n - Decimal(force_n)) <= Decimal("0.0005") * says.force_n
    assert says.ball_mm == (None if ball_mm is None else Decimal(ball_mm))
    ball = None if ball_mm is None else Decimal(ball_mm)
    assert why_not_of_scale(scale, force_n=Decimal(force_n), ball_mm=ball) == {}
    assert list(why_not_of_scale(scale, force_n=Decimal(force_n) * 2, ball_mm=ball)) == ["force_n"]


def test_a_scale_without_figures_contradicts_nothing() -> None:
    assert why_not_of_scale("HRB", force_n=Decimal(1), ball_mm=Decimal(1)) == {}


@pytest.mark.parametrize(
    ("most", "used", "left"),
    [(None, 900, None), (100, 0, 100), (100, 99, 1), (100, 100, 0), (100, 103, 0)],
)
def test_indents_left_are_never_below_none(most: int | None, used: int, left: int | None) -> None:
    assert indents_left_of(most, used) == left


@pytest.mark.parametrize(
    ("left", "state", "words"),
    [
        (0, DueState.USED_UP, "used up: no indent left"),
        (1, DueState.DUE_SOON, "one indent left"),
        (FEW_INDENTS, DueState.DUE_SOON, "20 indents left"),
        (FEW_INDENTS + 1, DueState.IN_DATE, "21 indents left"),
    ],
)
def test_how_a_block_stands_by_its_indents(left: int, state: DueState, words: str) -> None:
    due = indents_due(left)
    assert (due.state, due.words) == (state, words)


@pytest.mark.parametrize(
    ("accepted", "on", "state"),
    [
        (None, date(2026, 1, 1), DueState.WAITING),
        (False, date(2026, 1, 1), DueState.MISSING),
        (True, date(2026, 1, 1), DueState.IN_DATE),
        (True, date(2026, 12, 31), DueState.DUE_SOON),
        (True, date(2027, 1, 1), DueState.OVERDUE),
    ],
)
def test_how_a_block_stands_by_its_certificate(
    accepted: bool | None,  # noqa: FBT001 - None before the review
    on: date,
    state: DueState,
) -> None:
    assert block_due(date(2026, 12, 31), accepted, on=on).state is state
