"""The plan of a retest, what turns a result, and which checks frame a reading. Pure."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.bench.rules.framing import frame
from app.bench.rules.retest_plan import compose_plan, serves, why_not_in_plan
from app.judging.units import Quantity
from app.judging.witness.acceptance import RetestOf, RetestRule

HARDNESS, CONDUCTIVITY = Quantity.HARDNESS, Quantity.CONDUCTIVITY
MARA, DENIZ = 1, 2
EIGHT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def _plan(**changed: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "rule": RetestRule(2, RetestOf.COUPONS, by_another=True),
        "quantities": {CONDUCTIVITY, HARDNESS},
        "positions": [("C-2", "N"), ("C-3", "S")],
        "not_by": {MARA: "Mara Quill"},
        **changed,
    }
    return compose_plan(given.pop("rule"), **given)


def test_a_plan_says_in_words_what_it_fixes() -> None:
    assert _plan()["words"] == (
        "Hardness and conductivity on 2 further coupons of the panel, C-2 at N and C-3 at S, not "
        "measured by Mara Quill; every one of them must conform, and nothing is averaged across "
        "them."
    )
    one = _plan(rule=RetestRule(1, RetestOf.SETS), quantities={HARDNESS}, positions=[])
    assert one["words"] == (
        "Hardness again on this coupon, 1 further set of readings; it must conform, and nothing is "
        "averaged across them."
    )


def test_people_are_barred_only_where_the_table_asks_for_another() -> None:
    assert _plan()["not_by"] == [MARA]
    assert _plan(rule=RetestRule(2, RetestOf.COUPONS))["not_by"] == []
    assert "not measured by" not in _plan(rule=RetestRule(2, RetestOf.COUPONS))["words"]


@pytest.mark.parametrize(
    ("coupon", "quantity", "operator", "says"),
    [
        ("C-2", HARDNESS, DENIZ, None),
        ("C-3", CONDUCTIVITY, DENIZ, None),
        ("C-3", CONDUCTIVITY, None, None),
        ("C-4", HARDNESS, DENIZ, "planned on C-2 and C-3, and C-4 is not among them"),
        ("C-2", Quantity.YIELD_STRENGTH, DENIZ, "repeats hardness and conductivity, not yield"),
        ("C-2", HARDNESS, MARA, "asks for another person"),
    ],
)
def test_what_does_not_fit_a_plan_is_said(
    coupon: str, quantity: Quantity, operator: int | None, says: str | None
) -> None:
    reason = why_not_in_plan(_plan(), coupon, quantity, operator)
    assert (reason is None) if says is None else (reason is not None and says in reason)


def test_a_retest_from_before_plans_takes_any_reading() -> None:
    assert why_not_in_plan(None, "C-9", HARDNESS, MARA) is None
    assert not serves(None, "C-2")


def test_a_plan_names_the_coupons_that_serve() -> None:
    assert serves(_plan(), "C-2")
    assert not serves(_plan(), "C-1")
    assert not serves(_plan(rule=RetestRule(1, RetestOf.SETS), positions=[]), "C-2")


@dataclass(frozen=True)
class Made:
    moment: str
    block: str | None
    minute: int

    @property
    def at(self) -> datetime:
        return EIGHT + timedelta(minutes=self.minute)


def test_the_last_check_before_and_the_first_after_frame_a_reading_block_by_block() -> None:
    made = [
        Made("opening", "RB-1", 0),
        Made("opening", "RB-2", 1),
        Made("interim", "RB-1", 10),
        Made("interim", "RB-1", 20),
        Made("closing", "RB-1", 30),
        Made("closing", "RB-2", 31),
    ]
    framed = frame(EIGHT + timedelta(minutes=15), made)
    assert framed.before == (made[2], made[1])
    assert framed.after == (made[3], made[5])


def test_at_the_same_instant_an_opening_check_came_first_and_any_other_after() -> None:
    made = [Made("opening", None, 0), Made("interim", None, 0), Made("closing", None, 5)]
    framed = frame(EIGHT, made)
    assert framed.before == (made[0],)
    assert framed.after == (made[1],)
    assert frame(EIGHT - timedelta(minutes=1), made).before == ()
