"""Bench records. A reading is never changed: a correction is a new row that names the old one."""

from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.database import Base, Figures, Paper, words_of


class BenchSession(Base):
    """One person at one tester, from the opening check to the closing check."""

    __tablename__ = "bench_session"

    id: Mapped[int] = mapped_column(primary_key=True)
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    operator_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    opened_at: Mapped[datetime]
    thermometer_id: Mapped[int | None] = mapped_column(ForeignKey("thermometer.id"))
    """What temperatures at this session are measured with."""


class CheckMoment(StrEnum):
    """When in the session a block was checked."""

    OPENING = "opening"
    INTERIM = "interim"
    CLOSING = "closing"


class BlockCheck(Base):
    """A check on a reference block, as read and as judged."""

    __tablename__ = "block_check"

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("bench_session.id"), index=True)
    moment: Mapped[CheckMoment] = mapped_column(words_of(CheckMoment))
    block_id: Mapped[int] = mapped_column(ForeignKey("reference_block.id"), index=True)
    readings: Mapped[tuple[Decimal, ...]] = mapped_column(Figures)
    block_c: Mapped[Decimal | None]
    outcome: Mapped[str] = mapped_column(String(20))
    finding: Mapped[dict[str, Any]] = mapped_column(Paper)
    by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    taken_at: Mapped[datetime]


class Reading(Base):
    """One reading as taken. A laboratory's result has no session and names its report."""

    __tablename__ = "reading"
    __table_args__ = (Index("ix_reading_coupon_id_id", "coupon_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int | None] = mapped_column(ForeignKey("bench_session.id"), index=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"))
    quantity: Mapped[str] = mapped_column(String(40))
    unit: Mapped[str] = mapped_column(String(20))
    value: Mapped[Decimal]
    coupon_c: Mapped[Decimal | None]
    block_c: Mapped[Decimal | None]
    frequency_khz: Mapped[Decimal | None]
    spacing_confirmed: Mapped[bool | None]
    """Spacing and edge rules of the indentation method were kept; None for other quantities."""
    report: Mapped[str | None] = mapped_column(String(120))
    retest_id: Mapped[int | None] = mapped_column(ForeignKey("retest.id"), index=True)
    set_number: Mapped[int | None]
    """Which further set of the retest it belongs to, from 1; None outside a retest."""
    submission: Mapped[str] = mapped_column(String(64), index=True)
    """Names the form it came with, so that a form sent twice is recorded once."""
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"), unique=True)
    reason: Mapped[str | None] = mapped_column(Text)
    taken_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    taken_at: Mapped[datetime]
    entered_at: Mapped[datetime]
    indentation: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """The indentation as measured, lengths in mm; ``value`` is then the number it gives, rounded
    for reading, and the verdict is computed from the sizes themselves."""
    late_reason: Mapped[str | None] = mapped_column(Text)
    """Why it was entered later than it was taken; None where it was entered at once."""
    evidence: Mapped[str | None] = mapped_column(Text)
    """Of a correction: what shows the right figure."""
    evidence_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))


class EntryDraft(Base):
    """What is keyed for a coupon and not yet recorded. No record of anything: it comes and goes."""

    append_only: ClassVar[bool] = False
    on_trail: ClassVar[bool] = False
    __tablename__ = "entry_draft"
    __table_args__ = (UniqueConstraint("session_id", "coupon_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("bench_session.id"))
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"))
    fields: Mapped[dict[str, Any]] = mapped_column(Paper)
    saved_at: Mapped[datetime]


class CorrectionRequest(Base):
    """The person who took a reading asks for a correction that a second person must make."""

    __tablename__ = "correction_request"

    id: Mapped[int] = mapped_column(primary_key=True)
    reading_id: Mapped[int] = mapped_column(ForeignKey("reading.id"), index=True)
    value: Mapped[Decimal]
    indentation: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    reason: Mapped[str] = mapped_column(Text)
    evidence: Mapped[str] = mapped_column(Text)
    evidence_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))
    submission: Mapped[str] = mapped_column(String(64), unique=True)
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    asked_at: Mapped[datetime]


class CorrectionAnswer(Base):
    """A second person's answer to a request; approved, it names the new reading."""

    __tablename__ = "correction_answer"

    id: Mapped[int] = mapped_column(primary_key=True)
    request_id: Mapped[int] = mapped_column(ForeignKey("correction_request.id"), unique=True)
    approved: Mapped[bool]
    reason: Mapped[str] = mapped_column(Text)
    reading_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"))
    answered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime]


