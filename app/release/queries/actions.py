"""What is read about corrective actions."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, aliased

from app.people.records import Meaning, Person, Signature
from app.release.records import CorrectiveAction, CorrectiveActionCheck, Nonconformance

_owner, _enterer = aliased(Person), aliased(Person)
_newer = aliased(CorrectiveAction)


@dataclass(frozen=True, slots=True)
class ActionLine:
    """A corrective action with its check; ``effective`` is None while nobody has checked it."""

    id: int
    nonconformance: str
    cause: str
    action: str
    owner_id: int
    owner: str
    due_on: date
    entered_by: str
    entered_at: datetime
    effective: bool | None
    found: str | None
    checked_by: str | None
    checked_at: datetime | None
    meaning: Meaning | None

    def is_overdue(self, day: date) -> bool:
        """Whether its last day has passed and nobody has checked it; the due day is included."""
        return self.effective is None and self.due_on < day


def _lines() -> Any:
    return (
        select(
            CorrectiveAction.id,
            Nonconformance.code,
            CorrectiveAction.cause,
            CorrectiveAction.action,
            CorrectiveAction.owner_id,
            _owner.full_name.label("owner"),
            CorrectiveAction.due_on,
            _enterer.full_name.label("entered_by"),
            CorrectiveAction.entered_at,
            CorrectiveActionCheck.effective,
            CorrectiveActionCheck.found,
            Signature.printed_name,
            CorrectiveActionCheck.checked_at,
            Signature.meaning,
        )
        .join(Nonconformance, Nonconformance.id == CorrectiveAction.nonconformance_id)
        .join(_owner, _owner.id == CorrectiveAction.owner_id)
        .join(_enterer, _enterer.id == CorrectiveAction.entered_by_id)
        .outerjoin(CorrectiveActionCheck, CorrectiveActionCheck.action_id == CorrectiveAction.id)
        .outerjoin(Signature, Signature.id == CorrectiveActionCheck.signature_id)
        .order_by(CorrectiveAction.due_on, CorrectiveAction.id)
    )


def _read(session: Session, wanted: Any) -> list[ActionLine]:
    return [ActionLine(*row) for row in session.execute(wanted)]


def actions_of(session: Session, nonconformance_id: int) -> list[ActionLine]:
    """The corrective actions of a nonconformance, by their due day."""
    wanted = _lines().where(CorrectiveAction.nonconformance_id == nonconformance_id)
    return _read(session, wanted)


def actions_overdue(session: Session, day: date) -> list[ActionLine]:
    """Actions whose due day is before ``day`` and whose effect nobody has checked; oldest first."""
    wanted = _lines().where(CorrectiveAction.due_on < day, CorrectiveActionCheck.id.is_(None))
    return _read(session, wanted)


def actions_without_effect(session: Session) -> list[ActionLine]:
    """Actions found not to be effective, where none was entered for the nonconformance since."""
    newer = exists().where(
        _newer.nonconformance_id == CorrectiveAction.nonconformance_id,
        _newer.id > CorrectiveAction.id,
    )
    wanted = _lines().where(CorrectiveActionCheck.effective.is_(False), ~newer)
    return _read(session, wanted)
