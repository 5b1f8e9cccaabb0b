"""The slow judge of the bench itself, on cases small enough to work out on paper.

Every expected figure is worked in the comment beside it from the judging rules, section 3.
"""

import math
from fractions import Fraction

import pytest

from .bench_case import BenchCase, BlockCheck, Desk, Paper, Plan, TableInForce, Taken
from .bench_figures import (
    PI,
    bracketed,
    check_conforms,
    hardness,
    squared_uncertainty,
    stand_about,
    straight,
    table_adds,
)
from .bench_oracle import judge_bench


def check(moment: str, minute: int, error: str = "0", block: str = "B1") -> BlockCheck:
    certified = {"B1": "30", "B2": "45"}[block]
    read = str(Fraction(certified) + Fraction(error))
    return BlockCheck(moment, block, certified, (read,), "0.5", minute)


def desk(*checks: BlockCheck, expanded: str | None = "0.6", **other: object) -> Desk:
    papers = (Paper(0, 9, expanded),)
    blocks: dict[str, str | None] = {"B1": "0.8", "B2": None}
    return Desk("hardness", "HRB", "fixed", "0.1", checks, papers, blocks, **other)


GOOD = (check("opening", 10), check("closing", 90))
TWO_BLOCKS = (check("opening", 10), check("opening", 12, block="B2"))


def test_pi_and_the_numbers_of_indentations() -> None:
    assert float(PI) == math.pi
    # 0.1891 * 98.0665 / 0.25 = 74.1774...: d = (0.4 + 0.6) / 2.
    number, exact = hardness(("vickers", "98.0665", "0.4", "0.6"))
    assert (number, exact) == (Fraction("0.1891") * Fraction("98.0665") / Fraction("0.25"), True)
    # 130 - 0.1 / 0.002 = 80.
    assert hardness(("rockwell", "130", "0.002", "0.1")) == (80, True)
    # D = 5, d = 3: sqrt(25 - 9) = 4, so 0.102 * 2 F / (5 pi); F = 5 pi / 0.204 would give 1.
    number, exact = hardness(("brinell", "1000", "5", "3", "3"))
    assert not exact
    assert number == Fraction("0.102") * 2000 / (PI * 5)


def test_straight_between_points_and_nothing_outside() -> None:
    points = [(Fraction(70), Fraction(1)), (Fraction(80), Fraction(2)), (Fraction(90), Fraction(2))]
    assert straight(points, Fraction(75)) == Fraction(3, 2)
    assert straight(points, Fraction(90)) == 2
    assert straight(points, Fraction("90.01")) is None


def test_bilinear_between_four_points() -> None:
    table = TableInForce(
        "CT-1", "HRB", "hardness", "diameter", ("70", "80"), ("5", "10"),
        (("1", "2"), ("3", "8")), 0, None,
    )  # fmt: skip
    # At diameter 7.5: 1.5 and 5.5; halfway between 70 and 80: 3.5.
    assert table_adds(table, Fraction(75), "7.5") == Fraction("3.5")
    assert table_adds(table, Fraction(75), "10.1") is None
    assert table_adds(table, Fraction(75), None) is None


@pytest.mark.parametrize(
    ("error", "conforms"),
    [("0.5", True), ("0.54", True), ("0.55", False), ("-0.45", True), ("-0.56", False)],
)
def test_a_check_is_rounded_to_the_permitted_error(error: str, conforms: bool) -> None:  # noqa: FBT001 - a table
    # 0.55 goes to 0.6 (even), above 0.5.
    assert check_conforms(check("opening", 0, error)) is conforms


@pytest.mark.parametrize(
    ("checks", "minute", "told"),
    [
        (GOOD, 50, (True, False)),
        (GOOD, 5, (False, False)),
        (GOOD[:1], 50, (True, True)),
        ((*GOOD[:1], check("interim", 60, "2")), 50, (False, False)),
        ((*GOOD[:1], check("interim", 60), check("closing", 90, "2")), 50, (True, False)),
        ((*GOOD[:1], check("interim", 60), check("closing", 90, "2")), 70, (False, False)),
        # B2 opened, and not checked again when B1 failed.
        ((*TWO_BLOCKS, check("interim", 60, "2")), 50, (False, False)),
        ((*TWO_BLOCKS, check("interim", 60)), 50, (True, True)),
    ],
)
def test_a_reading_stands_between_good_checks_on_every_block(checks, minute, told) -> None:
    assert bracketed(desk(*checks), minute) == told


