"""People, their sign-ins and their signatures."""

from datetime import date, datetime
from enum import StrEnum
from typing import ClassVar

from sqlalchemy import ForeignKey, Index, String, Text
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
    identity_number: Mapped[str | None] = mapped_column(String(40))
    """The person's own number (of the works, or of a passport), capitals and digits only.

    Two accounts with one number are one person wherever two are asked for.
    """
    password_is_first: Mapped[bool | None]
    """Somebody else knows the password: the person has to set their own before anything else."""
    totp_secret: Mapped[str | None] = mapped_column(String(64), info={"trail": "digest"})
    """Of the second factor (RFC 6238), base 32; None where the person uses none."""


class Task(StrEnum):
    """What a person has to be authorised for, with training and, where it needs eyes, a test."""

    HARDNESS = "hardness testing"
    CONDUCTIVITY = "conductivity testing"
    SURFACE_SEARCH = "surface search"
    RELEASE = "release of panels"
    DISPOSITION = "disposition of held panels"
    DESIGN = "use as is and repair on behalf of the design organisation"
    VERIFICATION = "verification of requirements"
    REPORT_REVIEW = "review of reports and certificates"


class Authorisation(Base):
    """A person may do a task from one day to another, both included, on the stated grounds."""

    __tablename__ = "authorisation"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    task: Mapped[Task] = mapped_column(words_of(Task))
    from_day: Mapped[date]
    last_day: Mapped[date]
    grounds: Mapped[str] = mapped_column(Text)
    """Training record, evaluation and eye test, by their numbers and dates."""
    granted_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    granted_at: Mapped[datetime]
    signature_id: Mapped[int] = mapped_column(ForeignKey("signature.id"))


class AuthorisationEnd(Base):
    """An authorisation taken back; what was signed under it keeps its meaning."""

    __tablename__ = "authorisation_end"

    id: Mapped[int] = mapped_column(primary_key=True)
    authorisation_id: Mapped[int] = mapped_column(ForeignKey("authorisation.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    ended_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime]


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


class SignInTry(Base):
    """A sign-in that failed, for the waiting time of the next. Not part of the quality record."""

    append_only: ClassVar[bool] = False
    on_trail: ClassVar[bool] = False
    __tablename__ = "sign_in_try"
    __table_args__ = (Index("ix_sign_in_try_username_browser_at", "username", "browser", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    username: Mapped[str] = mapped_column(String(64))
    """SHA-256 of the name as typed, which may have been a password in the wrong field."""
    browser: Mapped[str] = mapped_column(String(64))
    """Where it is counted: the person's mark of a browser that knows them, "signatures", or empty
    for all others together. "code N": no failure, but the second factor's code of step N, used."""
    at: Mapped[datetime]


class KnownBrowser(Base):
    """A browser in which the person has signed in. Not part of the quality record.

    Its failed tries are counted by themselves, so that nobody can lock a person out from elsewhere.
    """

    append_only: ClassVar[bool] = False
    on_trail: ClassVar[bool] = False
    __tablename__ = "known_browser"

    mark_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    since: Mapped[datetime]


class Scope(StrEnum):
    """The one thing a machine's token opens."""

    TREE_HEADS = "read signed tree heads"
    PANEL_STATUS = "read where panels stand"


class MachineToken(Base):
    """A token for one machine and one purpose, good until its last day. Only its digest is kept."""

    __tablename__ = "machine_token"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    scope: Mapped[Scope] = mapped_column(words_of(Scope))
    token_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    last_day: Mapped[date]
    issued_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    issued_at: Mapped[datetime]


class MachineTokenEnd(Base):
    """A machine's token taken back."""

    __tablename__ = "machine_token_end"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_id: Mapped[int] = mapped_column(ForeignKey("machine_token.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    ended_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime]


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
    REPLACED_RECORD = "I replace the earlier furnace record with this one for the reason stated"
    EXCLUDED_SENSOR = "I have reviewed this sensor's failure and exclude it"
    AUTHORISED = "I have seen the grounds and authorise this person for this task"
    KEYED_AGAIN = "I keyed every value from the source document without seeing the first entry"
    LOOKED_AGAIN = "I keyed what differed again from the source document, knowing that it differed"
    ANSWERED_PROPOSAL = "I have reviewed this nonconformance and answer the disposition as stated"
    CONFIRMED_RELEASE = "I have reviewed what was learnt since, and this release stands"
    WITHDREW_RELEASE = "I have reviewed what was learnt since and withdraw this release"
    LIFTED_UPSTREAM = "I have reviewed this hold and what depends on it, and lift it as stated"
    SCRAP_MADE_UNUSABLE = "I marked this panel as scrap and made it unusable as stated"
    SCRAP_WITNESSED = "I saw that this panel is marked and unusable"
    EFFECT_CHECKED = "I have checked what this action achieved and found as stated"
    DIVIDED = "I divided or re-marked this panel as stated, and its marks are legible"
    ANSWERED_LOT_CORRECTION = "I have compared the lot's figures with the evidence and answer so"
    REVIEWED_TRAIL = "I have reviewed these entries of the trail and every exception among them"


class Signature(Base):
    """A signature: who, when, with which meaning, over which content."""

    __tablename__ = "signature"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    printed_name: Mapped[str] = mapped_column(String(120))
    meaning: Mapped[Meaning] = mapped_column(words_of(Meaning))
    signed_at: Mapped[datetime]
    content_sha256: Mapped[str] = mapped_column(String(64))
