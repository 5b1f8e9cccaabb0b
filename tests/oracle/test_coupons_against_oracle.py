"""The program's coupon verdicts against a slow exact judge written apart from it.

Every expectation comes from the judging rules by way of ``coupon_oracle``, none from the program.
"""

from pathlib import Path

import pytest

from .coupon_comparison import differences
from .coupon_generator import generate_coupon
from .coupon_oracle import judge
from .through_files import cases, told_coupon

BLOCKS = 8
EACH = cases(640)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_every_coupon_verdict_is_the_exact_one(block: int, tmp_path: Path) -> None:
    """Sections 2 and 3: counting, conversion, mean, rounding, zones, guarded decisions."""
    wrong, compared = [], 0
    for seed in range(block * EACH, (block + 1) * EACH):
        case = generate_coupon(seed)
        truth = judge(case.coupon, case.table)
        if truth.unsure:
            continue
        compared += 1
        status, told, sentence = told_coupon(tmp_path, case.coupon, case.table)
        wrong += [f"seed {seed}: {line}" for line in differences(truth, status, told, sentence)]
    assert not wrong, "\n".join(wrong[:20])
    assert compared >= 0.97 * EACH - 1
