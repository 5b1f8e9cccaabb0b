"""What a correction would take away of what speaks against a coupon. Pure.

Source: the judging rules, 3.5. Judged as if the corrected reading stood in the record, before
anything is written: whoever took the readings does not turn their own result.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import tzinfo
from decimal import Decimal

from app.bench.rules.coupon_file import CouponFile, judge_file
from app.bench.rules.verdict import Judged
from app.judging.verdict import Outcome
from app.judging.witness.indentation import Indentation

AS_IF = -1
"""The number a correction has while it is only looked at; no reading on record bears it."""


def what_turns(
    file: CouponFile,
    files: Mapping[int, CouponFile],
    zone: tzinfo,
    *,
    reading_id: int,
    value: Decimal,
    indentation: Indentation | None,
) -> frozenset[tuple[str, str]]:
    """What speaks against the coupon now and no longer would, by test and quantity.

    Empty where the correction is harmless. ``files`` holds the further coupons of its retest.
    """
    before = judge_file(file, files, zone)
    after = judge_file(_corrected(file, reading_id, value, indentation), files, zone)
    return against(before) - against(after)


def _corrected(
    file: CouponFile, reading_id: int, value: Decimal, indentation: Indentation | None
) -> CouponFile:
    readings = list(file.readings)
    place, old = next((place, one) for place, one in enumerate(readings) if one.id == reading_id)
    readings[place] = replace(old, replaced=True)
    number = len(readings) + 1
    readings.append(replace(old, id=AS_IF, number=number, value=value, indentation=indentation))
    return replace(file, readings=tuple(readings))


def against(judged: Judged) -> frozenset[tuple[str, str]]:
    """What speaks against the coupon, in the first test and over all, quantity by quantity.

    Readings too far apart count among it: the range hides that one of them is below its limit.
    """
    return frozenset(
        (test, finding.code.split(".")[0])
        for test, findings in (("first", judged.first.findings), ("over all", judged.findings))
        for finding in findings
        if finding.outcome is Outcome.DOES_NOT_CONFORM or finding.code.endswith(".range")
    )
