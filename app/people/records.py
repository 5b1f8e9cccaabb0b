"""People, their sign-ins and their signatures."""

from datetime import datetime
from enum import StrEnum
from typing import ClassVar

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Paper, words_of


class Person(Base):
    """Someone with an account. Roles and password change; each change is on the trail."""

    append_only: ClassVar[bool] = False
    __tablename__ = "person"

    id: Mapped[int] = mapped_column(primary_key=True)
    username: Mapped[str] = mapped_column(String(64), unique=True)
    full_name: Mapped[str] = mapped_column(String(120))
    roles: Mapped[list[str]] = mapped_column(Paper)
    password_hash: Mapped[str] = mapped_column(String(200), info={"trail": "digest"})
    active: Mapped[bool]
    added_at: Mapped[datetime]


class SignIn(Base):
    """An open sign-in. Only the SHA-256 of its cookie is kept. Not part of the quality record."""

    append_only: ClassVar[bool] = False
    on_trail: ClassVar[bool] = False
    __tablename__ = "sign_in"

    token_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    opened_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    ends_at: Mapped[datetime]


class Meaning(StrEnum):
    """What a signature says; the value is printed with it."""

    RELEASED = "I have read the evidence and release this panel"
    DISPOSED = "I have reviewed this hold and dispose of it as stated"
    VERIFIED_TABLE = "I have compared every value with the controlled source document"
    VERIFIED_CYCLE = "I have compared every parameter with the controlled process document"
    VERIFIED_PROCEDURE = "I have compared every value with the controlled pyrometry procedure"
    VERIFIED_MAPPING = "I have compared what this mapping reads with the logger's own export"
    REVIEWED_REPORT = "I have reviewed this report's results and accept or reject them as stated"
    LOT_EXCEPTION = "I accept this coupon of another lot for the reason stated"
    CONFIRMED_LAYOUT = "I have compared the columns as read with the logger's own file"
    VERIFIED_CORRECTION_TABLE = (
        "I have compared every correction with the controlled source document"
    )
    QUARANTINE_LIFTED = "I have reviewed what was found and done and let this tester be used again"
    ANSWERED_TROUBLE = "I have reviewed what was found and decide about this coupon as stated"
    OPENED_RETEST = "I open this retest as it is planned here, and its result stands"
    EXCLUDED_SENSOR = "I have reviewed this sensor's failure and exclude it"


class Signature(Base):
    """A signature: who, when, with which meaning, over which content."""

    __tablename__ = "signature"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    printed_name: Mapped[str] = mapped_column(String(120))
    meaning: Mapped[Meaning] = mapped_column(words_of(Meaning))
    signed_at: Mapped[datetime]
    content_sha256: Mapped[str] = mapped_column(String(64))
