from decimal import Decimal
from fractions import Fraction

import pytest

from app.errors import Refusal
from app.judging.units import Quantity
from app.judging.verdict import Outcome, Verdict
from app.judging.witness.acceptance import Statistic
from app.judging.witness.budget import (
    Budget,
    Part,
    check_budget,
    combine,
    part_of_block,
    part_of_repeatability,
    part_of_tester,
    root,
    scatter,
    two_digits,
)
from tests.judging.coupon_makers import conductivity, entry, guarded, hardness, hrb, iacs, judge

HRB = (Quantity.HARDNESS, "HRB")
# u = 0.4, 0.3 and 1.2 make 1.3, so U is 2.6: roots that are exact.
TESTER = part_of_tester("T-1", Decimal("0.8"), source="certificate C-4")
BLOCK = part_of_block("B-2", Decimal("0.6"))


def test_the_parts_combine_line_by_line() -> None:
    parts = Budget((TESTER, BLOCK, part_of_repeatability(Decimal("1.2"), source="study 3")))
    combined = combine(parts, (Fraction(84),), averaged=False, unit="HRB")
    assert (combined.squared, combined.value, combined.text) == (
        Fraction("6.76"),
        Fraction("2.6"),
        "2.6",
    )
    assert combined.working == (
        "uncertainty, tester T-1 (certificate C-4): U = 0.8, u = 0.8 / 2 = 0.4",
        "uncertainty, block B-2: U = 0.6, u = 0.6 / 2 = 0.3",
        "uncertainty, repeatability (study 3): s = 1.2",
        (
            "uncertainty: u = sqrt(0.4^2 + 0.3^2 + 1.2^2) = 1.3 HRB; U = 2 * u = 2.6 HRB "
            "(k = 2; JCGM 100:2008, 5.1.2, 6.2.1)"
        ),
    )


def test_the_scatter_of_a_mean_is_divided_by_the_root_of_its_number() -> None:
    parts = Budget((TESTER, BLOCK, part_of_repeatability(Decimal("2.4"))))
    four = (Fraction(84),) * 4
    assert combine(parts, four, averaged=True, unit="HRB").value == Fraction("2.6")
    assert combine(parts, four, averaged=False, unit="HRB").value > Fraction("4.8")


def test_without_a_study_the_coupon_s_own_readings_show_the_scatter() -> None:
    """82, 84, 86: s = 2. u^2 = 0.16 + 0.09 + 4 for one, 0.16 + 0.09 + 4/3 for the mean."""
    own = (Fraction(82), Fraction(84), Fraction(86))
    assert combine(Budget((TESTER, BLOCK)), own, averaged=False, unit="HRB").squared == 17
    combined = combine(Budget((TESTER, BLOCK)), own, averaged=True, unit="HRB")
    assert combined.squared == 4 * (Fraction("0.25") + Fraction(4, 3))
    assert combined.working[2] == (
        "uncertainty, repeatability: s of the 3 readings about their mean 84 = 2, u = 2 / sqrt(3) "
        "= 1.154701..."
    )


def test_what_is_not_known_is_left_out_and_named() -> None:
    parts = Budget((TESTER, part_of_block("B-2", None)))
    two = (Fraction(84), Fraction(90))
    combined = combine(parts, two, averaged=True, unit="HRB")
    assert combined.unknown == ("block B-2", "repeatability")
    assert combined.value == Fraction("0.8")
    assert "uncertainty, block B-2: not known, left out" in combined.working


