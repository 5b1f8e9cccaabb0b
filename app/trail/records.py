"""Signed heads of the trail's tree, and reviews of its entries."""

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base


class TreeKey(Base):
    """A key that heads are signed with. Its private half is kept in a file, never here."""

    __tablename__ = "tree_key"

    key_id: Mapped[str] = mapped_column(String(16), primary_key=True)
    """The first 16 hexadecimal digits of the SHA-256 of the public key's 32 bytes."""
    public_key: Mapped[str] = mapped_column(String(64))
    """Ed25519 (RFC 8032), 64 hexadecimal digits."""
    since: Mapped[datetime]
    registered_by: Mapped[str] = mapped_column(String(64))


class TreeHead(Base):
    """The root over the first ``size`` entries (RFC 6962, 2.1), signed.

    Kept outside, it finds a trail that was put back.
    """

    __tablename__ = "tree_head"

    size: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    root_sha256: Mapped[str] = mapped_column(String(64))
    shop: Mapped[str] = mapped_column(String(120))
    """Its name as signed, on one line."""
    signed_at: Mapped[datetime]
    key_id: Mapped[str] = mapped_column(ForeignKey("tree_key.key_id"))
    signature: Mapped[str] = mapped_column(String(128))
    """Ed25519 over the head's text, 128 hexadecimal digits."""
    asked_by: Mapped[str] = mapped_column(String(64))


class TrailReview(Base):
    """A person read a stretch of the trail and answered for every exception in it, signed."""

    __tablename__ = "trail_review"

    id: Mapped[int] = mapped_column(primary_key=True)
    first_number: Mapped[int]
    last_number: Mapped[int] = mapped_column(index=True)
    exceptions: Mapped[int]
    remark: Mapped[str] = mapped_column(Text)
    reviewed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    reviewed_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class TrailReviewLine(Base):
    """What a review says of one exception."""

    __tablename__ = "trail_review_line"

    id: Mapped[int] = mapped_column(primary_key=True)
    review_id: Mapped[int] = mapped_column(ForeignKey("trail_review.id"), index=True)
    entry_number: Mapped[int]
    kind: Mapped[str] = mapped_column(String(40))
    remark: Mapped[str] = mapped_column(Text)
