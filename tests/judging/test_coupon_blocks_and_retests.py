from decimal import Decimal

import pytest

from app.judging.verdict import Outcome, Verdict
from app.judging.witness.acceptance import RetestOf, RetestRule
from app.judging.witness.coupons import judge_retest
from app.judging.witness.reference_block import judge_block_check

GOOD, BAD, OPEN = Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM, Verdict.NOT_PROVEN
TWO_COUPONS = RetestRule(2, RetestOf.COUPONS)


@pytest.mark.parametrize(
    ("readings", "permitted", "outcome"),
    [
        (("86.0", "86.0", "86.0"), "1.0", Outcome.CONFORMS),
        (("84.0", "84.0", "84.0"), "1.0", Outcome.CONFORMS),
        # Mean 86.0333...: the error rounds to 1.0.
        (("86.0", "86.0", "86.1"), "1.0", Outcome.CONFORMS),
        (("86.0", "86.1", "86.1"), "1.0", Outcome.DOES_NOT_CONFORM),
        # An error of 1.5 rounds to the even 2.
        (("86.5",), "1", Outcome.DOES_NOT_CONFORM),
        (("86.4",), "1", Outcome.CONFORMS),
        ((), "1", Outcome.NOT_PROVEN),
    ],
)
def test_a_block_check_conforms_within_the_permitted_error_after_rounding(
    readings: tuple[str, ...], permitted: str, outcome: Outcome
) -> None:
    check = judge_block_check(
        [Decimal(reading) for reading in readings],
        certified=Decimal("85.0"),
        permitted_error=Decimal(permitted),
        unit="HRB",
    )
    assert check.outcome is outcome


def test_a_block_check_with_too_few_readings_is_not_proven() -> None:
    check = judge_block_check(
        [Decimal(85)],
        certified=Decimal(85),
        permitted_error=Decimal(1),
        unit="HRB",
        readings_min=3,
    )
    assert check.outcome is Outcome.NOT_PROVEN
    assert check.value == "1"


def test_a_block_check_shows_its_working() -> None:
    check = judge_block_check(
        [Decimal("84.6"), Decimal("84.9")],
        certified=Decimal("85.0"),
        permitted_error=Decimal("0.5"),
        unit="HRB",
    )
    assert check.value == "-0.2"
    assert check.working[-2:] == (
        "error: 84.75 - 85.0 = -0.25, to the nearest 0.1 (ties to even) -0.2",
        "|-0.2| <= 0.5",
    )


@pytest.mark.parametrize(
    ("first", "sets", "rule", "outcome"),
    [
        (BAD, [GOOD, GOOD], TWO_COUPONS, Outcome.CONFORMS),
        (BAD, [GOOD], TWO_COUPONS, Outcome.NOT_PROVEN),
        (BAD, [], TWO_COUPONS, Outcome.NOT_PROVEN),
        (BAD, [GOOD, BAD], TWO_COUPONS, Outcome.DOES_NOT_CONFORM),
        (BAD, [BAD], TWO_COUPONS, Outcome.DOES_NOT_CONFORM),
        (BAD, [GOOD, OPEN], TWO_COUPONS, Outcome.NOT_PROVEN),
        (BAD, [GOOD, GOOD, BAD], TWO_COUPONS, Outcome.DOES_NOT_CONFORM),
        (BAD, [GOOD, GOOD], None, Outcome.DOES_NOT_CONFORM),
        (OPEN, [GOOD, GOOD], TWO_COUPONS, Outcome.NOT_PROVEN),
        (GOOD, [], TWO_COUPONS, Outcome.CONFORMS),
    ],
)
def test_every_further_test_must_conform(
    first: Verdict, sets: list[Verdict], rule: RetestRule | None, outcome: Outcome
) -> None:
    assert judge_retest(first, sets, rule).outcome is outcome
