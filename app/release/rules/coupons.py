"""What a panel's coupons say to its evidence, those in doubt included. Pure.

Source of the rules: judging rules, "Panels", and "Coupons that are missing, unmarked or doubled".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.judging.verdict import Outcome, Verdict
from app.loads.trouble_rules import end_of
from app.release.rules.facts import CouponFacts, LoadFacts, PanelFacts, worst_first

_CHAIN = ("cut and marked", "placed on the panel", "recovered")
"""The hand-overs that no coupon may lack, in their order."""
_SECOND = "a supervisor other than the person who reported it"


@dataclass(frozen=True, slots=True)
class Said:
    """What is said of a gate: its outcome, a sentence, who can supply what is missing, a digest."""

    outcome: Outcome
    text: str
    who: str
    rests_on: str = ""


def said_of_coupons(facts: PanelFacts, load: LoadFacts) -> Said:
    """Whether there are as many coupons as the cycle asks for, each with its custody unbroken.

    One that is in doubt, or was decided to be no evidence, is not one of them; where such a one
    lay, another has to speak for that end of the panel.
    """
    evidence = [c for c in load.coupons if not c.is_out]
    have, need = len(evidence), load.coupons_needed
    broken = [f"{c.code}: {_break(c)}" for c in evidence if _break(c)]
    told = "".join(f" {one.words}" for one in load.troubles)
    who = "an inspector"
    if need is None:
        who = "an engineer"
        text = f"{load.cycle.name} does not say how many coupons a panel needs.{told}"
    elif any(one.is_open for one in load.troubles):
        who, text = _SECOND, told.strip()
    elif have < max(need, 1):
        verb = "rode on" if have == len(load.coupons) else "are evidence for"
        text = f"{have} of {max(need, 1)} coupons {verb} {facts.code} in load {load.code}.{told}"
    elif broken:
        text = f"Custody is not unbroken: {'; '.join(broken)}.{told}"
    elif bare := _bare_ends(load, evidence):
        text = f"No coupon speaks for the {' and the '.join(bare)} of {facts.code}.{told}"
    else:
        text = (
            f"{have} coupons, {need} needed, each on record from its cutting over its place on "
            f"the panel to its recovery.{told}"
        )
        return Said(Outcome.CONFORMS, text, who)
    return Said(Outcome.NOT_PROVEN, text, who)


def _break(coupon: CouponFacts) -> str | None:
    """What breaks the chain of custody, or None."""
    steps = [step.step for step in coupon.custody]
    if coupon.is_missing:
        return "recorded missing"
    places = [steps.index(step) if step in steps else None for step in _CHAIN]
    for step, place in zip(_CHAIN, places, strict=True):
        if place is None:
            return f"never recorded as {step}"
    known = [place for place in places if place is not None]
    return None if known == sorted(known) else "recorded out of order"


def _bare_ends(load: LoadFacts, evidence: Sequence[CouponFacts]) -> list[str]:
    """The ends of the panel where a coupon that is no evidence lay and no other speaks."""
    spoken_for = {end_of(Decimal(c.x)) for c in evidence}
    lost = {end_of(Decimal(c.x)) for c in load.coupons if c.is_out}
    return sorted(lost - spoken_for)


def said_of_coupon(coupon: CouponFacts, load: LoadFacts) -> Said:
    """The coupon's own verdict; provisional, or by another table, is not proven.

    A coupon in doubt proves nothing, and where a spare stands in, the spare's verdict counts in its
    place. That a coupon is no evidence any more does not take a failed result away.
    """
    name = f"Coupon {coupon.code} at {coupon.station}"
    failed = coupon.verdict is Verdict.DOES_NOT_CONFORM
    if coupon.trouble is not None and not failed and (coupon.is_doubtful or coupon.is_out):
        return _instead(coupon, name, load)
    outcome, who = Outcome.NOT_PROVEN, "the bench"
    if coupon.verdict is None:
        text = f"{name} has not been measured."
    elif coupon.judged_by_table_id != load.table.id:
        text = f"{name} was not judged by {load.table.name}, which governs the load."
    elif coupon.verdict is Verdict.DOES_NOT_CONFORM:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"{name} does not conform. {worst_first(coupon.findings)}".strip()
    elif coupon.verdict is Verdict.NOT_PROVEN:
        text = f"{name} is not proven. {worst_first(coupon.findings)}".strip()
    elif coupon.provisional:
        text = f"{name} conforms provisionally: the tester's closing check is still to come."
    else:
        outcome = Outcome.CONFORMS
        text = f"{name} conforms to {load.table.name}."
    return Said(outcome, text, who, coupon.rests_on)


def _instead(coupon: CouponFacts, name: str, load: LoadFacts) -> Said:
    """What is said of a coupon that does not speak for itself."""
    trouble = coupon.trouble
    assert trouble is not None  # noqa: S101 - only asked for a coupon with a report
    if trouble.is_open:
        text = f"{name} is in doubt: {trouble.kind}. A supervisor has not decided about it."
        return Said(Outcome.NOT_PROVEN, text, _SECOND, coupon.rests_on)
    spare = next((c for c in load.coupons if c.code == trouble.spare), None)
    if spare is None:
        text = f"{name} is no evidence, and nothing rests on it. {trouble.words}"
        return Said(Outcome.CONFORMS, text, "")
    told = said_of_coupon(spare, load)
    stands = f"{spare.code} stands in for {coupon.code} at {coupon.station}."
    text = f"{stands} {trouble.words} {told.text}"
    return Said(told.outcome, text, told.who, told.rests_on)
