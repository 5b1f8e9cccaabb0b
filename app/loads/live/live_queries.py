"""What is read about loggers' tokens and about records that still grow."""

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.equipment.records import Furnace
from app.loads.live.live_records import (
    LiveAnchor,
    LiveClosing,
    LiveRecord,
    LiveRows,
    LoggerToken,
    TokenRevocation,
)
from app.loads.live.live_rows import chain_next, chain_start
from app.loads.records import FurnaceRecord, Load
from app.people.queries import token_digest
from app.people.records import Person

_READ_AT_ONCE = 300


@dataclass(frozen=True, slots=True)
class Logger:
    """A logger whose token is in force. ``answers_id`` is the person who answers for it."""

    token_id: int
    name: str
    furnace_id: int
    furnace: str
    answers_id: int

    @property
    def on_trail(self) -> str:
        """As the trail names who acts."""
        return f"logger {self.name}"[:64]


def logger_of(session: Session, token: str, *, at: datetime) -> Logger | None:
    """The logger that holds the token, if it is in force at ``at``; its end is not included."""
    revoked = select(TokenRevocation.id).where(TokenRevocation.token_id == LoggerToken.id).exists()
    row = session.execute(
        select(
            LoggerToken.id,
            LoggerToken.name,
            LoggerToken.furnace_id,
            Furnace.code,
            LoggerToken.answers_id,
        )
        .join(Furnace, Furnace.id == LoggerToken.furnace_id)
        .where(LoggerToken.token_sha256 == token_digest(token))
        .where(LoggerToken.ends_at > at, ~revoked)
    ).one_or_none()
    return None if row is None else Logger(*row)


@dataclass(frozen=True, slots=True)
class TokenLine:
    """One token for the list; never the token itself."""

    id: int
    name: str
    furnace: str
    issued_by_id: int
    issued_at: datetime
    ends_at: datetime
    answers_id: int
    revoked_at: datetime | None
    revoked_by_id: int | None
    reason: str | None


def token_lines(session: Session) -> list[TokenLine]:
    """Every token ever issued, newest first; one query."""
    # More columns than the typed select knows.
    rows: Any = session.execute(
        select(
            LoggerToken.id,
            LoggerToken.name,
            Furnace.code,
            LoggerToken.issued_by_id,
            LoggerToken.issued_at,
            LoggerToken.ends_at,
            LoggerToken.answers_id,
            TokenRevocation.revoked_at,
            TokenRevocation.revoked_by_id,
            TokenRevocation.reason,
        )
        .join(Furnace, Furnace.id == LoggerToken.furnace_id)
        .outerjoin(TokenRevocation, TokenRevocation.token_id == LoggerToken.id)
        .order_by(LoggerToken.id.desc())
    )
    return [TokenLine(*row) for row in rows]


def furnace_choices(session: Session) -> list[tuple[str, str]]:
    """Every furnace's identity and what it is called, by identity."""
    rows = session.execute(select(Furnace.code, Furnace.name).order_by(Furnace.code))
    return [(row.code, f"{row.code}, {row.name}") for row in rows]


def actor_of(session: Session, person_id: int) -> Actor | None:
    """The person as one who acts; None where the account is closed."""
    person = session.get(Person, person_id)
    if person is None or not person.active:
        return None
    return Actor(person.id, person.username, person.full_name, frozenset(person.roles))


def live_of(session: Session, load_id: int) -> LiveRecord | None:
    """The load's growing record, closed or not; None where no logger opened one."""
    return session.scalars(select(LiveRecord).where(LiveRecord.load_id == load_id)).one_or_none()


def closing_of(session: Session, live_id: int) -> LiveClosing | None:
    """What ended the growing record; None while it grows."""
    return session.scalars(select(LiveClosing).where(LiveClosing.live_id == live_id)).one_or_none()


@dataclass(frozen=True, slots=True)
class Tail:
    """How far a growing record has come. ``last_line`` is None before the first row."""

    rows: int
    chain: str
    last_line: str | None
    received_at: datetime | None


def tail_of(session: Session, live: LiveRecord) -> Tail:
    """The growing record's number of rows, the digest over them, and the last of them."""
    last = session.scalars(
        select(LiveRows)
        .where(LiveRows.live_id == live.id)
        .order_by(LiveRows.first_row.desc())
        .limit(1)
    ).one_or_none()
    if last is None:
        return Tail(0, chain_start(live.layout), None, None)
    lines = text_of(last.content).split("\n")
    return Tail(last.first_row + last.rows, last.chain_sha256, lines[-1], last.received_at)


def row_count(session: Session, live_id: int) -> int:
    """How many rows have come; cheaper than the whole tail."""
    most = select(func.max(LiveRows.first_row + LiveRows.rows)).where(LiveRows.live_id == live_id)
    return session.scalars(most).one() or 0


