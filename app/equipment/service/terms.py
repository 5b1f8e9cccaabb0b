"""What every entry of a report shares: its days, its file, and how it is refused."""

import hashlib
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from app.database import Base
from app.equipment.records import ReportFile
from app.equipment.rules.reports import SentFile, media_type_of
from app.errors import refuse


@dataclass(frozen=True, slots=True)
class Term:
    """From when to when a paper holds, both days included.

    ``due_on`` None: until the last day that the pyrometry procedure comes to.
    """

    done_on: date
    due_on: date | None = None


def check_done(done_on: date, at: datetime) -> None:
    """Refuse a day that is still to come."""
    if done_on > at.date():
        refuse("done_on", f"{done_on} is still to come; give the day it was done.")


def last_day(term: Term, counted: date | None, *, why: str) -> date:
    """The last day a paper holds: as typed, never later than ``counted``; else that day.

    ``why`` says where ``counted`` comes from.

    Raises:
        Refusal: none is typed and none is counted, or the typed one cannot be.
    """
    if term.due_on is None:
        if counted is None:
            refuse("due_on", "Give the last day it holds: no verified procedure states how long.")
        return counted
    if term.due_on < term.done_on:
        refuse("due_on", f"{term.due_on} is before {term.done_on}; give the last day it holds.")
    if counted is not None and term.due_on > counted:
        refuse("due_on", f"{term.due_on} is too late: {why}, so it holds until {counted} at most.")
    return term.due_on


def until_words(done_on: date, due_on: date) -> str:
    """The two days as the trail says them."""
    return f"done {done_on}, in date until {due_on}"


def keep_file(
    session: Session, sent: SentFile | None, *, at: datetime
) -> tuple[str | None, list[Base]]:
    """The SHA-256 of a report's file, and the new row for the trail where it was not yet kept.

    Raises:
        Refusal: the file is empty, too large, or no PDF, JPEG or PNG.
    """
    if sent is None:
        return None, []
    media_type = media_type_of(sent)
    digest = hashlib.sha256(sent.content).hexdigest()
    if session.get(ReportFile, digest) is not None:
        return digest, []
    row = ReportFile(
        sha256=digest,
        file_name=sent.name[:200],
        media_type=media_type,
        size_bytes=len(sent.content),
        content=sent.content,
        stored_at=at,
    )
    session.add(row)
    session.flush()
    return digest, [row]
