"""What the bench and the coupon page send."""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, Field

from app.audit.identities import as_code
from app.bench.records import CheckMoment
from app.bench.service import MOST_READINGS, CheckTaken, LaboratoryResult, ReadingsTaken
from app.errors import Refusal
from app.web.forms import FormModel, Typed, TypedFigure, TypedMoment, parse

SEPARATOR = "/"
WAYS = (1, 2)
"""An indentation is measured both ways."""


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
    seen: int | None = None
    measured_at: TypedMoment | None = Field(None, title="measured at")
    late_reason: str = Field("", max_length=1000, title="why it is entered only now")


class LaboratoryForm(FormModel):
    """A laboratory's result."""

    test: str = Field(max_length=60)
    value: TypedFigure = Field(title="result")
    report: str = Field(max_length=120)
    tested_at: TypedMoment = Field(title="tested")
    submission: str = Field(max_length=64)


class SessionWanted(FormModel):
    """What the address of a session's page asks for."""

    coupon: str = ""
    saved: str = ""
    check: str = ""
    sizes: str = ""
    moved: str = ""


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
    numbers = range(1, number_of_fields(typed) + 1)
    names = [f"reading_{number}" for number in numbers]
    if by_sizes(typed):
        names = [f"size_{number}_{way}" for number in numbers for way in WAYS]
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
    form, readings = _with_readings(CheckForm, typed, _readings)
    return CheckTaken(
        moment=form.moment,
        block_code=as_code(form.block),
        readings=readings,
        block_c=form.block_c,
        confirmed=is_confirmed(typed),
    )


def by_sizes(typed: Mapping[str, str]) -> bool:
    """Whether the form asks for the sizes of indentations instead of numbers."""
    return typed.get("sizes") == "1"


def readings_from(typed: Typed, *, zone: ZoneInfo) -> ReadingsTaken:
    """The coupon's readings as keyed, or the sizes of its indentations.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    sized = by_sizes(typed)
    form, figures = _with_readings(ReadingsForm, typed, sizes_of if sized else _readings, zone=zone)
    return ReadingsTaken(
        coupon_code=as_code(form.coupon),
        values=() if sized else figures,
        sizes=tuple(zip(figures[::2], figures[1::2], strict=True)) if sized else (),
        seen=form.seen,
        measured_at=form.measured_at,
        late_reason=form.late_reason,
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


def _with_readings(
    model: type[M],
    typed: Typed,
    read: Callable[[Mapping[str, str]], tuple[Decimal, ...]],
    zone: ZoneInfo | None = None,
) -> tuple[M, tuple[Decimal, ...]]:
    """The form and its figures; what is wrong in either is told at once."""
    problems: dict[str, str] = {}
    form: M | None = None
    figures: tuple[Decimal, ...] = ()
    try:
        form = parse(model, typed, zone=zone)
    except Refusal as refusal:
        problems |= refusal.fields
    try:
        figures = read(typed)
    except Refusal as refusal:
        problems |= refusal.fields
    if form is None or problems:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return form, figures


def _readings(typed: Mapping[str, str]) -> tuple[Decimal, ...]:
    """The figures in the order of their fields; empty fields at the end count as not given."""
    names = [f"reading_{number}" for number in range(1, number_of_fields(typed) + 1)]
    words = [f"Reading {number}" for number in range(1, len(names) + 1)]
    return _figures(typed, names, words, none="Key the readings.")


def sizes_of(typed: Mapping[str, str]) -> tuple[Decimal, ...]:
    """Both sizes of each indentation, one after the other, in the order of their fields, mm.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    numbers = range(1, number_of_fields(typed) + 1)
    while numbers and not any(typed.get(f"size_{numbers[-1]}_{way}", "").strip() for way in WAYS):
        numbers = numbers[:-1]
    names = [f"size_{number}_{way}" for number in numbers for way in WAYS]
    words = [f"Indentation {number}, size {way}" for number in numbers for way in WAYS]
    none = "Key the sizes of the indentations."
    return _figures(typed, names, words, none=none, first="size_1_1")


def one_figure(text: str) -> Decimal:
    """A single figure as keyed.

    Raises:
        Refusal: it cannot be read; the sentence stands under ``value``.
    """
    return parse(OneFigure, {"value": text}).value


def _figures(
    typed: Mapping[str, str],
    names: Sequence[str],
    words: Sequence[str],
    *,
    none: str,
    first: str = "reading_1",
) -> tuple[Decimal, ...]:
    texts = [typed.get(name, "").strip() for name in names]
    while texts and not texts[-1] and first == "reading_1":
        texts.pop()
    figures, problems = [], {}
    for name, word, text in zip(names, words, texts, strict=False):
        try:
            figures.append(one_figure(text))
        except Refusal as refusal:
            problems[name] = refusal.fields["value"].replace("Reading", word, 1)
    if not texts:
        problems[first] = none
    if problems:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return tuple(figures)