def packed(text: str) -> bytes:
    """A batch's lines as they are kept."""
    return zlib.compress(text.encode(), level=6)


def text_of(content: bytes) -> str:
    """A batch's lines, parted by line feeds."""
    return zlib.decompress(content).decode()


def batches(session: Session, live_id: int, *, first: int = 0) -> Iterator[LiveRows]:
    """The batches that hold row ``first`` and all after it, in their order."""
    query = (
        select(LiveRows)
        .where(LiveRows.live_id == live_id, LiveRows.first_row + LiveRows.rows > first)
        .order_by(LiveRows.first_row)
        .limit(_READ_AT_ONCE)
    )
    last = -1
    while True:
        found = session.scalars(query.where(LiveRows.first_row > last)).all()
        yield from found
        if len(found) < _READ_AT_ONCE:
            return
        last = found[-1].first_row
        for row in found:
            session.expunge(row)


def lines_from(session: Session, live_id: int, *, first: int, most: int) -> list[str]:
    """The kept lines of rows ``first`` and after it, at most ``most``."""
    found: list[str] = []
    for batch in batches(session, live_id, first=first):
        found += text_of(batch.content).split("\n")[max(0, first - batch.first_row) :]
        if len(found) >= most:
            break
    return found[:most]


def last_anchored_at(session: Session, live_id: int) -> datetime | None:
    """When the chain was last put on the trail; None where it was not since the opening."""
    return session.scalars(
        select(LiveAnchor.anchored_at)
        .where(LiveAnchor.live_id == live_id)
        .order_by(LiveAnchor.id.desc())
        .limit(1)
    ).one_or_none()


@dataclass(frozen=True, slots=True)
class Whole:
    """All rows of a growing record. ``problems`` say where they are not as they came."""

    text: str
    rows: int
    chain: str
    problems: tuple[str, ...]


def whole_of(session: Session, live: LiveRecord, *, keep: bool = True) -> Whole:
    """Every row, the chain computed anew and compared with each batch and each anchor.

    Without ``keep`` the text is left out.
    """
    anchors = {
        anchor.rows: anchor.chain_sha256
        for anchor in session.scalars(select(LiveAnchor).where(LiveAnchor.live_id == live.id))
    }
    chain, rows, texts = chain_start(live.layout), 0, []
    problems: list[str] = []
    if anchors.pop(0, chain) != chain:
        problems.append("its opening is not the one on the trail")
    for batch in batches(session, live.id):
        try:
            text = text_of(batch.content)
        except (zlib.error, UnicodeDecodeError):
            text = ""
        chain = chain_next(chain, text)
        last = batch.first_row + batch.rows - 1
        if batch.first_row != rows or text.count("\n") + 1 != batch.rows:
            problems.append(f"rows are missing or doubled from row {rows} on")
        elif chain != batch.chain_sha256:
            problems.append(f"rows {batch.first_row} to {last} are not as they came")
        rows = last + 1
        if anchors.pop(rows, chain) != chain:
            problems.append(f"the first {rows} rows are not those whose digest is on the trail")
        if problems:
            break  # The chain cannot be followed past a break.
        texts.append(text if keep else "")
    if not problems and anchors:
        problems.append(f"{max(anchors)} rows were there once, and {rows} are left")
    return Whole("\n".join(texts) if keep else "", rows, chain, tuple(problems))


def broken_chains(session: Session) -> list[str]:
    """A sentence for each growing record whose rows are not as they came."""
    found = []
    for live, code in session.execute(
        select(LiveRecord, Load.code)
        .join(Load, Load.id == LiveRecord.load_id)
        .order_by(LiveRecord.id)
    ).all():
        problems = whole_of(session, live, keep=False).problems
        found += [
            f"The growing record of load {code} was changed from outside: {problem}."
            for problem in problems
        ]
    return found


@dataclass(frozen=True, slots=True)
class LiveLoad:
    """A load whose record grows now."""

    load: Load
    live: LiveRecord
    furnace: str


def growing(session: Session) -> Sequence[LiveLoad]:
    """The loads whose records grow now, the one opened last first; one query."""
    closed = select(LiveClosing.id).where(LiveClosing.live_id == LiveRecord.id).exists()
    recorded = select(FurnaceRecord.id).where(FurnaceRecord.load_id == Load.id).exists()
    rows = session.execute(
        select(Load, LiveRecord, Furnace.code)
        .join(LiveRecord, LiveRecord.load_id == Load.id)
        .join(Furnace, Furnace.id == Load.furnace_id)
        .where(~closed, ~recorded)
        .order_by(LiveRecord.id.desc())
    )
    return [LiveLoad(*row) for row in rows]
