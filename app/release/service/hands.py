"""Why a person may or may not decide on a panel: one line for each thing asked of them.

Source of the rules: judging rules, "Panels". People are compared, not accounts: another account of
the same person stands in the way as their own does.
"""

from collections.abc import Collection
from datetime import date

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.judging.verdict import Outcome
from app.people.rights import NEEDS, Act, has_role
from app.release.queries.decisions import authorised_until
from app.release.rules.facts import PanelFacts
from app.release.rules.gate import Gate
from app.release.rules.standing import ENDED, Standing

CLEAN_HANDS = frozenset({Act.RELEASE_PANEL, Act.CLOSE_RECALL})
"""Who does one of these had no hand in voids and corrections either."""


_ACTS = {
    Standing.HELD: (Act.LIFT_HOLD,),
    Standing.REWORK: (Act.LIFT_HOLD,),
    Standing.REPAIR: (Act.RELEASE_PANEL, Act.LIFT_HOLD),
    Standing.RECALLED: (Act.CLOSE_RECALL,),
}
"""What can be decided on a panel that stands there; on any other, its release."""


def hands_on(
    session: Session, facts: PanelFacts, standing: Standing, by: Actor
) -> tuple[Act | None, tuple[Gate, ...]]:
    """What the person's role could decide on the panel, and whether they may; None: nothing."""
    acts = _ACTS.get(standing, (Act.RELEASE_PANEL,))
    act = next((one for one in acts if has_role(by, one)), None)
    if act is None or standing in ENDED:
        return None, ()
    return act, hands(facts, by, act, until=authorised_until(session, by, act))


def hands(facts: PanelFacts, by: Actor, act: Act, *, until: date | None) -> tuple[Gate, ...]:
    """Role, authorisation and hands of the person, for releasing, disposing or closing a recall.

    ``until`` is the last day of their authorisation, None where they hold none that is good.
    """
    lines = [_role(by, act), _authorisation(by, act, until)]
    lines.append(_hand(by, "readings", facts.takers, "took readings", "took no reading"))
    if act in CLEAN_HANDS:
        for what, people in (("correction", facts.correctors), ("void", facts.voiders)):
            verb, of = "asked for or answered", f"{what} of a reading"
            lines.append(_hand(by, f"{what}s", people, f"{verb} a {of}", f"{verb} no {of}"))
    return tuple(lines)


def _role(by: Actor, act: Act) -> Gate:
    held = ", ".join(sorted(by.roles)) or "no role"
    outcome = Outcome.CONFORMS if has_role(by, act) else Outcome.DOES_NOT_CONFORM
    verb = "may" if has_role(by, act) else "may not"
    text = f"{by.full_name} ({held}) {verb} {act.value}."
    return Gate("hands.role", "Role", outcome, text, ("person", by.username))


def _authorisation(by: Actor, act: Act, until: date | None) -> Gate:
    task = NEEDS[act]
    if task.value in by.authorised and until is not None:
        outcome = Outcome.CONFORMS
        text = f"{by.full_name} is authorised for {task.value} until {until.isoformat()}."
    else:
        outcome = Outcome.NOT_PROVEN
        text = f"{by.full_name} holds no authorisation for {task.value} that is good today."
    who = "a supervisor or the administrator, on training and eye-test records"
    about = ("person", by.username)
    return Gate("hands.authorisation", "Authorisation", outcome, text, about, who)


def _hand(by: Actor, code: str, people: Collection[int], did: str, did_not: str) -> Gate:
    had = by.is_among(people)
    outcome = Outcome.DOES_NOT_CONFORM if had else Outcome.CONFORMS
    text = f"{by.full_name} {did if had else did_not} that the panel rests on."
    return Gate(f"hands.{code}", code.capitalize(), outcome, text, ("person", by.username))
