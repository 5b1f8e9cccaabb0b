"""When a coupon in doubt may be named, and when a spare may stand in; without a database."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.loads.trouble_rules import (
    Ridden,
    end_of,
    why_no_spare,
    why_not_doubled,
    why_not_reported_missing,
    why_not_unmarked,
)
from app.panels.rules import Custody

CUT, PLACED, OFF = Custody.CUT, Custody.PLACED, Custody.RECOVERED
LOST = Ridden("C-1", "P-1", "L-1", "left front", Decimal("0.1"), (CUT, PLACED, Custody.MISSING))
SPARE = Ridden("C-2", "P-1", "L-1", "left rear", Decimal("0.2"), (CUT, PLACED, OFF))


@pytest.mark.parametrize(
    ("x", "end"),
    [
        ("0", "left end"),
        ("0.49", "left end"),
        ("0.5", "middle"),
        ("0.50", "middle"),
        ("0.51", "right end"),
        ("1", "right end"),
    ],
)
def test_a_station_is_at_an_end_or_in_the_very_middle(x: str, end: str) -> None:
    assert end_of(Decimal(x)) == end


def test_a_recovered_coupon_of_the_same_end_may_stand_in() -> None:
    assert why_no_spare(LOST, "C-2", SPARE) is None
    for step in (Custody.AT_BENCH, Custody.SHELVED):
        further = replace(SPARE, steps=(*SPARE.steps, step))
        assert why_no_spare(LOST, "C-2", further) is None


@pytest.mark.parametrize(
    ("typed", "spare", "says"),
    [
        ("", None, "Choose the coupon"),
        ("C-9", None, "C-9 did not ride on P-1 in load L-1"),
        ("C-1", LOST, "cannot stand in for itself"),
        ("C-2", replace(SPARE, steps=(CUT, PLACED)), "C-2 is placed on the panel, not recovered"),
        ("C-2", replace(SPARE, steps=()), "C-2 is not on record, not recovered"),
        ("C-2", replace(SPARE, steps=(CUT, PLACED, Custody.MISSING)), "is missing, not recovered"),
        ("C-2", replace(SPARE, doubt="Coupon C-2: its mark is on two coupons"), "in doubt itself"),
        ("C-2", replace(SPARE, stands_for="C-3"), "stands in for C-3 already"),
        ("C-2", replace(SPARE, x=Decimal("0.9")), "at the right end of P-1; C-1 lay at left front"),
        ("C-2", replace(SPARE, x=Decimal("0.5")), "at the middle of P-1"),
    ],
)
def test_what_keeps_a_spare_from_standing_in_is_said(
    typed: str, spare: Ridden | None, says: str
) -> None:
    assert says in str(why_no_spare(LOST, typed, spare))


PLACED_ONE = replace(LOST, steps=(CUT, PLACED))


@pytest.mark.parametrize(
    ("mark", "named", "says"),
    [
        ("", PLACED_ONE, "Nobody can name a coupon without its mark"),
        ("C-9", None, "C-9 is no coupon that rode on P-1 in load L-1"),
        ("C-1", replace(LOST, steps=(CUT, PLACED, OFF)), "C-1 is recovered, so this cannot be it"),
        ("C-1", LOST, "C-1 is missing, so this cannot be it"),
        ("C-1", replace(LOST, steps=()), "C-1 is never placed"),
    ],
)
def test_an_unmarked_coupon_is_not_named_without_its_mark(
    mark: str, named: Ridden | None, says: str
) -> None:
    assert says in str(why_not_unmarked(mark, named, panel="P-1", load="L-1"))


def test_an_unmarked_coupon_whose_mark_is_read_after_all_is_named() -> None:
    assert why_not_unmarked("C-1", PLACED_ONE, panel="P-1", load="L-1") is None


@pytest.mark.parametrize(
    ("mark", "steps", "says"),
    [
        ("", (CUT, PLACED, OFF), "Give the mark"),
        ("C-2", (CUT, PLACED, OFF), "The mark read is C-2, and this is about C-1"),
        ("C-1", (CUT,), "does not show it placed on P-1"),
        ("C-1", (CUT, PLACED), "C-1 is placed on the panel: record that it was taken off"),
        ("C-1", (CUT, PLACED, Custody.MISSING), "C-1 is missing"),
    ],
)
def test_a_doubled_mark_wants_the_mark_and_a_custody_that_shows_it(
    mark: str, steps: tuple[Custody, ...], says: str
) -> None:
    assert says in str(why_not_doubled(mark, replace(LOST, steps=steps)))


def test_a_doubled_one_is_named_by_mark_and_custody() -> None:
    assert why_not_doubled("C-1", replace(LOST, steps=(CUT, PLACED, OFF))) is None


def test_only_a_shelved_coupon_is_not_reported_as_missing() -> None:
    for step in Custody:
        problem = why_not_reported_missing("C-1", (CUT, step))
        assert (problem is not None) is (step is Custody.SHELVED)
