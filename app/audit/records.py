"""The trail, and the identities everything on record goes by."""

from datetime import datetime
from typing import ClassVar

from sqlalchemy import Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base


class TrailEntry(Base):
    """One act. ``body`` is the canonical form; the columns repeat parts of it for the lists."""

    on_trail: ClassVar[bool] = False
    __tablename__ = "trail_entry"
    __table_args__ = (
        Index("ix_trail_entry_about", "about_code", "number"),
        Index("ix_trail_entry_by_number", "by", "number"),
        Index("ix_trail_entry_tag_number", "tag", "number"),
        Index("ix_trail_entry_at_number", "at", "number"),
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(64))
    tag: Mapped[str] = mapped_column(String(64))
    about_kind: Mapped[str] = mapped_column(String(40))
    about_code: Mapped[str] = mapped_column(String(64))
    note: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    hash: Mapped[str] = mapped_column(String(64), unique=True)


class Identity(Base):
    """A code that can be scanned or typed. Never changed and never given twice, to anything."""

    __tablename__ = "identity"

    code: Mapped[str] = mapped_column(String(40), primary_key=True)
    kind: Mapped[str] = mapped_column(String(40))
    given_at: Mapped[datetime]
