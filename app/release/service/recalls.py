"""Close a recall: the release of a recalled panel is confirmed or withdrawn, signed for each panel.

Several panels can be closed with one password; each has a reason, a signature and a decision of its
own, and either all of them are closed or none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from app.audit.actor import Actor
from app.database import Database
from app.errors import GateOpen, Refusal
from app.people import service as signing
from app.people.rights import Act, require
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import Standing
from app.release.service.cases import Case, decide, deciding, needed_reason, open_case
from app.release.service.decisions import why_not_by_hands

_BUT_HOLDS = frozenset({"hold"})


@dataclass(frozen=True, slots=True)
class Closing:
    """How the recall of one panel is closed: whether its release stands, why, and what was read."""

    code: str
    stands: bool
    reason: str
    seen: str


def close_recalls(
    database: Database,
    closings: Sequence[Closing],
    *,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Confirm or withdraw releases, each signed by itself; all of them or none.

    A confirmed release lifts the panel's holds; a withdrawn one leaves them open, and the panel
    held.

    Raises:
        Refusal: none is named, a reason is shorter than ten signs, a panel is not recalled, or the
            password is wrong; ``fields`` say which by ``reason:CODE``.
        GateOpen: a release to be confirmed has a gate besides the holds that does not conform.
        NotAllowed: the person is no supervisor, is not authorised, or had a hand in the readings.
        Conflict: somebody decided, or the evidence changed, since the page was opened.
    """
    require(by, Act.CLOSE_RECALL)
    if not closings:
        raise Refusal("Choose at least one panel, and say for each whether its release stands.")
    reasons = {one.code: _reason(one) for one in closings}
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with deciding(database, by=by, at=at, zone=zone) as session:
        for one in closings:
            panel, case = open_case(session, one.code, seen=one.seen, zone=zone)
            why_not = why_not_close(case, by) or why_not_confirm(case, stands=one.stands)
            if why_not is not None:
                raise why_not
            kind = DecisionKind.CONFIRMED if one.stands else DecisionKind.WITHDRAWN
            decide(session, panel, case, proof, kind=kind, reason=reasons[one.code], at=at)


def _reason(one: Closing) -> str:
    try:
        return needed_reason(one.reason)
    except Refusal as refusal:
        sentence = f"{one.code}: {refusal.sentence}"
        raise Refusal(sentence, fields={f"reason:{one.code}": sentence}) from None


def why_not_close(case: Case, by: Actor) -> Refusal | None:
    """What stands between this supervisor and closing the recall; None if nothing does."""
    if case.standing is not Standing.RECALLED:
        code = case.facts.code
        return Refusal(f"{code} stands at {case.standing.value}: there is no recall to close.")
    return why_not_by_hands(case, by, "another supervisor")


def why_not_confirm(case: Case, *, stands: bool = True) -> GateOpen | None:
    """What in the evidence keeps the release from being confirmed; None where it is withdrawn."""
    failing = case.failing(but=_BUT_HOLDS) if stands else []
    if not failing:
        return None
    told = " ".join(gate.text for gate in failing)
    return GateOpen(
        f"The release of {case.facts.code} cannot be confirmed, only withdrawn. {told}",
        fields={f"stands:{case.facts.code}": "Withdraw it, or supply what is missing first."},
    )
