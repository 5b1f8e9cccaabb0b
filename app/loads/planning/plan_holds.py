"""Whether anything that a plan names is on hold."""

from collections.abc import Iterator

from sqlalchemy.orm import Session

from app.loads.planning.checked_plan import CheckedPlan
from app.loads.planning.planned import Plan
from app.panels.queries import Used, held_panels, why_held
from app.panels.records import HoldOn


def check_holds(session: Session, plan: Plan, checked: CheckedPlan) -> None:
    """Say of every panel, and of everything else the load would rest on, that it is on hold.

    A hold on some time only stands against a load that has a moment in that time. Two statements.
    """
    for one in why_held(session, _uses(plan, checked)):
        checked.fails("plan.held", one.words)
    keys = [panel.id for panel, _ in checked.panels.values()]
    for code, reason in held_panels(session, keys).items():
        checked.fails(
            "plan.held",
            f"Panel {code} is on hold: {reason.rstrip('.')}. A supervisor disposes of the hold "
            "before it is aged.",
        )


def _uses(plan: Plan, checked: CheckedPlan) -> Iterator[Used]:
    first = plan.planned_start
    last = plan.planned_end or first
    lots = [lot.code for _, lot in (*checked.panels.values(), *checked.coupons.values())]
    things = (
        (HoldOn.FURNACE, [plan.furnace]),
        (HoldOn.VACUUM_GAUGE, [plan.vacuum_gauge] if plan.vacuum_gauge else []),
        (HoldOn.SENSOR, checked.sensors),
        (HoldOn.MATERIAL_LOT, lots),
        (HoldOn.LOAD, [checked.own.code] if checked.own is not None else []),
    )
    for kind, codes in things:
        for code in dict.fromkeys(codes):
            yield Used(kind, code, first, last)
    for table in checked.tables.values():
        yield Used(HoldOn.ACCEPTANCE_TABLE, table.code, first, last, table.revision)
    if checked.cycle is not None:
        yield Used(HoldOn.CYCLE, checked.cycle.code, first, last, checked.cycle.revision)
