"""The plan of a retest: fixed when it is opened, before anything of it is measured. Pure.

Source: the judging rules, 3.5. What is repeated, how often, on which coupons and by whom stands in
the plan; nothing of it can be changed, so that nobody measures until it fits.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from app.judging.units import Quantity
from app.judging.witness.acceptance import RetestOf, RetestRule

Plan = Mapping[str, Any]


def compose_plan(
    rule: RetestRule,
    *,
    quantities: Collection[Quantity],
    positions: Sequence[tuple[str, str]],
    not_by: Mapping[int, str],
) -> dict[str, Any]:
    """The plan as it is kept.

    ``quantities`` are measured again. ``positions`` are the coupons that serve with their stations,
    in order; empty where the rule is of sets. ``not_by`` are every account of the people who may
    not measure, with their names; it counts only where the rule asks for another person.
    """
    barred = dict(not_by) if rule.by_another else {}
    measured = [quantity for quantity in Quantity if quantity in quantities]
    of_coupons = rule.of is RetestOf.COUPONS
    return {
        "of": rule.of.value,
        "further": rule.further,
        "quantities": [quantity.value for quantity in measured],
        "positions": [code for code, _ in positions] if of_coupons else None,
        "by_another": rule.by_another,
        "not_by": sorted(barred),
        "words": _words(rule, measured, positions, barred),
    }


def _words(
    rule: RetestRule,
    measured: Sequence[Quantity],
    positions: Sequence[tuple[str, str]],
    barred: Mapping[int, str],
) -> str:
    what = _listed([quantity.words for quantity in measured])
    if rule.of is RetestOf.COUPONS:
        seats = _listed([f"{code} at {station}" for code, station in positions])
        coupons = "coupon" if rule.further == 1 else "coupons"
        says = f"{what} on {rule.further} further {coupons} of the panel, {seats}"
    else:
        sets = "set" if rule.further == 1 else "sets"
        says = f"{what} again on this coupon, {rule.further} further {sets} of readings"
    if barred:
        says += f", not measured by {_listed(list(dict.fromkeys(barred.values())), last='or')}"
    every = "it must conform" if rule.further == 1 else "every one of them must conform"
    return f"{says[0].upper()}{says[1:]}; {every}, and nothing is averaged across them."


def _listed(names: Sequence[str], *, last: str = "and") -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}"


def serves(plan: Plan | None, coupon_code: str) -> bool:
    """Whether the plan names the coupon as a further one."""
    return plan is not None and coupon_code in (plan["positions"] or ())


def why_not_in_plan(
    plan: Plan | None, coupon_code: str, quantity: Quantity, operator_id: int | None
) -> str | None:
    """Why a reading that would belong to the retest does not fit its plan; None where it does.

    ``coupon_code`` is the coupon measured, ``operator_id`` whoever measures; None for a
    laboratory's result. A retest without a plan was opened before plans were kept and takes any.
    """
    if plan is None:
        return None
    if plan["positions"] is not None and coupon_code not in plan["positions"]:
        return (
            f"The retest was planned on {_listed(plan['positions'])}, and {coupon_code} is not "
            "among them; a plan is not changed once it is open. Measure the coupons it names."
        )
    if quantity.value not in plan["quantities"]:
        planned = _listed([Quantity(one).words for one in plan["quantities"]])
        return (
            f"The retest repeats {planned}, not {quantity.words}; that result of the first test "
            "stands."
        )
    if operator_id is not None and operator_id in plan["not_by"]:
        return (
            "The plan of this retest asks for another person than the one who took the first "
            "readings: hand the coupon to somebody else."
        )
    return None
