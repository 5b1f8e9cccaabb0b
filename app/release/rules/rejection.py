"""Whether a load stands rejected: no panel of it can be released. Derived, never kept. Pure.

Source of the rules: judging rules, "Panels".
"""

from collections.abc import Sequence

from app.judging.verdict import Outcome, Verdict
from app.release.rules.facts import CouponFacts, PanelFacts
from app.release.rules.standing import Standing, standing_of


def rejection(panels: Sequence[PanelFacts], load_id: int) -> tuple[str, ...]:
    """What rejects each panel of the load, a sentence a panel; empty where one is not rejected.

    A panel is rejected by a load that its evidence still rests on while it is held and a coupon
    that rode on it there does not conform after its retest. What was disposed of, and what went
    on into another load, is not rejected by this one.
    """
    told = [_rejected(panel, load_id) for panel in panels]
    return tuple(told) if told and all(told) else ()


def _rejected(panel: PanelFacts, load_id: int) -> str:
    """The sentence of one panel; empty where it is not rejected."""
    if standing_of(panel) is not Standing.HELD:
        return ""
    coupons = (c for load in panel.round_loads if load.id == load_id for c in load.coupons)
    failed = [
        f"coupon {coupon.code} at {coupon.station} does not conform after its retest"
        for coupon in coupons
        if fails_after_retest(coupon)
    ]
    return f"{panel.code}: {'; '.join(failed)}." if failed else ""


def fails_after_retest(coupon: CouponFacts) -> bool:
    """Whether the coupon does not conform, its retest neither: nothing at the bench is left to do.

    Its verdict must have been judged with its findings read, and not be provisional.
    """
    return (
        coupon.verdict is Verdict.DOES_NOT_CONFORM
        and not coupon.provisional
        and any(
            one.code == "retest" and one.outcome is Outcome.DOES_NOT_CONFORM
            for one in coupon.findings
        )
    )
