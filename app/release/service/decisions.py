"""Decisions on panels: hold, release, and the dispositions that lift a hold.

Each is signed by a person who proves themselves again, keeps the evidence as it stood, and stands
only if nobody decided, and nothing in the evidence moved, since the person read it.
"""

from datetime import datetime, tzinfo

from app.audit.actor import Actor
from app.database import Database
from app.errors import GateOpen, NotAllowed, Refusal
from app.judging.verdict import Verdict
from app.people import service as signing
from app.people.rights import Act, require
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import ENDED, Standing
from app.release.service.cases import (
    SHORTEST_REASON,
    Case,
    case_of,
    decide,
    deciding,
    is_intact,
    needed_reason,
    open_case,
)
from app.release.service.proposals import approved_proposal

__all__ = [
    "DISPOSITIONS",
    "SHORTEST_REASON",
    "Case",
    "case_of",
    "is_intact",
    "lift_hold",
    "release_panel",
    "why_not_lift",
    "why_not_release",
]

_NONE_OF_THEM = (DecisionKind.RELEASED, DecisionKind.CONFIRMED, DecisionKind.WITHDRAWN)
DISPOSITIONS = tuple(kind for kind in DecisionKind if kind not in _NONE_OF_THEM)
"""What a supervisor can say of a held panel."""


def release_panel(
    database: Database,
    code: str,
    *,
    seen: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Release a panel whose every gate conforms, signed by an inspector who took no reading of it.

    Raises:
        Refusal: a gate does not conform (the sentence names them), or the password is wrong.
        NotAllowed: the person is no inspector, or had a hand in the readings.
        Conflict: somebody decided, or the evidence changed, since the page was opened.
    """
    require(by, Act.RELEASE_PANEL)
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with deciding(database, by=by, at=at, zone=zone) as session:
        panel, case = open_case(session, code, seen=seen, zone=zone)
        why_not = why_not_release(case, by)
        if why_not is not None:
            raise why_not
        decide(session, panel, case, proof, kind=DecisionKind.RELEASED, reason="", at=at)


def why_not_release(case: Case, by: Actor) -> Refusal | None:
    """What stands between this inspector and a release; None if nothing does."""
    code = case.facts.code
    if case.standing in ENDED or (
        case.standing not in {Standing.READY, Standing.REPAIR}
        and case.recommendation is Verdict.CONFORMS
    ):
        return Refusal(f"{code} stands at {case.standing.value}: there is nothing to release.")
    if case.recommendation is not Verdict.CONFORMS:
        told = " ".join(gate.text for gate in case.failing())
        return GateOpen(f"{code} cannot be released. {told}")
    return why_not_by_hands(case, by, "another inspector")


def why_not_by_hands(case: Case, by: Actor, who: str) -> NotAllowed | None:
    """What the person did that keeps them from deciding; ``who`` decides in their place."""
    code = case.facts.code
    told = f"that {code} rests on, so {who} decides on it."
    if by.is_among(case.facts.takers):
        return NotAllowed(f"You took readings {told}")
    if by.is_among(case.facts.correctors):
        return NotAllowed(f"You asked for or answered a correction of readings {told}")
    if by.is_among(case.facts.voiders):
        return NotAllowed(f"You asked for or answered a void of readings {told}")
    return None


def lift_hold(
    database: Database,
    code: str,
    *,
    disposition: DecisionKind,
    reason: str,
    seen: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> None:
    """Dispose of a held panel, whether a person or its evidence holds it; lifts all open holds.

    Raises:
        Refusal: the panel is not held, the reason is shorter than ten signs, the disposition does
            not fit the evidence or, for a departure, has no approved proposal, or the password is
            wrong.
        NotAllowed: the person is no supervisor, or recorded readings the panel rests on.
        Conflict: somebody decided, or the evidence changed, since the page was opened.
    """
    require(by, Act.LIFT_HOLD)
    reason = needed_reason(reason)
    if disposition not in DISPOSITIONS:
        sentence = "Choose a disposition; a release is an inspector's decision."
        raise Refusal(sentence, fields={"disposition": sentence})
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with deciding(database, by=by, at=at, zone=zone) as session:
        panel, case = open_case(session, code, seen=seen, zone=zone)
        why_not = why_not_lift(case, by)
        if why_not is not None:
            raise why_not
        _check_disposition(case, disposition, by)
        carries_out = approved_proposal(session, panel.id, disposition, case.facts)
        decide(
            session,
            panel,
            case,
            proof,
            kind=disposition,
            reason=reason,
            at=at,
            carries_out=carries_out,
        )


def why_not_lift(case: Case, by: Actor) -> Refusal | None:
    """What stands between this supervisor and a disposition; None if nothing does."""
    code = case.facts.code
    if case.standing is Standing.RECALLED:
        return Refusal(
            f"{code} was decided on and recalled: its release is confirmed or withdrawn first."
        )
    if case.standing not in {Standing.HELD, Standing.REWORK, Standing.REPAIR}:
        return Refusal(f"{code} stands at {case.standing.value}: there is no hold to lift.")
    if by.is_among(case.facts.takers):
        return NotAllowed(
            f"You recorded readings that {code} rests on, so another supervisor disposes of it."
        )
    return None


def _check_disposition(case: Case, disposition: DecisionKind, by: Actor) -> None:
    """*No departure found* needs every gate but the panel's holds; the others need none.

    It closes the panel's nonconformances too, so these do not stand in its way; whoever opened one
    does not close it so.
    """
    if disposition is not DecisionKind.NO_DEPARTURE:
        return
    own = [one.code for one in case.facts.nonconformances if by.is_person(one.opened_by_id)]
    if own:
        raise NotAllowed(
            f"You opened {own[0]}, so another supervisor finds that there is no departure."
        )
    failing = case.failing(but=frozenset({"hold", "nonconformances"}))
    if failing:
        told = " ".join(gate.text for gate in failing)
        sentence = f"There is a departure, so it cannot be said that none was found. {told}"
        raise Refusal(sentence, fields={"disposition": "Choose another disposition."})
