"""What the forms of a coupon's page about its readings send."""

from pydantic import Field

from app.bench.forms import by_sizes, is_confirmed, sizes_of
from app.bench.records import VoidCause
from app.bench.service import Correction
from app.equipment.pages.shared import sent_file
from app.web.forms import FormModel, Typed, TypedFigure, parse


class CorrectionForm(FormModel):
    """The right figure of a reading, or none where the indentation's sizes are given."""

    reading: int
    value: TypedFigure | None = Field(None, title="right figure")
    reason: str = Field(max_length=1000)
    evidence: str = Field("", max_length=1000)
    submission: str = Field(max_length=64)


class VoidForm(FormModel):
    """A request to void a reading."""

    reading: int
    cause: VoidCause
    evidence: str = Field(max_length=1000)


class AnswerForm(FormModel):
    """A supervisor's answer to a void, or to a correction that somebody asked for."""

    request: int
    answer: str = Field(pattern="^(approve|decline)$")
    reason: str = Field(max_length=1000)


class RetestForm(FormModel):
    """A supervisor opens the table's retest."""

    reason: str = Field(max_length=1000)
    password: str = ""


def correction_from(typed: Typed, *, coupon: str) -> Correction:
    """The correction as typed, with the file that came with it.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    form = parse(CorrectionForm, typed)
    sizes = sizes_of(typed) if by_sizes(typed) else None
    return Correction(
        coupon_code=coupon,
        reading_id=form.reading,
        value=form.value,
        sizes=None if sizes is None else (sizes[0], sizes[1]),
        reason=form.reason,
        submission=form.submission,
        confirmed=is_confirmed(typed),
        evidence=form.evidence,
        file=sent_file(typed),
    )
