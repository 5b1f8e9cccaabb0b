"""The program's furnace evidence against a slow judge written apart from it.

Every expectation comes from the judging rules, 4.5, by way of ``evidence_oracle``.
"""

from collections import Counter
from datetime import date

import pytest

from . import evidence_oracle as oracle
from .evidence_comparison import differences
from .evidence_generator import generate_evidence
from .through_files import cases

BLOCKS = 4
EACH = cases(750)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_every_furnace_is_judged_as_the_rules_say(block: int) -> None:
    """4.5: dates, reviews, events, classes, ranges, instruments, zones and reports."""
    wrong, seen = [], Counter()
    for seed in range(block * EACH, (block + 1) * EACH):
        exact, found = differences(generate_evidence(seed))
        wrong += [f"seed {seed}: {line}" for line in found]
        for code, outcome in exact.items():
            seen[code.split()[0], outcome if " " not in code else "note"] += 1
    assert not wrong, "\n".join(wrong[:20])
    if EACH >= 750:
        # Every finding must have come out every way it can, or the comparison says little.
        for code in ("survey", "accuracy_test", "recorder"):
            for outcome in (oracle.GOOD, oracle.BAD, oracle.OPEN):
                assert seen[f"furnace.{code}", outcome] > EACH // 20, (code, outcome, seen)
        for code in ("procedure", "through_end", "range"):
            for outcome in (oracle.GOOD, oracle.OPEN):
                assert seen[f"furnace.{code}", outcome] > EACH // 30, (code, outcome, seen)
        assert seen["furnace.class", oracle.BAD] > EACH // 10
        assert seen["furnace.later_failure", "note"] > EACH // 100


def test_the_oracle_counts_days_by_hand() -> None:
    last = {"month_end": "last day of the month", "due_day_counts": True}
    following = {"month_end": "first day of the next month", "due_day_counts": True}
    assert oracle.last_day(date(2031, 1, 31), (1, "months"), last) == date(2031, 2, 28)
    assert oracle.last_day(date(2031, 1, 31), (1, "months"), following) == date(2031, 3, 1)
    assert oracle.last_day(date(2032, 2, 29), (12, "months"), last) == date(2033, 2, 28)
    assert oracle.last_day(date(2031, 12, 29), (1, "weeks"), last) == date(2032, 1, 5)
    before = last | {"due_day_counts": False}
    assert oracle.last_day(date(2032, 2, 1), (1, "months"), before) == date(2032, 2, 29)


def test_the_oracle_rounds_by_hand() -> None:
    from fractions import Fraction  # noqa: PLC0415 - only here

    assert oracle.rounded(Fraction("3.05"), "3.0") == Fraction("3.0")
    assert oracle.rounded(Fraction("-3.15"), "3.0") == Fraction("-3.2")
    assert oracle.rounded(Fraction("2.5"), "3") == 2
