"""What the coupons of a load gave at the bench; a fixed number of queries however many."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files
from app.bench.queries.waiting import latest_coupon_verdicts
from app.bench.rules.coupon_file import ReadingFile
from app.judging.rounding import last_place, mean, round_to_place, shown


@dataclass(frozen=True, slots=True)
class CouponResult:
    """A coupon's newest verdict, or None, and the mean of what was read on it, in words.

    ``means`` leaves out readings that were voided or corrected, and those of a retest.
    """

    verdict: str | None
    provisional: bool
    means: tuple[str, ...]


def coupon_results(
    session: Session, load_id: int, coupon_ids: Sequence[int]
) -> dict[int, CouponResult]:
    """Verdict and means of the load's coupons, by key; one that never rode in it has neither."""
    files = coupon_files(session, coupon_ids)
    verdicts = latest_coupon_verdicts(session, coupon_ids)
    found = {}
    for key in coupon_ids:
        file, verdict = files.get(key), verdicts.get(key)
        if file is None or file.load_id != load_id:
            found[key] = CouponResult(None, provisional=False, means=())
            continue
        found[key] = CouponResult(
            None if verdict is None else verdict.verdict,
            provisional=verdict is not None and verdict.provisional,
            means=means_of(file.readings),
        )
    return found


def means_of(readings: Iterable[ReadingFile]) -> tuple[str, ...]:
    """The mean of each quantity's standing readings of the first test: "81.4 HRB, mean of 5".

    To one place more than the readings were taken to; ties to even.
    """
    taken: dict[tuple[str, str], list[Decimal]] = defaultdict(list)
    for one in readings:
        if one.voided is None and not one.replaced and one.retest_id is None:
            taken[one.quantity.value, one.unit].append(one.value)
    said = []
    for (_, unit), values in taken.items():
        finest = min(last_place(value) for value in values)
        middle = round_to_place(mean(tuple(map(Fraction, values))), to=finest / 10)
        said.append(f"{shown(middle)} {unit}, mean of {len(values)}")
    return tuple(said)
