"""What the bench and the coupon page send."""

from collections.abc import Mapping
from decimal import Decimal
from typing import TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, Field

from app.audit.identities import as_code
from app.bench.records import CheckMoment, VoidCause
from app.bench.service import MOST_READINGS, CheckTaken, Correction, LaboratoryResult, ReadingsTaken
from app.errors import Refusal
from app.web.forms import FormModel, Typed, TypedFigure, TypedMoment, parse

SEPARATOR = "/"


class OneFigure(FormModel):
    """One number field."""

    value: TypedFigure = Field(title="reading")


class CheckForm(FormModel):
    """A check on a reference block, besides its readings."""

    moment: CheckMoment
    block: str = Field(title="reference block", max_length=60)
    block_c: TypedFigure | None = Field(None, title="block temperature")


class ReadingsForm(FormModel):
    """A coupon's readings, besides the readings themselves."""

    coupon: str = Field(max_length=60)
    submission: str = Field(max_length=64)
    coupon_c: TypedFigure | None = Field(None, title="coupon temperature")
    block_c: TypedFigure | None = Field(None, title="block temperature")


class LaboratoryForm(FormModel):
    """A laboratory's result."""

    test: str = Field(max_length=60)
    value: TypedFigure = Field(title="result")
    report: str = Field(max_length=120)
    tested_at: TypedMoment = Field(title="tested")
    submission: str = Field(max_length=64)


class CorrectionForm(FormModel):
    """The right figure of a reading."""

    reading: int
    value: TypedFigure = Field(title="right figure")
    reason: str = Field(max_length=1000)
    submission: str = Field(max_length=64)


class VoidForm(FormModel):
    """A request to void a reading."""

    reading: int
    cause: VoidCause
    evidence: str = Field(max_length=1000)


class VoidAnswerForm(FormModel):
    """A supervisor's answer to a void."""

    request: int
    answer: str = Field(pattern="^(approve|decline)$")
    reason: str = Field(max_length=1000)


class RetestForm(FormModel):
    """A supervisor opens the table's retest."""

    reason: str = Field(max_length=1000)


class SessionWanted(FormModel):
    """What the address of a session's page asks for."""

    coupon: str = ""
    saved: str = ""
    check: str = ""


class CouponWanted(FormModel):
    """Which form the address of a coupon's page opens, and about which reading."""

    correct: int = 0
    void: int = 0
    laboratory: str = ""


M = TypeVar("M", bound=BaseModel)


def number_of_fields(typed: Mapping[str, str]) -> int:
    """How many reading fields the form had; 0 where it says nothing sensible."""
    text = typed.get("fields", "")
    return min(int(text), MOST_READINGS) if text.isascii() and text.isdigit() else 0


def figures_keyed(typed: Mapping[str, str]) -> str:
    """The reading fields as one text: a tick confirms exactly these and no others."""
    names = [f"reading_{number}" for number in range(1, number_of_fields(typed) + 1)]
    names += ["value", "coupon_c", "block_c"]
    return SEPARATOR.join(typed.get(name, "").strip() for name in names)


def is_confirmed(typed: Mapping[str, str]) -> bool:
    """Whether the tick was made for the very figures that came with it."""
    return typed.get("confirmed") == figures_keyed(typed)


def check_from(typed: Typed) -> CheckTaken:
    """The check as keyed.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    form, readings = _with_readings(CheckForm, typed)
    return CheckTaken(
        moment=form.moment,
        block_code=as_code(form.block),
        readings=readings,
        block_c=form.block_c,
        confirmed=is_confirmed(typed),
    )


def readings_from(typed: Typed) -> ReadingsTaken:
    """The coupon's readings as keyed.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    form, readings = _with_readings(ReadingsForm, typed)
    return ReadingsTaken(
        coupon_code=as_code(form.coupon),
        values=readings,
        submission=form.submission,
        coupon_c=form.coupon_c,
        block_c=form.block_c,
        spacing_confirmed=typed.get("spacing_confirmed") == "yes",
        confirmed=is_confirmed(typed),
    )


def laboratory_from(typed: Typed, *, coupon: str, zone: ZoneInfo) -> LaboratoryResult:
    """The laboratory's result as typed; ``test`` is quantity and unit, joined by a bar.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    form = parse(LaboratoryForm, typed, zone=zone)
    quantity, _, unit = form.test.partition("|")
    return LaboratoryResult(
        coupon_code=coupon,
        quantity=quantity,
        unit=unit,
        value=form.value,
        report=form.report,
        tested_at=form.tested_at,
        submission=form.submission,
        confirmed=is_confirmed(typed),
    )


def correction_from(typed: Typed, *, coupon: str) -> Correction:
    """The correction as typed.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    form = parse(CorrectionForm, typed)
    return Correction(
        coupon_code=coupon,
        reading_id=form.reading,
        value=form.value,
        reason=form.reason,
        submission=form.submission,
        confirmed=is_confirmed(typed),
    )


def _with_readings(model: type[M], typed: Typed) -> tuple[M, tuple[Decimal, ...]]:
    """The form and its readings; what is wrong in either is told at once."""
    problems: dict[str, str] = {}
    form: M | None = None
    readings: tuple[Decimal, ...] = ()
    try:
        form = parse(model, typed)
    except Refusal as refusal:
        problems |= refusal.fields
    try:
        readings = _readings(typed)
    except Refusal as refusal:
        problems |= refusal.fields
    if form is None or problems:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return form, readings


def _readings(typed: Typed) -> tuple[Decimal, ...]:
    """The figures in the order of their fields; empty fields at the end count as not given."""
    texts = [
        typed.get(f"reading_{number}", "").strip()
        for number in range(1, number_of_fields(typed) + 1)
    ]
    while texts and not texts[-1]:
        texts.pop()
    readings, problems = [], {}
    for number, text in enumerate(texts, start=1):
        try:
            readings.append(parse(OneFigure, {"value": text}).value)
        except Refusal as refusal:
            problems[f"reading_{number}"] = refusal.fields["value"].replace(
                "Reading", f"Reading {number}", 1
            )
    if not texts:
        problems["reading_1"] = "Key the readings."
    if problems:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return tuple(readings)