def test_a_budget_in_another_unit_is_brought_over_exactly() -> None:
    uncertainty = {(Quantity.CONDUCTIVITY, "MS/m"): Budget((Part("tester", Decimal("0.232")),))}
    judged = judge(entry(conductivity()), *iacs("39.0"), expanded_uncertainty=uncertainty)
    note = judged.findings[1]
    assert note.code == "conductivity.probability"
    assert "with U = 0.80 %IACS" in note.text
    assert "uncertainty, tester: u = 0.232 * 100 / 58 = 0.4" in note.working


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("85.6", Verdict.CONFORMS),
        ("85.5999999", Verdict.NOT_PROVEN),
        ("83", Verdict.NOT_PROVEN),
        ("82.9", Verdict.DOES_NOT_CONFORM),
    ],
)
def test_a_guarded_minimum_uses_the_combined_u_exactly(value: str, verdict: Verdict) -> None:
    budget = Budget((TESTER, BLOCK, part_of_repeatability(Decimal("1.2"))))
    judged = judge(
        guarded(hardness(readings_min=1)), *hrb(value), expanded_uncertainty={HRB: budget}
    )
    assert judged.verdict is verdict
    assert any(line.startswith("uncertainty: u = sqrt") for line in judged.findings[0].working)


def test_an_irrational_u_decides_by_its_square() -> None:
    """u^2 = 0.5, U = sqrt(2): 83 + 1.41421356237309504880 is short of it, ...881 is not."""
    budget = Budget((Part("a", Decimal("0.5")), Part("b", Decimal("0.5"), repeats=True)))
    row = guarded(hardness(readings_min=1))
    short = judge(row, *hrb("84.41421356237309504880"), expanded_uncertainty={HRB: budget})
    enough = judge(row, *hrb("84.41421356237309504881"), expanded_uncertainty={HRB: budget})
    assert short.verdict is Verdict.NOT_PROVEN
    assert enough.verdict is Verdict.CONFORMS


def test_a_mean_has_a_smaller_u_than_its_readings() -> None:
    """82, 84, 86 against 81.4: U of the mean is 2.5166, so 84 - 81.4 = 2.6 is enough."""
    budget = Budget((TESTER, BLOCK))
    rows = {
        statistic: guarded(hardness(minimum=Decimal("81.4"), statistic=statistic))
        for statistic in Statistic
    }
    readings = hrb("82", "84", "86")
    of_mean = judge(rows[Statistic.MEAN], *readings, expanded_uncertainty={HRB: budget})
    of_each = judge(rows[Statistic.EACH], *readings, expanded_uncertainty={HRB: budget})
    assert of_mean.verdict is Verdict.CONFORMS
    assert of_each.verdict is Verdict.NOT_PROVEN
    # Unrounded, or 84 against 81.4 would seem to be decided otherwise.
    assert "84 HRB meets the guarded minimum 81.4 HRB (U = 2.516611...)" in of_mean.findings[0].text


def test_the_note_says_what_u_lacks() -> None:
    budget = Budget((TESTER, part_of_block("B-2", None)))
    judged = judge(entry(hardness(readings_min=1)), *hrb("84"), expanded_uncertainty={HRB: budget})
    note = judged.findings[1]
    assert note.outcome is Outcome.NOTE
    assert "U = 0.80 HRB, without block B-2 and repeatability (not known), the" in note.text


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ((), "no part of the budget is known"),
        ((Part("block", None),), "no part of the budget is known"),
        ((Part(" ", Decimal(1)),), "part 1, name: nothing is given"),
        ((Part("tester", Decimal(-1)),), "tester: -1 must not be below zero"),
    ],
)
def test_a_faulty_budget_is_refused(parts: tuple[Part, ...], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        check_budget(Budget(parts), "expanded_uncertainty")
    with pytest.raises(Refusal, match=says):
        judge(entry(), *hrb("84"), expanded_uncertainty={HRB: Budget(parts)})


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("0.948683", "0.95"),
        ("2.6", "2.6"),
        ("12.34", "12"),
        ("0.0349", "0.035"),
        ("0.996", "1.00"),
        ("123", "1.2E+2"),
        ("0", "0"),
    ],
)
def test_an_uncertainty_is_shown_to_two_significant_digits(value: str, shown: str) -> None:
    assert Decimal(two_digits(Fraction(value))) == Decimal(shown)


def test_roots_and_scatter_are_exact_where_they_can_be() -> None:
    assert root(Fraction(9, 16)) == Fraction(3, 4)
    assert abs(root(Fraction(2)) ** 2 - 2) < Fraction(1, 10**45)
    assert scatter((Fraction(82), Fraction(84), Fraction(86))) == 4