def test_standards_stand_about_every_limit_and_far_enough_apart() -> None:
    both = desk(*GOOD, check("opening", 12, block="B2"))
    assert stand_about(both, "HRB", [Fraction(30), Fraction(45)], Fraction(15))
    assert not stand_about(both, "HRB", [Fraction(30), Fraction(45)], Fraction("15.1"))
    assert not stand_about(both, "HRB", [Fraction(29)], Fraction(5))


def test_parts_of_uncertainty_add_in_squares() -> None:
    own = [Fraction(80), Fraction(81), Fraction(82)]
    used = [(desk(*GOOD), 1, 50)]
    # 0.3^2 + 0.4^2 + 1^2 = 1.25, times 4; of the mean 0.25 + 1 / 3.
    assert squared_uncertainty(used, own, "HRB", averaged=False) == 5
    assert squared_uncertainty(used, own, "HRB", averaged=True) == 1 + Fraction(4, 3)
    unknown = [(desk(*GOOD, expanded=None), 1, 50)]
    assert squared_uncertainty(unknown, own, "HRB", averaged=True) is None
    # A closed study stands in the place of the coupon's own scatter: 4 * (0.25 + 0.5^2) = 2.
    studied = desk(*GOOD, studies=((0, "9"), (5, "0.5")))
    assert squared_uncertainty([(studied, 1, 50)], own, "HRB", averaged=False) == 2


def coupon(*values: str, again: tuple[str, ...] = (), by: int = 2) -> BenchCase:
    criterion = {"quantity": "hardness", "scale": "HRB", "min": "79", "readings_min": 1}
    entry = {
        "alloy": "Q", "temper": "K", "form": "plate", "surface": None, "decision": "simple",
        "thickness_mm": {"from": "1", "to": "9", "from_included": True, "to_included": True},
        "criteria": [criterion],
    }  # fmt: skip
    case = BenchCase(
        "by hand", "C-1", {"alloy": "Q", "temper": "K", "form": "plate", "surface": "bare"}, "5",
        None, {"entries": [entry]}, (desk(*GOOD),), (),
    )  # fmt: skip
    for value in values:
        case.readings.append(Taken(len(case.readings) + 1, 0, "hardness", "HRB", value, 50))
    for number, value in enumerate(again, 1):
        taken = Taken(len(case.readings) + 1, 0, "hardness", "HRB", value, 50)
        taken.again, taken.by = number, by
        case.readings.append(taken)
    if again:
        case.retest = Plan("sets", 2, ("hardness",), by_another=True, not_by=(1,))
    return case


@pytest.mark.parametrize(
    ("case", "verdict"),
    [
        (coupon("78.5"), "does_not_conform"),  # 78.5 goes to 78, the even one
        (coupon("79.5", "78.6"), "conforms"),
        (coupon("78", again=("80", "81")), "conforms"),
        (coupon("78", again=("80",)), "not_proven"),  # one of two
        (coupon("78", again=("80", "81", "78")), "does_not_conform"),  # every one made
        (coupon("78", again=("80", "81"), by=1), "not_proven"),  # the same person again
    ],
)
def test_first_tests_and_retests(case: BenchCase, verdict: str) -> None:
    truth = judge_bench(case)
    assert truth.verdict == verdict
    assert truth.first == ("conforms" if case.readings[0].value == "79.5" else "does_not_conform")


def test_a_build_that_one_criterion_forbids_counts_for_none() -> None:
    # Read with a fixed tester: the minimum permits portable ones only, the maximum asks nothing.
    case = coupon("80")
    minimum = case.table["entries"][0]["criteria"][0] | {"instruments": ["portable"]}
    maximum = {"quantity": "hardness", "scale": "HRB", "max": "90", "readings_min": 1}
    case.table["entries"][0]["criteria"] = [minimum, maximum]
    truth = judge_bench(case)
    assert (truth.verdict, truth.counting) == ("not_proven", set())
    minimum["instruments"] = ["fixed", "portable"]
    assert judge_bench(case).verdict == "conforms"
