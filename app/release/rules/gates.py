"""The evidence list of a panel: one gate a line, and what they recommend together. Pure.

Source of the rules: judging rules, "Panels". Missing evidence is *not proven*, never *conforms*.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from app.judging.verdict import Finding, Outcome, Verdict
from app.release.rules.coupons import said_of_coupon, said_of_coupons
from app.release.rules.facts import (
    CouponFacts,
    LoadFacts,
    PanelFacts,
    RevisionFacts,
    worst_first,
)
from app.release.rules.gate import Gate, address, recommend
from app.release.rules.standing_gates import standing_gates

__all__ = ["Gate", "address", "evidence", "recommend"]


def evidence(facts: PanelFacts) -> list[Gate]:
    """The evidence list, in the order a person reads it; every gate is always there."""
    loads = facts.round_loads
    gates = [_material(facts, loads), _treatments(facts)]
    if not loads:
        gates.append(_no_load(facts))
    for load in loads:
        gates.extend(_load_gates(facts, load))
    return [*gates, *standing_gates(facts, loads)]


def _material(facts: PanelFacts, loads: Sequence[LoadFacts]) -> Gate:
    """Lots agree, and one table entry is for panel and coupons alike."""
    outcome, text, who = Outcome.CONFORMS, "", ""
    coupons = [(load, coupon) for load in loads for coupon in load.coupons]
    others = [c for _, c in coupons if c.lot_code != facts.lot_code]
    foreign = [c for c in others if c.other_lot_accepted is None]
    unmatched = [load for load in loads if load.entry is None]
    otherwise = [c for load, c in coupons if c.entry != load.entry]
    wanted = f"{facts.alloy} {facts.target_temper} {facts.form}, {facts.thickness_mm} mm"
    if foreign:
        outcome = Outcome.DOES_NOT_CONFORM
        listed = ", ".join(f"{c.code} (lot {c.lot_code})" for c in foreign)
        text = f"The panel is of lot {facts.lot_code}, but not these coupons: {listed}."
    elif unmatched:
        outcome, who = Outcome.NOT_PROVEN, "an engineer, with a table that has such an entry"
        piece = f"{wanted}, {facts.surface}" if facts.surface else wanted
        text = f"{unmatched[0].table.name} has no single entry for {piece}."
    elif otherwise:
        outcome = Outcome.NOT_PROVEN
        listed = ", ".join(c.code for c in otherwise)
        text = f"The table entry of the panel is not the one that is for {listed}."
    elif not coupons:
        outcome, who = Outcome.NOT_PROVEN, "whoever plans the load"
        text = f"No coupon rode with the panel, so nothing speaks for lot {facts.lot_code}."
    else:
        text = (
            f"Panel and coupons are of lot {facts.lot_code}; {wanted} has its entry in "
            f"{loads[-1].table.name}."
        )
        if others:
            accepted = " ".join(
                f"Coupon {c.code} is of lot {c.lot_code}; {c.other_lot_accepted}" for c in others
            )
            text = (
                f"The panel is of lot {facts.lot_code}; {wanted} has its entry in "
                f"{loads[-1].table.name}. {accepted}"
            )
    about = ("material_lot", facts.lot_code)
    return Gate("material", "Material identity", outcome, text, about, who)


def _treatments(facts: PanelFacts) -> Gate:
    """Every furnace load counts, whatever came of it, with those the panel came with."""
    seen = facts.treatments_before + len(facts.loads)
    good = seen <= facts.treatments_most
    text = (
        f"{seen} of at most {facts.treatments_most} thermal treatments, {facts.treatments_before} "
        "of them before the panel came."
    )
    outcome = Outcome.CONFORMS if good else Outcome.DOES_NOT_CONFORM
    return Gate("treatments", "Thermal treatments", outcome, text, ("panel", facts.code))


def _no_load(facts: PanelFacts) -> Gate:
    since = " since it was sent to rework" if facts.loads else ""
    text = f"The panel has not been through the furnace{since}."
    about = ("panel", facts.code)
    return Gate("load", "Furnace load", Outcome.NOT_PROVEN, text, about, "whoever plans the load")


def _load_gates(facts: PanelFacts, load: LoadFacts) -> Iterator[Gate]:
    yield _governed(facts, load)
    yield _requirement("cycle", "Cycle", load.cycle, load)
    yield _requirement("table", "Acceptance table", load.table, load)
    yield _furnace(load)
    yield _leak(load)
    yield _record(load)
    yield _bag(load)
    yield _surface(load)
    yield _contour(load)
    yield _coupons(facts, load)
    for coupon in load.coupons:
        yield _coupon(coupon, load)


def _governed(facts: PanelFacts, load: LoadFacts) -> Gate:
    """Which order asks for this cycle and table, and why at these revisions.

    Planning refuses what an order does not allow, so what is kept here was met; a load planned
    before orders were kept says so.
    """
    text = load.governed or (
        f"Order {facts.order_number}. Nothing was kept on why {load.cycle.name} and "
        f"{load.table.name} govern load {load.code}: it was planned without an order on record."
    )
    about, code = ("load", load.code), f"governed.{load.code}"
    return Gate(code, "What governs", Outcome.CONFORMS, text, about)


def _requirement(kind: str, title: str, used: RevisionFacts, load: LoadFacts) -> Gate:
    """Verified by a second person, and in force when the load started."""
    outcome = Outcome.CONFORMS
    if used.verified_by_id is None or used.in_force_from is None:
        outcome = Outcome.NOT_PROVEN
        text = f"{used.name} has not been verified by a second person."
    elif used.verified_by_id == used.written_by_id:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"{used.name} was verified by the person who wrote it."
    elif load.starts_at < used.in_force_from:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"{used.name} was not yet in force when load {load.code} started."
    elif used.withdrawn_at is not None and load.starts_at >= used.withdrawn_at:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"{used.name} was withdrawn before load {load.code} started."
    else:
        text = f"{used.name} is verified by a second person and was in force for load {load.code}."
    about = ("acceptance_table" if kind == "table" else kind, used.code)
    who = "a supervisor who did not write it"
    return Gate(f"{kind}.{load.code}", title, outcome, text, about, who, f"{used.id}")


def _furnace(load: LoadFacts) -> Gate:
    """The furnace's papers on the day (judging rules 4.5); the worst of them decides."""
    outcome = _worst(load.furnace)
    if outcome is Outcome.CONFORMS:
        text = (
            f"The three checks of {load.furnace_code}, its class, the surveyed zone, and the "
            "calibrations of sensors and gauge held through the load."
        )
    else:
        text = worst_first(load.furnace) or f"Nothing is on record of {load.furnace_code}'s papers."
    who = "an engineer with the missing paper, and a second person who reviews it"
    about = ("furnace", load.furnace_code)
    return Gate(f"furnace.{load.code}", "Furnace papers", outcome, text, about, who)


