"""A tester is taken out of use, and a second person lets it be used again."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.facts import row_facts
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.equipment import queries
from app.equipment.queries import Quarantine
from app.equipment.records import QuarantineLift, Tester, TesterQuarantine
from app.errors import Conflict, NotAllowed, refuse
from app.people import queries as people
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign

SHORTEST_REASON = 10


@dataclass(frozen=True, slots=True)
class FailedCheck:
    """The check that takes a tester out of use: its key, and whose session it was."""

    id: int
    operator_id: int


def quarantine_tester(
    session: Session,
    tester: Tester,
    *,
    reason: str,
    check: FailedCheck | None,
    by: Actor,
    at: datetime,
) -> TesterQuarantine:
    """Take a tester out of use and hand back the row; part of a deciding transaction.

    ``check`` names the failed check that brings it about; ``by`` is then who made it.

    Raises:
        Conflict: it is out of use already.
    """
    open_one = queries.quarantine_of(session, [tester.id]).get(tester.id)
    if open_one is not None:
        raise Conflict(
            f"{open_one.placed_by} has taken {tester.code} out of use already: {open_one.reason}"
        )
    row = TesterQuarantine(
        tester_id=tester.id,
        check_id=None if check is None else check.id,
        operator_id=None if check is None else check.operator_id,
        reason=reason,
        placed_by_id=by.id,
        placed_at=at,
    )
    session.add(row)
    about = ("tester", tester.code)
    append(session, Tag.TESTER_QUARANTINED, by=by, at=at, about=about, rows=[row], note=reason)
    return row


def place_quarantine(
    database: Database, *, tester: str, reason: str, by: Actor, at: datetime
) -> None:
    """Take a tester out of use for a reason that a person gives.

    Raises:
        NotAllowed, NotFound: who may, or no such tester.
        Refusal, Conflict: no reason, or it is out of use already.
    """
    require(by, Act.QUARANTINE_TESTER)
    reason = _said(reason, "Say what is wrong with it")
    with database.write() as session:
        found = queries.tester(session, tester)
        quarantine_tester(session, found, reason=reason, check=None, by=by, at=at)


def lift_quarantine(
    database: Database, *, tester: str, reason: str, password: str, by: Actor, at: datetime
) -> None:
    """Let a tester be used again, for what was found and done; signed.

    Raises:
        NotAllowed: neither supervisor nor engineer, or somebody concerned (``refuse_concerned``).
        NotFound, Refusal, Conflict: no such tester, no reason, or it is not out of use.
    """
    require(by, Act.LIFT_QUARANTINE)
    with database.read() as session:
        open_one = _open(session, queries.tester(session, tester))
        refuse_concerned(open_one, tester, by, people.names(session))
    reason = _said(reason, "Say what was found and what was done about it")
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        found = queries.tester(session, tester)
        open_one = _open(session, found)
        refuse_concerned(open_one, tester, by, people.names(session))
        placed = session.get_one(TesterQuarantine, open_one.id)
        signature = sign(
            session,
            proof,
            meaning=Meaning.QUARANTINE_LIFTED,
            content_sha256=paper_sha256({"quarantine": row_facts(placed), "reason": reason}),
            at=at,
        )
        lift = QuarantineLift(
            quarantine_id=placed.id,
            reason=reason,
            signature_id=signature.id,
            lifted_by_id=by.id,
            lifted_at=at,
        )
        session.add(lift)
        append(
            session,
            Tag.QUARANTINE_LIFTED,
            by=by,
            at=at,
            about=("tester", found.code),
            rows=[signature, lift],
            note=reason,
        )


def refuse_concerned(open_one: Quarantine, code: str, by: Actor, names: dict[int, str]) -> None:
    """Pass where this person has nothing to do with why the tester is out of use.

    Raises:
        NotAllowed: they placed the quarantine, made the failed check, or it was their session.
    """
    if by.is_person(open_one.placed_by_id):
        did = "made the check that failed" if open_one.check_id else f"took {code} out of use"
    elif by.is_person(open_one.operator_id):
        did = f"worked at {code} when its check failed"
    else:
        return
    raise NotAllowed(
        f"You {did}, {names[by.id]}; another supervisor or engineer lets it be used again."
    )


def _open(session: Session, tester: Tester) -> Quarantine:
    found = queries.quarantine_of(session, [tester.id]).get(tester.id)
    if found is None:
        raise Conflict(f"{tester.code} is not out of use; somebody may have lifted it meanwhile.")
    return found


def _said(reason: str, asks: str) -> str:
    reason = reason.strip()
    if len(reason) < SHORTEST_REASON:
        refuse("reason", f"{asks}, in at least {SHORTEST_REASON} characters.")
    return reason
