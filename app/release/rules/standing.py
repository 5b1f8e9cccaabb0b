"""Where a panel stands, from its records alone. Pure."""

from enum import StrEnum

from app.judging.verdict import Verdict
from app.release.rules.facts import FINAL, CouponFacts, DecisionKind, LoadFacts, PanelFacts
from app.release.rules.gates import evidence, recommend


class Standing(StrEnum):
    """Where a panel stands."""

    REGISTERED = "registered"
    PLANNED = "planned"
    IN_FURNACE = "in furnace"
    AWAITING_UNWRAPPING = "awaiting unwrapping"
    AWAITING_COUPONS = "awaiting coupons"
    READY = "ready to decide"
    HELD = "held"
    RELEASED = "released"
    USE_AS_IS = "use as is"
    REWORK = "rework"
    REPAIR = "repair"
    RETURNED = "return to supplier"
    SCRAPPED = "scrap"


def standing_of(facts: PanelFacts) -> Standing:
    """Where the panel stands, from its records alone.

    Final dispositions come first, then open holds, then a decision that no later load has
    overtaken, then evidence that does not conform; what is left is how far the job has come.
    """
    last = facts.last_decision
    if last is not None and last.kind in FINAL:
        return Standing(last.kind.value)
    if facts.open_holds:
        return Standing.HELD
    if last is not None and last.kind is not DecisionKind.NO_DEPARTURE:
        overtaken = any(load.planned_at > last.decided_at for load in facts.loads)
        if not overtaken:
            return Standing(last.kind.value)
    return _standing_by_evidence(facts)


def _standing_by_evidence(facts: PanelFacts) -> Standing:
    recommendation = recommend(evidence(facts))
    if recommendation is Verdict.DOES_NOT_CONFORM:
        return Standing.HELD
    if not facts.round_loads:
        return Standing.REGISTERED
    for load in facts.round_loads:
        stage = _stage(load)
        if stage is not None:
            return stage
    return Standing.READY if recommendation is Verdict.CONFORMS else Standing.HELD


def _stage(load: LoadFacts) -> Standing | None:
    """How far the panel has come in a load; None when the load has no more to give."""
    if load.record is None:
        return Standing.PLANNED if load.leak is None else Standing.IN_FURNACE
    if load.unwrapping is None or load.unwrapping.surface_clear is None:
        return Standing.AWAITING_UNWRAPPING
    if any(awaits_bench(coupon) for coupon in load.coupons):
        return Standing.AWAITING_COUPONS
    return None


def awaits_bench(coupon: CouponFacts) -> bool:
    """Whether measuring can still settle the coupon: it is there, not in doubt, and is open."""
    if coupon.is_missing or coupon.entry is None or coupon.is_doubtful or coupon.is_out:
        return False
    settled = coupon.verdict in {Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM}
    return not settled or coupon.provisional or coupon.voids_open > 0
