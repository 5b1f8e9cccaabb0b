"""Why a panel stands where it stands, as its pages say it."""

from collections.abc import Mapping, Sequence

from app.judging.verdict import Outcome
from app.panels.queries import Came
from app.release.rules.standing import DECIDED, Standing
from app.release.service import Case
from app.tracing.queries.dossier import Name


def replaced_by(children: Sequence[Came]) -> str | None:
    """What became of a panel that others stand for, as a sentence; None for every other panel."""
    if not children:
        return None
    codes = ", ".join(child.code for child in children)
    return f"It was replaced by {codes}, which carry on what it went through."


def why_it_stands(case: Case, names: Mapping[int, Name]) -> str:
    """Why the panel stands where it stands, in a sentence or two."""
    facts, standing = case.facts, case.standing
    if standing is Standing.READY:
        return (
            "Every gate conforms. An inspector who took none of the readings may release the panel."
        )
    if standing in {Standing.HELD, Standing.RECALLED} and facts.open_holds:
        told = [
            f"{names[hold.placed_by_id].full} put it on hold: {hold.reason.rstrip('.')}."
            for hold in facts.open_holds
        ]
        if standing is Standing.RECALLED:
            told.insert(0, "It was released, or is used as it is; nobody may use it for now.")
        return " ".join(told)
    if standing is Standing.HELD:
        failing = [gate for gate in case.gates if gate.outcome is Outcome.DOES_NOT_CONFORM]
        unproven = [gate for gate in case.gates if gate.outcome is Outcome.NOT_PROVEN]
        told = [gate.text for gate in (failing or unproven)[:2]]
        return f"Its evidence holds it. {' '.join(told)}"
    last = facts.last_decision
    if last is not None and standing in DECIDED:
        kind = last.kind.value.capitalize()
        return f"{kind}, signed by {last.printed_name}. {last.reason}".strip()
    missing = [gate.text for gate in case.gates if gate.outcome is Outcome.NOT_PROVEN]
    return f"Not proven yet. {missing[0]}" if missing else "Nothing is missing so far."
