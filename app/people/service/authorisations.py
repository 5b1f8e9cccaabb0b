"""Authorisations: granted on stated grounds until a day, and taken back."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.people import queries
from app.people.records import Authorisation, AuthorisationEnd, Meaning, Person, Task
from app.people.rights import Act, require
from app.people.service.signatures import re_authenticate, sign

LONGEST_YEARS = 5
"""Whoever tests is examined anew at the latest after five years (EN 4179 and NAS 410, from memory).
Shorter intervals, such as of an eye test, are for the shop's own procedure: state the last day."""
SHORTEST_GROUNDS = 10


@dataclass(frozen=True, slots=True)
class Grant:
    """An authorisation as it is asked for. Days are the shop's, both included.

    ``letter`` names the design organisation's letter; only its task asks for one.
    """

    username: str
    task: Task
    from_day: date
    last_day: date
    grounds: str
    letter: str = ""

    @property
    def stated(self) -> str:
        """The grounds as they are kept, the letter among them."""
        grounds, letter = " ".join(self.grounds.split()), " ".join(self.letter.split())
        return f"{grounds}; letter of the design organisation: {letter}" if letter else grounds


def grant_authorisation(
    database: Database, grant: Grant, *, password: str, by: Actor, at: datetime, today: date
) -> int:
    """Authorise somebody for a task, signed; hands back the authorisation's id.

    Raises:
        NotFound: there is no such account.
        NotAllowed: neither supervisor nor administrator, or for themselves.
        Refusal: a day or the grounds cannot be, the account is closed, or the password is wrong.
    """
    require(by, Act.AUTHORISE)
    _refuse_grant(grant, today)
    with database.read() as session:
        _holder(session, grant.username, by)
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        person = _holder(session, grant.username, by)
        content = {
            "person": person.username,
            "task": grant.task.value,
            "from_day": grant.from_day.isoformat(),
            "last_day": grant.last_day.isoformat(),
            "grounds": grant.stated,
        }
        signature = sign(
            session,
            proof,
            meaning=Meaning.AUTHORISED,
            content_sha256=paper_sha256(content),
            at=at,
        )
        row = Authorisation(
            person_id=person.id,
            task=grant.task,
            from_day=grant.from_day,
            last_day=grant.last_day,
            grounds=grant.stated,
            granted_by_id=by.id,
            granted_at=at,
            signature_id=signature.id,
        )
        session.add(row)
        append(
            session,
            Tag.AUTHORISATION_GRANTED,
            by=by,
            at=at,
            about=("person", person.username),
            rows=[signature, row],
            note=f"{grant.task.value}, {grant.from_day} to {grant.last_day}: {grant.stated}",
        )
        return row.id


def last_day_at_most(today: date) -> date:
    """The latest last day that is taken: the same day five years on."""
    try:
        return today.replace(year=today.year + LONGEST_YEARS)
    except ValueError:  # 29 February
        return date(today.year + LONGEST_YEARS, 3, 1)


def _refuse_grant(grant: Grant, today: date) -> None:
    wrong: dict[str, str] = {}
    latest = last_day_at_most(today)
    if grant.from_day < today:
        wrong["from_day"] = f"An authorisation begins today ({today}) or later, never in the past."
    if grant.last_day < max(grant.from_day, today):
        wrong["last_day"] = "The last day is the first day or later, and not in the past."
    elif grant.last_day > latest:
        wrong["last_day"] = (
            f"At most {LONGEST_YEARS} years ahead, until {latest}: by then training is due again."
        )
    if len(" ".join(grant.grounds.split())) < SHORTEST_GROUNDS:
        wrong["grounds"] = (
            "Name the training record and, where the task needs eyes, the eye test, by number and "
            "date."
        )
    if grant.task is Task.DESIGN and not grant.letter.strip():
        wrong["letter"] = (
            "Name the design organisation's letter that lets this person decide on its behalf, by "
            "number and date."
        )
    if wrong:
        raise Refusal("Nothing was recorded yet: " + " ".join(wrong.values()), fields=wrong)


def _holder(session: Session, username: str, by: Actor) -> Person:
    person = queries.person(session, username)
    _refuse_oneself(person.id, by)
    if not person.active:
        sentence = f"The account of {person.full_name} is closed; open it again first."
        raise Refusal(sentence, fields={"username": sentence})
    return person


def _refuse_oneself(person_id: int, by: Actor) -> None:
    if by.is_person(person_id):
        raise NotAllowed(
            "Nobody decides about their own authorisation; another supervisor or administrator "
            "has to."
        )


def end_authorisation(
    database: Database, authorisation_id: int, *, reason: str, by: Actor, at: datetime, today: date
) -> str:
    """Take an authorisation back at once; hands back whose it was.

    What was signed under it stands, and is shown as signed under one that ended later.

    Raises:
        NotFound: no such authorisation.
        NotAllowed: neither supervisor nor administrator, or their own.
        Conflict: it was taken back before, or has run out.
        Refusal: no reason.
    """
    require(by, Act.AUTHORISE)
    reason = " ".join(reason.split())
    if len(reason) < SHORTEST_GROUNDS:
        sentence = f"Say why it is taken back, in {SHORTEST_GROUNDS} characters or more."
        raise Refusal(sentence, fields={"reason": sentence})
    with database.write() as session:
        row = session.get(Authorisation, authorisation_id)
        if row is None:
            raise NotFound("No such authorisation was granted. Go back and load the page again.")
        person = session.get_one(Person, row.person_id)
        _refuse_oneself(person.id, by)
        known = select(AuthorisationEnd.id).where(AuthorisationEnd.authorisation_id == row.id)
        if session.scalars(known).first() is not None:
            raise Conflict("Somebody has taken this authorisation back already.")
        if row.last_day < today:
            raise Conflict(f"This authorisation ran out on {row.last_day}; nothing is left of it.")
        end = AuthorisationEnd(
            authorisation_id=row.id, reason=reason, ended_by_id=by.id, ended_at=at
        )
        session.add(end)
        append(
            session,
            Tag.AUTHORISATION_ENDED,
            by=by,
            at=at,
            about=("person", person.username),
            rows=[end],
            note=f"{row.task.value}: {reason}",
        )
        return person.full_name
