"""Machines' tokens: what was issued, and whose one is."""

import hmac
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.people.queries.accounts import token_digest
from app.people.records import MachineToken, MachineTokenEnd, Scope


@dataclass(frozen=True, slots=True)
class MachineTokenLine:
    """A token as it was issued, and how it ended; never the token itself."""

    id: int
    name: str
    scope: Scope
    last_day: date
    issued_by_id: int
    issued_at: datetime
    ended_by_id: int | None = None
    ended_at: datetime | None = None
    end_reason: str | None = None

    def is_good(self, day: date) -> bool:
        """Whether it opens anything on that shop's day."""
        return self.ended_at is None and day <= self.last_day


def machine_tokens(session: Session) -> list[MachineTokenLine]:
    """Every token that was issued, the newest first."""
    rows = session.execute(_TOKENS.order_by(MachineToken.id.desc()))
    return [_line(row.MachineToken, row.MachineTokenEnd) for row in rows]


def machine_of(session: Session, token: str, *, today: date) -> MachineTokenLine | None:
    """The machine that holds this token; None where it opens nothing today.

    It is found by its digest, from which nobody can work out a token, and the digests are compared
    in a time that does not depend on where they differ.
    """
    digest = token_digest(token)
    row = session.execute(_TOKENS.where(MachineToken.token_sha256 == digest)).one_or_none()
    if row is None or not hmac.compare_digest(row.MachineToken.token_sha256, digest):
        return None
    found = _line(row.MachineToken, row.MachineTokenEnd)
    return found if found.is_good(today) else None


_TOKENS = select(MachineToken, MachineTokenEnd).outerjoin(
    MachineTokenEnd, MachineTokenEnd.token_id == MachineToken.id
)


def _line(token: MachineToken, end: MachineTokenEnd | None) -> MachineTokenLine:
    ended = () if end is None else (end.ended_by_id, end.ended_at, end.reason)
    return MachineTokenLine(
        token.id,
        token.name,
        token.scope,
        token.last_day,
        token.issued_by_id,
        token.issued_at,
        *ended,
    )
