"""Which revisions of a plan's cycle and tables govern its panels, and why.

The order of each panel selects them (:mod:`app.requirements.rules.governing`). Of the cycle a load
has one revision, so it must govern all of its panels.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import Refusal
from app.judging.verdict import Finding, Outcome
from app.judging.witness.acceptance import Entry
from app.judging.witness.coupons import find_entry
from app.judging.witness.strictest import is_as_strict, named_entry
from app.loads.planning.checked_plan import CheckedPlan
from app.loads.planning.plan_seats import as_the_table_looks
from app.loads.planning.planned import Plan, PlannedPanel
from app.panels.records import Panel
from app.requirements import queries
from app.requirements.order_queries import OrderOnFile, governing_revision, orders_on_file
from app.requirements.queries import Revision
from app.requirements.records import RequirementKind

_CYCLE, _TABLE = RequirementKind.CYCLE, RequirementKind.ACCEPTANCE_TABLE


@dataclass
class _Look:
    """The plan that is looked at, its panels' orders, and the sentences that were said already.

    An order is only its number where it is not on record.
    """

    session: Session
    plan: Plan
    checked: CheckedPlan
    zone: tzinfo
    orders: dict[str, OrderOnFile | str]
    said: set[str] = field(default_factory=set)

    def order_of(self, panel: str) -> OrderOnFile | str:
        """The order of a panel; no number where the panel is not on record."""
        return self.orders.get(panel, "")

    def fails(self, code: str, sentence: str) -> None:
        """Say once what stands against the plan."""
        if sentence not in self.said:
            self.said.add(sentence)
            self.checked.fails(code, sentence)

    def revisions(self, kind: RequirementKind, code: str) -> Sequence[Revision]:
        """All revisions of a requirement; none where it is not on record, which is said."""
        known = queries.revisions(self.session, kind=kind, code=code)
        if not known:
            self.fails("plan.unknown", f"No {kind.value} {code} is on record.")
        return known

    def governing(
        self, known: Sequence[Revision], panel: str, chosen: str | None
    ) -> tuple[Revision | None, str]:
        """The revision that governs a panel, and why or why none.

        Of a load on record ``chosen`` is what it was planned with: it stands if it may.
        """
        order, at = self.order_of(panel), self.plan.planned_start
        wanted = None if self.checked.own is not None else chosen
        found, why = governing_revision(known, order, at=at, zone=self.zone, chosen=wanted)
        if chosen != wanted:
            kept, kept_why = governing_revision(known, order, at=at, zone=self.zone, chosen=chosen)
            if kept is not None:
                return kept, kept_why.reason
        return found, why.reason


def check_governing(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    """Find the revisions that govern each panel, keep them, and say what stands against them."""
    look = _look(session, plan, checked, zone)
    _cycle(look)
    for place in plan.panels:
        known = look.revisions(_TABLE, place.table)
        if not known:
            continue
        _named_by_order(look, _TABLE, place.table, place.panel)
        revision, reason = look.governing(known, place.panel, place.table_revision)
        _tell(look, _TABLE, revision, reason)
        if revision is not None:
            checked.tables[place.panel] = revision
            checked.governed[place.panel] = _paper(look, place, revision, reason)


def check_extras(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> None:
    """Whether each panel's table asks all that its order's extra tables ask.

    After the panels were looked up: an extra table speaks only where it has an entry for the panel.
    """
    look = _look(session, plan, checked, zone)
    for place in plan.panels:
        order = look.order_of(place.panel)
        if isinstance(order, str) or not {place.panel} <= checked.panels.keys() & checked.tables:
            continue
        for code in order.stated(_TABLE, extra=True):
            _extra(look, place, order, code)


def _look(session: Session, plan: Plan, checked: CheckedPlan, zone: tzinfo) -> _Look:
    numbers = _order_numbers(session, plan)
    on_file = orders_on_file(session, set(numbers.values()))
    orders = {panel: on_file.get(number, number) for panel, number in numbers.items()}
    return _Look(session, plan, checked, zone, orders)


def _order_numbers(session: Session, plan: Plan) -> dict[str, str]:
    codes = [place.panel for place in plan.panels]
    rows = session.execute(select(Panel.code, Panel.order_number).where(Panel.code.in_(codes)))
    return {row.code: row.order_number for row in rows}


def _cycle(look: _Look) -> None:
    plan, checked = look.plan, look.checked
    known = look.revisions(_CYCLE, plan.cycle)
    if not known:
        return
    by_panel: dict[str, Revision] = {}
    for panel in dict.fromkeys(place.panel for place in plan.panels) or ("",):
        _named_by_order(look, _CYCLE, plan.cycle, panel)
        revision, reason = look.governing(known, panel, plan.cycle_revision)
        _tell(look, _CYCLE, revision, reason)
        checked.cycle_reasons[panel] = reason
        if revision is not None:
            by_panel[panel] = revision
    different = {revision.id: revision for revision in by_panel.values()}
    if len(different) > 1:
        words = "; ".join(
            f"revision {one.revision} governs "
            + ", ".join(panel for panel, revision in by_panel.items() if revision.id == one.id)
            for one in different.values()
        )
        look.fails(
            "plan.cycle",
            f"The panels are not governed by one revision of {plan.cycle}: {words}. Plan them in "
            "separate loads, or choose a later revision where every order allows it.",
        )
    if by_panel:
        checked.cycle = next(iter(by_panel.values()))


def _tell(look: _Look, kind: RequirementKind, revision: Revision | None, reason: str) -> None:
    """One finding for each reason, however many panels it is the reason of."""
    code = f"plan.{kind.name.lower()}"
    if revision is None:
        look.fails(code, reason if reason.startswith("No ") else f"The {kind.value} {reason}")
    elif reason not in look.said:
        look.said.add(reason)
        says = f"The {kind.value} {reason} It is verified and in force."
        source = revision.source_document
        look.checked.findings.append(Finding(code, Outcome.CONFORMS, says, source=source))


def _named_by_order(look: _Look, kind: RequirementKind, code: str, panel: str) -> None:
    """Where an order states tables, or cycles, its panels are judged by one of them."""
    order = look.order_of(panel)
    stated = () if isinstance(order, str) else order.stated(kind, extra=False)
    if isinstance(order, str) or not stated or code in stated:
        return
    look.fails(
        f"plan.{kind.name.lower()}",
        f"Order {order.order.number} states {' or '.join(stated)}, not the {kind.value} {code}; "
        "choose what it states, or enter what the order says of this one.",
    )


def _paper(look: _Look, place: PlannedPanel, table: Revision, reason: str) -> dict[str, Any]:
    """Why this table and cycle govern the panel, as it is kept with its seat."""
    order = look.order_of(place.panel)
    number, day = order, None
    if not isinstance(order, str):
        number, day = order.order.number, order.order.placed_on.isoformat()
    cycle_reason = look.checked.cycle_reasons.get(place.panel, "")
    return {
        "order": number,
        "order_day": day,
        "table": f"{table.code} revision {table.revision}",
        "table_reason": reason,
        "cycle_reason": cycle_reason,
        "reason": f"{reason} {cycle_reason}".strip(),
    }


def _extra(look: _Look, place: PlannedPanel, order: OrderOnFile, code: str) -> None:
    """Whether one extra table asks anything of a panel that its own table does not."""
    known = queries.revisions(look.session, kind=_TABLE, code=code)
    revision, reason = look.governing(known, place.panel, None)
    if revision is None:
        look.fails("plan.extra_table", f"The customer's extra table: {reason}")
        return
    panel, lot = look.checked.panels[place.panel]
    table = look.checked.tables[place.panel]
    wanted = as_the_table_looks(lot, panel, thickness_mm=lot.thickness_mm, surface=lot.surface)
    extra = find_entry(wanted, queries.table_of(revision))
    own = find_entry(wanted, queries.table_of(table))
    if extra is None or own is None:
        return
    here = f"{table.code} revision {table.revision}"
    told = f"{code} revision {revision.revision}, the extra table of order {order.order.number}"
    if _asks_all(own, extra):
        says = f"{here} asks of panel {panel.code} all that {told}, asks."
        look.checked.findings.append(
            Finding("plan.extra_table", Outcome.CONFORMS, says, source=extra.source)
        )
        return
    look.fails(
        "plan.extra_table",
        f"{here} asks less of panel {panel.code} than {told}. Compose the table of this order on "
        "the order's page, have it verified, and choose it.",
    )


def _asks_all(own: Entry, extra: Entry) -> bool:
    try:
        return is_as_strict(named_entry(own, ""), named_entry(extra, ""))
    except Refusal:
        # What cannot even be composed is not as strict.
        return False
