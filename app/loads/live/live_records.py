"""Records that still grow: a logger's token, its rows as they came, and what ends them."""

from datetime import datetime
from typing import Any, ClassVar

from sqlalchemy import ForeignKey, LargeBinary, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper


class LoggerToken(Base):
    """The right of one logger to send rows of one furnace's loads. Only its SHA-256 is kept."""

    __tablename__ = "logger_token"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    furnace_id: Mapped[int] = mapped_column(ForeignKey("furnace.id"), index=True)
    token_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    issued_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    issued_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    answers_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    """The person who answers for what comes in by it; a record its logger closes is imported so."""


class TokenRevocation(Base):
    """From ``revoked_at`` on the token opens nothing."""

    __tablename__ = "token_revocation"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_id: Mapped[int] = mapped_column(ForeignKey("logger_token.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    revoked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    revoked_at: Mapped[datetime]


class LiveRecord(Base):
    """A load's record while it grows: which channels its logger sends, in which order and unit."""

    __tablename__ = "live_record"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("load.id"), unique=True)
    token_id: Mapped[int] = mapped_column(ForeignKey("logger_token.id"))
    layout: Mapped[dict[str, Any]] = mapped_column(Paper)
    opened_at: Mapped[datetime]


class LiveRows(Base):
    """Rows of a growing record as they came, compressed text. Bound to the trail by anchors.

    ``first_row`` counts from 0; ``chain_sha256`` is over the batch before it and this one's text.
    """

    on_trail: ClassVar[bool] = False
    __tablename__ = "live_rows"
    __table_args__ = (UniqueConstraint("live_id", "first_row"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    live_id: Mapped[int] = mapped_column(ForeignKey("live_record.id"))
    first_row: Mapped[int]
    rows: Mapped[int]
    content: Mapped[bytes] = mapped_column(LargeBinary)
    chain_sha256: Mapped[str] = mapped_column(String(64))
    received_at: Mapped[datetime]


class LiveAnchor(Base):
    """How far a growing record had come, and the digest of its chain, put on the trail."""

    __tablename__ = "live_anchor"

    id: Mapped[int] = mapped_column(primary_key=True)
    live_id: Mapped[int] = mapped_column(ForeignKey("live_record.id"), index=True)
    rows: Mapped[int]
    chain_sha256: Mapped[str] = mapped_column(String(64))
    anchored_at: Mapped[datetime]


class LiveClosing(Base):
    """The growing record is whole. ``file_sha256`` is the file made of its rows, if there are any.

    The furnace record that is imported from it names the same file.
    """

    __tablename__ = "live_closing"

    id: Mapped[int] = mapped_column(primary_key=True)
    live_id: Mapped[int] = mapped_column(ForeignKey("live_record.id"), unique=True)
    file_sha256: Mapped[str | None] = mapped_column(String(64))
    reason: Mapped[str] = mapped_column(Text)
    closed_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    """Null where the logger itself said that the run is over."""
    closed_at: Mapped[datetime]
