"""Authorisations: who may do what until when, and what was signed under them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session, aliased

from app.people.records import (
    Authorisation,
    AuthorisationEnd,
    Meaning,
    Person,
    Signature,
    Task,
)

RUNS_OUT_SOON = timedelta(days=60)
"""Shown first from then on: training and an eye test take weeks to arrange (common practice)."""

SIGNED_UNDER: dict[Meaning, Task] = {
    Meaning.RELEASED: Task.RELEASE,
    Meaning.DISPOSED: Task.DISPOSITION,
    Meaning.CONFIRMED_RELEASE: Task.DISPOSITION,
    Meaning.WITHDREW_RELEASE: Task.DISPOSITION,
    Meaning.VERIFIED_TABLE: Task.VERIFICATION,
    Meaning.VERIFIED_CYCLE: Task.VERIFICATION,
    Meaning.VERIFIED_PROCEDURE: Task.VERIFICATION,
    Meaning.VERIFIED_MAPPING: Task.VERIFICATION,
    Meaning.VERIFIED_CORRECTION_TABLE: Task.VERIFICATION,
    Meaning.REVIEWED_REPORT: Task.REPORT_REVIEW,
}
"""The task each of these signatures asked an authorisation for.

An answer to a proposed disposition is given for one of several capacities, which it states itself.
"""


@dataclass(frozen=True, slots=True)
class AuthorisationLine:
    """One authorisation with its end, if it was taken back. Days are the shop's, both included."""

    id: int
    person_id: int
    task: Task
    from_day: date
    last_day: date
    grounds: str
    granted_by: str
    granted_at: datetime
    ended_by: str | None = None
    ended_at: datetime | None = None
    end_reason: str | None = None

    def is_good(self, day: date) -> bool:
        """Whether it is good on that day, as far as is known now."""
        return self.ended_at is None and self.from_day <= day <= self.last_day

    def runs_out_soon(self, day: date) -> bool:
        """Whether it is good on that day and not for much longer."""
        return self.is_good(day) and self.last_day - day <= RUNS_OUT_SOON

    def standing(self, day: date) -> str:
        """Where it stands on that day, in words."""
        if self.ended_at is not None:
            return "taken back"
        if day > self.last_day:
            return "run out"
        if day < self.from_day:
            return "not yet"
        return "runs out soon" if self.runs_out_soon(day) else "good"


@dataclass(frozen=True, slots=True)
class SignatureLine:
    """A signature somebody made, and what has become of the authorisation it was made under.

    ``under`` is None where none was asked for, or none was on record then.
    """

    signed_at: datetime
    printed_name: str
    meaning: Meaning
    under: AuthorisationLine | None

    @property
    def ended_later(self) -> bool:
        """Whether the authorisation was taken back after the signature, which keeps its meaning."""
        return self.under is not None and self.under.ended_at is not None


def authorisations(session: Session, person_id: int) -> list[AuthorisationLine]:
    """A person's authorisations, the newest first; the ended and those that ran out included."""
    return _lines(session, person_id)


def authorisations_of_all(session: Session) -> list[AuthorisationLine]:
    """Everybody's, the newest first."""
    return _lines(session, None)


def _lines(session: Session, person_id: int | None) -> list[AuthorisationLine]:
    ender = aliased(Person)
    asked = (
        select(
            Authorisation,
            Person.full_name,
            ender.full_name.label("ender"),
            AuthorisationEnd.ended_at,
            AuthorisationEnd.reason,
        )
        .join(Person, Person.id == Authorisation.granted_by_id)
        .outerjoin(AuthorisationEnd, AuthorisationEnd.authorisation_id == Authorisation.id)
        .outerjoin(ender, ender.id == AuthorisationEnd.ended_by_id)
        .order_by(Authorisation.id.desc())
    )
    if person_id is not None:
        asked = asked.where(Authorisation.person_id == person_id)
    return [
        AuthorisationLine(
            row.Authorisation.id,
            row.Authorisation.person_id,
            row.Authorisation.task,
            row.Authorisation.from_day,
            row.Authorisation.last_day,
            row.Authorisation.grounds,
            row.full_name,
            row.Authorisation.granted_at,
            row.ender,
            row.ended_at,
            row.reason,
        )
        for row in session.execute(asked)
    ]


def good_until(lines: Sequence[AuthorisationLine], today: date) -> dict[tuple[int, Task], date]:
    """By person and task, until when those authorised today are; a renewal without gap included."""
    found: dict[tuple[int, Task], date] = {}
    for one in sorted(lines, key=lambda line: line.from_day):
        key = (one.person_id, one.task)
        goes_on = key in found and one.from_day <= found[key] + timedelta(days=1)
        if one.ended_at is None and (one.is_good(today) or goes_on):
            found[key] = max(one.last_day, found.get(key, one.last_day))
    return found


def good_from(lines: Sequence[AuthorisationLine], today: date) -> dict[tuple[int, Task], date]:
    """The first day of the next authorisation that begins after today, by person and task."""
    found: dict[tuple[int, Task], date] = {}
    for one in lines:
        if one.ended_at is None and one.from_day > today:
            key = (one.person_id, one.task)
            found[key] = min(one.from_day, found.get(key, one.from_day))
    return found


def authorisation_on(
    session: Session, person_id: int, task: Task, day: date, *, at: datetime | None = None
) -> int | None:
    """The id of the person's authorisation for the task that is good on that shop's day, or None.

    One that was taken back is good on no day, unless ``at`` is given: then one that was taken back
    after that moment, and granted before it, still counts, as it does for what was done under it.
    Of several the one granted last.
    """
    standing: ColumnElement[bool] = AuthorisationEnd.id.is_(None)
    if at is not None:
        standing = or_(standing, AuthorisationEnd.ended_at > at) & (Authorisation.granted_at <= at)
    return session.scalars(
        select(Authorisation.id)
        .outerjoin(AuthorisationEnd, AuthorisationEnd.authorisation_id == Authorisation.id)
        .where(
            Authorisation.person_id == person_id,
            Authorisation.task == task,
            Authorisation.from_day <= day,
            Authorisation.last_day >= day,
            standing,
        )
        .order_by(Authorisation.id.desc())
        .limit(1)
    ).one_or_none()


def signatures_by(
    session: Session, person_id: int, *, zone: tzinfo, most: int = 50
) -> list[SignatureLine]:
    """The newest ``most`` signatures of an account, each with what it was signed under."""
    held = authorisations(session, person_id)
    made = session.scalars(
        select(Signature)
        .where(Signature.person_id == person_id)
        .order_by(Signature.id.desc())
        .limit(most)
    )
    return [
        SignatureLine(one.signed_at, one.printed_name, one.meaning, _under(held, one, zone))
        for one in made
    ]


def _under(
    held: Sequence[AuthorisationLine], made: Signature, zone: tzinfo
) -> AuthorisationLine | None:
    """The authorisation that stood when the signature was made: the one granted last till then."""
    task, day = SIGNED_UNDER.get(made.meaning), made.signed_at.astimezone(zone).date()
    return next(
        (
            one
            for one in held
            if one.task is task
            and one.granted_at <= made.signed_at
            and one.from_day <= day <= one.last_day
            and (one.ended_at is None or one.ended_at > made.signed_at)
        ),
        None,
    )