class Baseline(Base):
    """What was read on a coupon before it went into the furnace. It decides nothing."""

    __tablename__ = "baseline"

    id: Mapped[int] = mapped_column(primary_key=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"), index=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("bench_session.id"), index=True)
    quantity: Mapped[str] = mapped_column(String(40))
    unit: Mapped[str] = mapped_column(String(20))
    readings: Mapped[tuple[Decimal, ...]] = mapped_column(Figures)
    coupon_c: Mapped[Decimal | None]
    block_c: Mapped[Decimal | None]
    submission: Mapped[str] = mapped_column(String(64), unique=True)
    taken_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    taken_at: Mapped[datetime]


class TesterStudy(Base):
    """A study of a tester with several operators, parts and trials, fixed before it begins."""

    __tablename__ = "tester_study"

    id: Mapped[int] = mapped_column(primary_key=True)
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    purpose: Mapped[str] = mapped_column(Text)
    parts: Mapped[list[str]] = mapped_column(Paper)
    operators: Mapped[list[int]] = mapped_column(Paper)
    """Keys of the people who measure."""
    trials: Mapped[int]
    opened_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    opened_at: Mapped[datetime]


class StudyReading(Base):
    """One trial of one operator on one part."""

    __tablename__ = "study_reading"
    __table_args__ = (UniqueConstraint("study_id", "operator_id", "part", "trial"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    study_id: Mapped[int] = mapped_column(ForeignKey("tester_study.id"))
    operator_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    part: Mapped[str] = mapped_column(String(40))
    trial: Mapped[int]
    value: Mapped[Decimal]
    taken_at: Mapped[datetime]


class StudyClosing(Base):
    """A study is complete, or given up for a reason; what it came to is kept."""

    __tablename__ = "study_closing"

    id: Mapped[int] = mapped_column(primary_key=True)
    study_id: Mapped[int] = mapped_column(ForeignKey("tester_study.id"), unique=True)
    result: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """Its figures; null where it was given up."""
    reason: Mapped[str] = mapped_column(Text)
    closed_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    closed_at: Mapped[datetime]


class VoidCause(StrEnum):
    """Assignable causes. A low result is not a cause."""

    FAILED_CHECK = "reference check failed"
    SLIPPED = "indenter or probe slipped"
    TOO_CLOSE = "too close to an edge or another indent"
    WRONG_COUPON = "wrong coupon measured"
    SURFACE = "surface not prepared"
    TEMPERATURE = "temperatures not equal"


class VoidRequest(Base):
    """An inspector asks that a reading be voided, with its cause and the evidence."""

    __tablename__ = "void_request"

    id: Mapped[int] = mapped_column(primary_key=True)
    reading_id: Mapped[int] = mapped_column(ForeignKey("reading.id"), index=True)
    cause: Mapped[VoidCause] = mapped_column(words_of(VoidCause))
    evidence: Mapped[str] = mapped_column(Text)
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    asked_at: Mapped[datetime]
    evidence_sha256: Mapped[str | None] = mapped_column(ForeignKey("report_file.sha256"))


class VoidAnswer(Base):
    """A second person's answer to a request."""

    __tablename__ = "void_answer"

    id: Mapped[int] = mapped_column(primary_key=True)
    request_id: Mapped[int] = mapped_column(ForeignKey("void_request.id"), unique=True)
    approved: Mapped[bool]
    reason: Mapped[str] = mapped_column(Text)
    answered_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    answered_at: Mapped[datetime]


class Retest(Base):
    """A supervisor opens the table's retest for a coupon whose result does not conform."""

    __tablename__ = "retest"

    id: Mapped[int] = mapped_column(primary_key=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"), index=True)
    sets_required: Mapped[int]
    rule: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    opened_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    opened_at: Mapped[datetime]
    plan: Mapped[dict[str, Any] | None] = mapped_column(Paper)
    """What is repeated, where and by whom, as fixed when it was opened; null: opened before plans
    were kept."""
    signature_id: Mapped[int | None] = mapped_column(ForeignKey("signature.id"))
    """Over the plan and the reason; null: opened before plans were kept."""


class CouponVerdict(Base):
    """A judgement of a coupon as made. A new reading, check or void makes a new row."""

    __tablename__ = "coupon_verdict"
    __table_args__ = (Index("ix_coupon_verdict_coupon_id_id", "coupon_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    coupon_id: Mapped[int] = mapped_column(ForeignKey("coupon.id"))
    table_revision_id: Mapped[int] = mapped_column(ForeignKey("requirement_revision.id"))
    verdict: Mapped[str] = mapped_column(String(20))
    provisional: Mapped[bool]
    paper: Mapped[dict[str, Any]] = mapped_column(Paper, info={"trail": "digest"})
    """The entry used and the findings, each with its working."""
    inputs_sha256: Mapped[str] = mapped_column(String(64))
    rules_version: Mapped[str] = mapped_column(String(20))
    judged_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    judged_at: Mapped[datetime]
