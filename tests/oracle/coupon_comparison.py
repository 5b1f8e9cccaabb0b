"""Differences between the exact judge of coupons and the program's verdict."""

from typing import Any

from .coupon_oracle import CouponTruth

BAD_INPUT = 2


def differences(
    truth: CouponTruth, status: int, told: dict[str, Any] | None, sentence: str
) -> list[str]:
    """One line for each difference; none where both agree."""
    if truth.refused:
        return [] if status == BAD_INPUT else ["two entries match and nothing was refused"]
    if told is None:
        return [f"refused: {sentence.strip()}"]
    found = []
    if told["verdict"] != truth.verdict:
        found.append(f"verdict {told['verdict']}, exactly {truth.verdict}: {truth.outcomes}")
    if (told["entry"] is None) != (truth.entry is None):
        found.append(f"entry {told['entry']}, exactly {truth.entry}")
    deciding = {f["outcome"] for f in told["findings"]} - {"note"}
    # A criterion may say its two limits apart, so outcomes beside the worst may be more, not less.
    found += [
        f"no finding is {outcome}: {truth.outcomes}" for outcome in set(truth.outcomes) - deciding
    ]
    notes = [f for f in told["findings"] if f["code"] == "reading.not_counted"]
    if len(notes) < truth.uncounted:
        found.append(f"{len(notes)} readings said not to count, exactly {truth.uncounted} at least")
    return found