def _leak(load: LoadFacts) -> Gate:
    outcome, leak = Outcome.NOT_PROVEN, load.leak
    if leak is None:
        text = f"No leak check of the bag is on record for load {load.code}."
    else:
        outcome = leak.outcome
        word = "within" if outcome is Outcome.CONFORMS else "not within"
        text = (
            f"From {leak.start_kpa} to {leak.end_kpa} kPa in {leak.minutes} min, {word} the "
            f"{leak.limit_kpa} kPa permitted."
        )
    about, who = ("load", load.code), "an inspector, before the door closes"
    return Gate(f"leak.{load.code}", "Bag leak check", outcome, text, about, who)


def _record(load: LoadFacts) -> Gate:
    outcome, who, record = Outcome.NOT_PROVEN, "an inspector, with the logger's file", load.record
    rests_on = "" if record is None else record.rests_on
    if record is None:
        text = f"No furnace record of load {load.code} has been imported."
    elif record.verdict is None:
        text = f"The furnace record {record.file_name} has not been judged."
    elif record.verdict is Verdict.CONFORMS:
        outcome = Outcome.CONFORMS
        text = f"The furnace record of load {load.code} conforms to {load.cycle.name}."
    else:
        outcome = Outcome(record.verdict.value)
        words = "does not conform" if outcome is Outcome.DOES_NOT_CONFORM else "is not proven"
        text = f"The furnace record {words}. {worst_first(record.findings)}".strip()
    about = ("load", load.code)
    return Gate(f"record.{load.code}", "Furnace record", outcome, text, about, who, rests_on)


