"""The gates that concern the panel as a whole: voids, people, nonconformances and holds. Pure.

Source of the rules: judging rules, "Panels".
"""

from collections.abc import Sequence

from app.judging.verdict import Outcome
from app.release.rules.facts import LoadFacts, PanelFacts
from app.release.rules.gate import Gate

ASIDE = frozenset({"hold", "upstream", "nonconformances"})
"""Codes of the gates that open and close after a decision without the evidence itself moving."""


def standing_gates(facts: PanelFacts, loads: Sequence[LoadFacts]) -> list[Gate]:
    """Voids, two people, nonconformances, holds on what the panel rests on, and its own."""
    return [
        _voids(facts, loads),
        _two_people(facts, loads),
        _nonconformances(facts),
        _upstream(facts),
        _hold(facts),
    ]


def _voids(facts: PanelFacts, loads: Sequence[LoadFacts]) -> Gate:
    waiting = [c for load in loads for c in load.coupons if c.voids_open]
    if waiting:
        listed = ", ".join(c.code for c in waiting)
        text = f"A void has been asked for and not answered on {listed}."
        about, who = ("coupon", waiting[0].code), "a supervisor who did not ask for it"
        return Gate("voids", "Voids", Outcome.NOT_PROVEN, text, about, who)
    text = "No reading waits for an answer to a void."
    return Gate("voids", "Voids", Outcome.CONFORMS, text, ("panel", facts.code))


def _two_people(facts: PanelFacts, loads: Sequence[LoadFacts]) -> Gate:
    """Whether another person acted wherever two are needed, whatever accounts they used."""
    about, code, title = ("panel", facts.code), "people", "Two people"
    alone = [one for load in loads for one in load.alone]
    if not alone:
        text = (
            "Wherever a second person is needed it was another one: for tables, cycles and "
            "mappings, reports, the furnace record, voids, corrections, retests and coupons in "
            "doubt."
        )
        return Gate(code, title, Outcome.CONFORMS, text, about)
    text = " ".join(one.words for one in alone)
    return Gate(code, title, Outcome.DOES_NOT_CONFORM, text, about)


def _nonconformances(facts: PanelFacts) -> Gate:
    """Open until a decision carries out the disposition that was answered."""
    code, title = "nonconformances", "Nonconformances"
    waiting = [one for one in facts.nonconformances if one.is_open]
    if not waiting:
        text = "No nonconformance is open."
        return Gate(code, title, Outcome.CONFORMS, text, ("panel", facts.code))
    text = " ".join(f"{one.code} is open: {one.description.rstrip('.')}." for one in waiting)
    return Gate(code, title, Outcome.DOES_NOT_CONFORM, text, ("nonconformance", waiting[0].code))


def _upstream(facts: PanelFacts) -> Gate:
    """Open holds on anything the panel rests on, whether or not they put a hold on it too."""
    code, title = "upstream", "What it rests on"
    if not facts.upstream:
        text = "Nothing that the panel rests on is on hold."
        return Gate(code, title, Outcome.CONFORMS, text, ("panel", facts.code))
    text = " ".join(
        f"{one.code} is on hold ({one.path.rstrip('.')}): {one.reason.rstrip('.')}."
        for one in facts.upstream
    )
    first = facts.upstream[0]
    return Gate(code, title, Outcome.DOES_NOT_CONFORM, text, (first.kind, first.code))


def _hold(facts: PanelFacts) -> Gate:
    about = ("panel", facts.code)
    if facts.open_holds:
        text = " ".join(f"On hold: {hold.reason}" for hold in facts.open_holds)
        who = "a supervisor who recorded none of the readings"
        return Gate("hold", "Holds", Outcome.DOES_NOT_CONFORM, text, about, who)
    return Gate("hold", "Holds", Outcome.CONFORMS, "No hold is open.", about)
