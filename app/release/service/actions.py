"""Corrective actions: the cause as found, who does what by when, and whether it helped."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, NotFound, refuse
from app.people import queries as people
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import Act, require
from app.release.queries import nonconformances as queries
from app.release.records import CorrectiveAction, CorrectiveActionCheck, Nonconformance


@dataclass(frozen=True, slots=True)
class Action:
    """A corrective action as a form sends it. ``owner`` is a user name."""

    cause: str
    action: str
    owner: str
    due_on: date


def enter_action(
    database: Database, code: str, wanted: Action, *, by: Actor, at: datetime, zone: tzinfo
) -> int:
    """Enter a corrective action, due by the end of its day; its key is handed back.

    It can be entered after the nonconformance is closed: finding a cause may take longer.

    Raises:
        NotAllowed: the person is no supervisor or engineer.
        NotFound: no such nonconformance.
        Refusal: a text is missing, nobody active has that user name, or the day has passed.
    """
    require(by, Act.ENTER_ACTION)
    cause, action = wanted.cause.strip(), wanted.action.strip()
    if not cause:
        refuse("cause", "Say what was found to be the cause, and how that was found.")
    if not action:
        refuse("action", "Say what is done so that it does not come back.")
    today = at.astimezone(zone).date()
    if wanted.due_on < today:
        refuse("due_on", f"{wanted.due_on} has passed; give a day from {today} on.")
    with database.write() as session:
        row = queries.nonconformance(session, code)
        owner = people.find_person(session, wanted.owner)
        if owner is None or not owner.active:
            refuse("owner", "Choose somebody who has an account and is active.")
        made = CorrectiveAction(
            nonconformance_id=row.id,
            cause=cause,
            action=action,
            owner_id=owner.id,
            due_on=wanted.due_on,
            entered_by_id=by.id,
            entered_at=at,
        )
        session.add(made)
        append(
            session,
            Tag.ACTION_ENTERED,
            by=by,
            at=at,
            about=("nonconformance", row.code),
            rows=[made],
            note=f"{owner.full_name}, by {wanted.due_on}: {action}",
        )
        return made.id


def check_action(
    database: Database,
    action_id: int,
    *,
    effective: bool,
    found: str,
    password: str,
    by: Actor,
    at: datetime,
) -> str:
    """Sign what an action achieved; hands back its nonconformance's code.

    Raises:
        NotAllowed: the person owns the action, or is no supervisor or engineer.
        NotFound: no such action.
        Conflict: it was checked already.
        Refusal: what was found is missing, or the password is wrong.
    """
    require(by, Act.CHECK_ACTION)
    found = " ".join(found.split())
    if not found:
        refuse("found", "Say what you looked at and what you found.")
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        action = session.get(CorrectiveAction, action_id)
        if action is None:
            raise NotFound("No such corrective action is on record.")
        if by.is_person(action.owner_id):
            raise NotAllowed("You own this action, so another person checks what it achieved.")
        done = select(CorrectiveActionCheck.id).where(CorrectiveActionCheck.action_id == action_id)
        if session.scalar(done) is not None:
            raise Conflict("What this action achieved was checked already. Enter another action.")
        code = session.get_one(Nonconformance, action.nonconformance_id).code
        content = {
            "nonconformance": code,
            "cause": action.cause,
            "action": action.action,
            "owner_id": action.owner_id,
            "due_on": action.due_on.isoformat(),
            "effective": effective,
            "found": found,
        }
        signature = signing.sign(
            session,
            proof,
            meaning=Meaning.EFFECT_CHECKED,
            content_sha256=paper_sha256(content),
            at=at,
        )
        checked = CorrectiveActionCheck(
            action_id=action.id,
            effective=effective,
            found=found,
            checked_by_id=by.id,
            checked_at=at,
            signature_id=signature.id,
        )
        session.add(checked)
        word = "effective" if effective else "not effective"
        append(
            session,
            Tag.ACTION_CHECKED,
            by=by,
            at=at,
            about=("nonconformance", code),
            rows=[signature, checked],
            note=f"{word}: {found}",
        )
        return code
