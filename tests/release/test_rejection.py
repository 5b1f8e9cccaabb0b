"""When a load stands rejected, without a database."""

from dataclasses import replace
from typing import Any

import pytest

from app.judging.verdict import Finding, Outcome, Verdict
from app.release.rules.facts import DecisionKind, LoadFacts, PanelFacts
from app.release.rules.rejection import rejection
from tests.release.test_rules import COUPON, HOUR, LOAD, PANEL, decided, with_coupon

BELOW = Finding("hardness.minimum", Outcome.DOES_NOT_CONFORM, "Below the limit.")
FAILED = replace(BELOW, code="retest", text="Retest with 2 further coupons, 2 tested: one fails.")
OPEN = replace(FAILED, outcome=Outcome.NOT_PROVEN)
BAD = {"verdict": Verdict.DOES_NOT_CONFORM, "findings": (BELOW, FAILED)}
REJECTED = with_coupon(**BAD)
OTHER = replace(REJECTED, id=2, code="P-2")


def test_a_load_is_rejected_where_each_panel_failed_after_its_retest() -> None:
    assert rejection([REJECTED, OTHER], LOAD.id) == (
        "P-1: coupon C-1 at S1 does not conform after its retest.",
        "P-2: coupon C-1 at S1 does not conform after its retest.",
    )


def _again(panel: PanelFacts) -> PanelFacts:
    """The panel sent to rework, and planned into another load since."""
    later: LoadFacts = replace(LOAD, id=2, code="L-2", planned_at=LOAD.planned_at + 5 * HOUR)
    return replace(decided(DecisionKind.REWORK, panel=panel), loads=(*panel.loads, later))


@pytest.mark.parametrize(
    "changed",
    [
        PANEL,
        with_coupon(verdict=Verdict.DOES_NOT_CONFORM, findings=(BELOW,)),
        with_coupon(verdict=Verdict.NOT_PROVEN, findings=(BELOW, OPEN)),
        with_coupon(**BAD, provisional=True),
        decided(DecisionKind.USE_AS_IS, panel=REJECTED),
        decided(DecisionKind.SCRAPPED, panel=REJECTED),
        decided(DecisionKind.REWORK, panel=REJECTED),
        _again(REJECTED),
    ],
)
def test_one_panel_that_is_not_rejected_keeps_the_load(changed: Any) -> None:
    assert rejection([changed, OTHER], LOAD.id) == ()
    assert rejection([changed], LOAD.id) == ()


def test_a_panel_is_rejected_only_by_the_load_its_coupon_rode_in() -> None:
    assert rejection([REJECTED], 7) == ()
    assert rejection([], LOAD.id) == ()
    assert rejection([replace(REJECTED, loads=(replace(LOAD, coupons=(COUPON,)),))], LOAD.id) == ()
