"""What is said of a printed dossier, from its check line. Nothing is kept of having been asked."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.panels.queries import came_of
from app.people import queries as people
from app.release.queries.decisions import kept_evidence
from app.release.queries.panel_facts import panel_facts, panel_id
from app.release.rules.check_line import KeyedLine, decision_of
from app.release.rules.facts import DecisionFacts
from app.release.rules.paper import Said, Told, foreign, told_of
from app.release.rules.signed import SignatureStanding, rests_on_evidence, signature_standing
from app.release.rules.snapshot import differences
from app.release.rules.standing import Standing
from app.release.service.cases import Case, case_of, is_intact


@dataclass(frozen=True, slots=True)
class Borne:
    """The decision that a paper bears, its signature, and the gates as they were signed."""

    made: DecisionFacts
    signature: SignatureStanding
    gates: tuple[dict[str, str | None], ...]
    """As the evidence list of pages shows them; what they rested on then has no address."""


@dataclass(frozen=True, slots=True)
class PaperAnswer:
    """What is said of a paper: the answer, where the panel stands now, and what the paper bears.

    ``borne`` is None where no decision has the line.
    """

    panel: str
    standing: Standing
    told: Told
    borne: Borne | None


def ask_paper(
    session: Session, keyed: KeyedLine, *, zone: tzinfo, moment: Callable[[datetime], str]
) -> PaperAnswer:
    """Whether the paper of that line is right, overtaken, or none of this record.

    ``moment`` says a time as pages do.

    Raises:
        NotFound: there is no panel of that identity.
    """
    key = panel_id(session, keyed.panel)
    facts = panel_facts(session, [key], zone=zone, in_full=True)[key]
    case = case_of(facts)
    made = decision_of(facts, keyed)
    if made is None:
        return PaperAnswer(facts.code, case.standing, foreign(facts), None)
    then = kept_evidence(session, key, made.number)
    signature = _signature(case, made, then)
    told = told_of(
        facts,
        made,
        signature=signature,
        standing=case.standing,
        replaced=_replaced(session, key, moment),
        said=Said(people.names(session), moment),
    )
    gates = tuple({**gate, "href": None, "who": None} for gate in then["gates"])
    borne = Borne(made, signature, gates)
    return PaperAnswer(facts.code, case.standing, told, borne)


def _signature(case: Case, made: DecisionFacts, then: dict[str, Any]) -> SignatureStanding:
    facts, number = case.facts, made.number
    changed = differences(then, case.gates) if rests_on_evidence(facts, number) else []
    intact = is_intact(facts, number)
    return signature_standing(facts, number, is_intact=intact, changed=changed)


def _replaced(session: Session, key: int, moment: Callable[[datetime], str]) -> list[str]:
    """A clause on the panels that stand for this one now; none where it stands for itself."""
    children = came_of(session, key)
    if not children:
        return []
    codes, first = ", ".join(child.code for child in children), children[0]
    return [f"it was replaced by {codes}, signed by {first.by} on {moment(first.at)}"]