def _bag(load: LoadFacts) -> Gate:
    outcome, who, found = Outcome.NOT_PROVEN, "an inspector, on unwrapping", load.unwrapping
    if found is None:
        text = f"The panel has not been unwrapped from load {load.code}."
    elif found.bag_intact:
        outcome, text = Outcome.CONFORMS, "The bag was found intact on unwrapping."
    else:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"The bag was found burst or open on unwrapping. {found.findings}".strip()
    about = ("load", load.code)
    return Gate(f"bag.{load.code}", "Bag on unwrapping", outcome, text, about, who)


def _surface(load: LoadFacts) -> Gate:
    outcome, who, found = Outcome.NOT_PROVEN, "an inspector, on unwrapping", load.unwrapping
    if found is None or found.surface_clear is None:
        text = "The surface search has not been recorded."
    elif found.surface_clear:
        outcome, text = Outcome.CONFORMS, "The surface search found nothing."
    else:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"The surface search found: {found.findings or 'something not described'}"
    about = ("load", load.code)
    return Gate(f"surface.{load.code}", "Surface search", outcome, text, about, who)


def _contour(load: LoadFacts) -> Gate:
    """The largest gap to the checking fixture against the drawing's limit, included."""
    outcome, who, found = Outcome.NOT_PROVEN, "an inspector, on unwrapping", load.unwrapping
    gap = None if found is None else found.contour_gap_mm
    limit = None if found is None else found.contour_limit_mm
    if gap is None or limit is None:
        text = "The panel has not been measured against its checking fixture."
    elif Decimal(gap) <= Decimal(limit):
        outcome = Outcome.CONFORMS
        text = f"The largest gap to the checking fixture is {gap} mm, {limit} mm at most."
    else:
        outcome = Outcome.DOES_NOT_CONFORM
        text = f"The largest gap to the checking fixture is {gap} mm, and {limit} mm is permitted."
    about, code = ("load", load.code), f"contour.{load.code}"
    return Gate(code, "Contour", outcome, text, about, who)


def _coupons(facts: PanelFacts, load: LoadFacts) -> Gate:
    """As many coupons as the cycle asks for, none in doubt, each with its custody unbroken."""
    told = said_of_coupons(facts, load)
    about = ("load", load.code)
    title = "Coupons and custody"
    return Gate(f"coupons.{load.code}", title, told.outcome, told.text, about, told.who)


def _coupon(coupon: CouponFacts, load: LoadFacts) -> Gate:
    """The coupon's own verdict, or the spare's that stands in for it."""
    told = said_of_coupon(coupon, load)
    about, title = ("coupon", coupon.code), f"Coupon {coupon.code}"
    code = f"coupon.{coupon.code}"
    return Gate(code, title, told.outcome, told.text, about, told.who, told.rests_on)


def _worst(findings: Sequence[Finding]) -> Outcome:
    outcomes = {finding.outcome for finding in findings} - {Outcome.NOTE}
    if Outcome.DOES_NOT_CONFORM in outcomes:
        return Outcome.DOES_NOT_CONFORM
    return Outcome.CONFORMS if outcomes == {Outcome.CONFORMS} else Outcome.NOT_PROVEN
