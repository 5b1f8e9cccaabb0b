"""Differences between the exact judge of the bench and the program's verdict."""

from fractions import Fraction

from .bench_case import BenchCase
from .bench_in_program import Answer
from .bench_oracle import BenchTruth

SHOWN_TO = Fraction(1, 10**6)


def bench_differences(case: BenchCase, truth: BenchTruth, told: Answer) -> list[str]:
    """One line for each difference; none where both agree."""
    found = [
        f"{name} {said}, exactly {exactly}"
        for name, said, exactly in (
            ("verdict", told.verdict, truth.verdict),
            ("provisional", told.provisional, truth.provisional),
            ("first test", told.first, truth.first),
        )
        if said != exactly
    ]
    if "no entry" not in truth.branches:
        counting = {reading.number for reading in case.readings} - told.not_counted
        if counting != truth.counting:
            found.append(f"counting {sorted(counting)}, exactly {sorted(truth.counting)}")
        found += _findings(truth, told)
    return found


def _findings(truth: BenchTruth, told: Answer) -> list[str]:
    """Each finding's outcome and the value it compares, both ways."""
    found = [
        f"nothing says {_words(one)}"
        for one in truth.findings
        if not any(_agree(one, said) for said in told.findings)
    ]
    for said in told.findings:
        of_a_coupon = said[0].startswith("coupon")  # its own verdict is compared beside
        expected = truth.findings | truth.allowed
        if not of_a_coupon and not any(_agree(one, said) for one in expected):
            found.append(f"said {said}, exactly {[_words(one) for one in expected]}")
    return found


def _words(one: tuple[str, str, str, Fraction | None]) -> str:
    return f"{one[0]} {one[1]} {one[2]} {one[3] if one[3] is None else float(one[3])}"


def _agree(
    one: tuple[str, str, str, Fraction | None], said: tuple[str, str, str, str | None]
) -> bool:
    """The same finding; its figures, of which a zone may show several, all to their last digit."""
    if one[:3] != said[:3]:
        return False
    if one[3] is None:
        return True
    return said[3] is not None and any(_same(one[3], shown) for shown in said[3].split(", "))


def _same(exactly: Fraction, shown: str) -> bool:
    """Equal, or rounded to six places where the figure has more."""
    if (exactly / SHOWN_TO).denominator == 1:
        return Fraction(shown) == exactly
    return abs(Fraction(shown) - exactly) <= SHOWN_TO / 2
