"""The program's verdicts on coupons of the bench against a slow exact judge written apart from it.

Every expectation comes from the judging rules, section 3, by way of ``bench_oracle``, none from the
program. There are at least 100,000 cases, and each compares the verdict, whether it is provisional,
which readings count, and every deciding finding with its outcome and the value it compares.
"""

from collections import Counter

import pytest

from .bench_comparison import bench_differences
from .bench_generator import COUPONS_OF_A_SHIFT, shift_of_coupons
from .bench_in_program import Program
from .bench_oracle import judge_bench
from .through_files import cases

WANTED = 100_000
BLOCKS = 16
OF_A_BLOCK = cases(WANTED // BLOCKS)
SHIFTS = OF_A_BLOCK * 102 // 100 // COUPONS_OF_A_SHIFT + 1  # 2 % more, for the unsure ones
SHARE_OF_EACH_VERDICT = 0.10
LEAST_OF_A_BRANCH = cases(200) // BLOCKS + 1

# The rules that a case can go through; each is gone through at least 200 times in all.
BRANCHES = {
    *("counts", "counts provisionally", "late", "voided", "replaced", "spacing not confirmed"),
    *("not in calibration", "not between good checks", "thermometer", "temperatures apart"),
    *("depth enough", "depth too little", "build not permitted"),
    *("standards apart", "standards not apart", "no entry"),
    *("sizes of brinell", "sizes of vickers", "sizes of rockwell"),
    *("instrument's correction", "outside the instrument's correction"),
    *("correction table by diameter", "correction table by thickness"),
    *("correction table by reading alone", "outside the correction table"),
    *("readings not_proven", "range not_proven", "zone conforms", "zone does_not_conform"),
    *("accept if conforms", "accept if does_not_conform", "accept if not_proven"),
    *("minimum conforms", "minimum does_not_conform"),
    *("maximum conforms", "maximum does_not_conform"),
    *("guarded conforms", "guarded does_not_conform", "guarded not_proven"),
    *("guarded not_proven, no U", "the same person again"),
    *("retest sets conforms", "retest sets does_not_conform", "retest sets not_proven"),
    *("retest coupons conforms", "retest coupons does_not_conform", "retest coupons not_proven"),
    "retest of a first that does not fail",
}


@pytest.mark.parametrize("block", range(BLOCKS))
def test_every_verdict_at_the_bench_is_the_exact_one(block: int) -> None:
    """Section 3 whole: what counts, corrections, budget, standards, checks, retests."""
    wrong: list[str] = []
    verdicts: Counter[str] = Counter()
    branches: Counter[str] = Counter()
    for seed in range(block * SHIFTS, (block + 1) * SHIFTS):
        program = Program()
        for case in shift_of_coupons(seed):
            truth = judge_bench(case)
            if truth.unsure:
                continue
            verdicts[truth.verdict] += 1
            branches.update(truth.branches)
            found = bench_differences(case, truth, program.told(case))
            wrong += [f"case {case.seed}: {line}" for line in found]
    assert not wrong, "\n".join(wrong[:20])
    compared = verdicts.total()
    assert compared >= OF_A_BLOCK
    assert len(verdicts) == len({"conforms", "does_not_conform", "not_proven"})
    assert min(verdicts.values()) >= SHARE_OF_EACH_VERDICT * compared, verdicts
    seldom = {branch for branch in BRANCHES if branches[branch] < LEAST_OF_A_BRANCH}
    assert not seldom, {branch: branches[branch] for branch in seldom}


def test_there_are_a_hundred_thousand_cases() -> None:
    """The blocks together, so that nobody makes them fewer unseen."""
    assert cases(WANTED) <= BLOCKS * SHIFTS * COUPONS_OF_A_SHIFT
