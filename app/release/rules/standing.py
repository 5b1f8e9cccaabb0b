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
    RECALLED = "recalled, to be confirmed"
    """Released or used as is, and on hold since: somebody has to confirm or withdraw it."""
    REPLACED = "replaced"
    """Divided or marked anew: other identities stand for it."""


AT_WORK = frozenset({DecisionKind.RELEASED, DecisionKind.USE_AS_IS, DecisionKind.CONFIRMED})
"""Decisions after which a panel is used; a hold on one of these recalls it."""
_LEFT_AT: dict[DecisionKind, Standing] = {
    DecisionKind.RELEASED: Standing.RELEASED,
    DecisionKind.CONFIRMED: Standing.RELEASED,
    DecisionKind.USE_AS_IS: Standing.USE_AS_IS,
    DecisionKind.REWORK: Standing.REWORK,
    DecisionKind.REPAIR: Standing.REPAIR,
    DecisionKind.RETURNED: Standing.RETURNED,
    DecisionKind.SCRAPPED: Standing.SCRAPPED,
    DecisionKind.WITHDRAWN: Standing.HELD,
}
"""Where each decision leaves a panel; *no departure found* leaves it to its evidence."""
DECIDED = frozenset(_LEFT_AT.values()) - {Standing.HELD}
"""A panel stands here because it was decided."""
ENDED = frozenset({Standing.RETURNED, Standing.SCRAPPED, Standing.REPLACED})
"""Nothing more is decided on a panel that stands here."""


def standing_of(facts: PanelFacts) -> Standing:
    """Where the panel stands, from its records alone.

    Final dispositions come first, then open holds, which recall what is in use, then a decision
    that no later load has overtaken, then evidence that does not conform; what is left is how far
    the job has come.
    """
    last = facts.last_decision
    if facts.decided == Standing.REPLACED.value:
        return Standing.REPLACED
    if last is not None and last.kind in FINAL:
        return _LEFT_AT[last.kind]
    overtaken = last is None or any(load.planned_at > last.decided_at for load in facts.loads)
    if facts.open_holds:
        recalled = last is not None and last.kind in AT_WORK and not overtaken
        return Standing.RECALLED if recalled else Standing.HELD
    if last is not None and last.kind in _LEFT_AT and not overtaken:
        return _LEFT_AT[last.kind]
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
