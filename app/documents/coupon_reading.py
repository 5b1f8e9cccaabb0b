"""A reading on a coupon as a paper: its figure or indentation, and what is added to it."""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    StrictBool,
    TypeAdapter,
    WithJsonSchema,
    model_validator,
)

from app.documents.paper import FigureIn, Paper, read_figure
from app.documents.table import Text, scale_or_unit
from app.judging.rounding import is_terminating, shown
from app.judging.units import Quantity
from app.judging.witness.coupon import Addend, Reading
from app.judging.witness.indentation import (
    BrinellIndentation,
    Indentation,
    RockwellIndentation,
    VickersIndentation,
)

INSTRUMENT = "instrument correction"
"""What a paper's short form `correction` stands for."""
_RATIO = re.compile(r"[+-]?\d{1,60}/[1-9]\d{0,59}", re.ASCII)


def read_exact(raw: object) -> Fraction:
    """A figure, or a ratio of two whole numbers such as 7/30, exactly.

    Raises:
        ValueError: it is neither.
    """
    if isinstance(raw, str) and _RATIO.fullmatch(raw.strip()):
        return Fraction(raw.strip())
    return Fraction(read_figure(raw))


ExactIn = Annotated[
    Fraction,
    BeforeValidator(read_exact),
    WithJsonSchema(
        {"anyOf": [{"type": "number"}, {"type": "string", "pattern": r"^\s*[+-]?[0-9./eE+-]+\s*$"}]}
    ),
]


class BrinellPaper(Paper):
    """Force in N, ball in mm, and the indentation's diameters in mm."""

    method: Literal["brinell"]
    force_n: FigureIn
    ball_mm: FigureIn
    diameters_mm: tuple[FigureIn, ...]


class VickersPaper(Paper):
    """Force in N, and the indentation's diagonals in mm."""

    method: Literal["vickers"]
    force_n: FigureIn
    diagonals_mm: tuple[FigureIn, ...]


class RockwellPaper(Paper):
    """The scale's full number, its step in mm, and the permanent depth in mm."""

    method: Literal["rockwell"]
    full_number: FigureIn
    step_mm: FigureIn
    depth_mm: FigureIn


IndentationPaper = Annotated[
    BrinellPaper | VickersPaper | RockwellPaper, Field(discriminator="method")
]


class AddendPaper(Paper):
    """One thing added to a reading; ``table`` is the code of the correction table it is from."""

    name: Text
    value: ExactIn
    source: str = ""
    table: Text | None = None


class ReadingPaper(Paper):
    """One reading; where an indentation is given, its number is computed and value may be left out.

    ``addends`` are what is added to it, in order; ``correction`` is the short form of a single one,
    for the instrument. ``step`` is the display's smallest step. ``discounted`` says why a reading
    does not count (a void, a failed check); ``provisional`` that it still waits for its closing
    check.
    """

    quantity: Quantity
    scale: str | None = None
    unit: str | None = None
    value: FigureIn | None = None
    frequency_khz: FigureIn | None = None
    coupon_c: FigureIn | None = None
    block_c: FigureIn | None = None
    name: str | None = None
    indentation: IndentationPaper | None = None
    correction: FigureIn | None = None
    addends: tuple[AddendPaper, ...] = ()
    step: FigureIn | None = None
    discounted: Text | None = None
    provisional: StrictBool = False

    @model_validator(mode="after")
    def _is_complete(self) -> Self:
        scale_or_unit(self.quantity, self.scale, self.unit)
        if self.value is None and self.indentation is None:
            raise ValueError("value is missing; give the figure as read")
        if self.correction is not None and self.addends:
            raise ValueError("correction is the short form of addends; give one of the two")
        return self


def reading_of(paper: ReadingPaper) -> Reading:
    """The reading that a paper holds."""
    return Reading(
        quantity=paper.quantity,
        unit=scale_or_unit(paper.quantity, paper.scale, paper.unit),
        value=paper.value,
        indentation=None if paper.indentation is None else _indentation(paper.indentation),
        addends=_addends(paper),
        step=paper.step,
        frequency_khz=paper.frequency_khz,
        coupon_c=paper.coupon_c,
        block_c=paper.block_c,
        discounted=paper.discounted,
        provisional=paper.provisional,
        name=paper.name or "",
    )


def _addends(paper: ReadingPaper) -> tuple[Addend, ...]:
    if paper.correction is not None:
        return (Addend(INSTRUMENT, Fraction(paper.correction)),)
    return tuple(Addend(one.name, one.value, one.source, one.table) for one in paper.addends)


_INDENTATION: TypeAdapter[BrinellPaper | VickersPaper | RockwellPaper] = TypeAdapter(
    IndentationPaper
)


def indentation_from_json(content: object) -> Indentation:
    """The indentation as it was kept with a reading."""
    return _indentation(_INDENTATION.validate_python(content))


def _indentation(paper: BrinellPaper | VickersPaper | RockwellPaper) -> Indentation:
    if isinstance(paper, BrinellPaper):
        return BrinellIndentation(paper.force_n, paper.ball_mm, paper.diameters_mm)
    if isinstance(paper, VickersPaper):
        return VickersIndentation(paper.force_n, paper.diagonals_mm)
    return RockwellIndentation(paper.full_number, paper.step_mm, paper.depth_mm)


def reading_to_json(reading: Reading) -> dict[str, Any]:
    """A reading as JSON values; what it does not have is left out."""
    kind = "scale" if reading.quantity is Quantity.HARDNESS else "unit"
    figures: dict[str, Decimal | None] = {
        "value": reading.value,
        "frequency_khz": reading.frequency_khz,
        "coupon_c": reading.coupon_c,
        "block_c": reading.block_c,
        "step": reading.step,
    }
    written = {
        "quantity": reading.quantity.value,
        kind: reading.unit,
        **{name: None if figure is None else str(figure) for name, figure in figures.items()},
        "name": reading.name or None,
        "addends": [_addend_to_json(addend) for addend in reading.addends] or None,
        "indentation": _indentation_to_json(reading.indentation),
        "discounted": reading.discounted,
        "provisional": reading.provisional or None,
    }
    return {key: value for key, value in written.items() if value is not None}


def _addend_to_json(addend: Addend) -> dict[str, str]:
    value = Fraction(addend.value)
    written = {
        "name": addend.name,
        "value": shown(value) if is_terminating(value) else str(value),
        "source": addend.source,
        "table": addend.table or "",
    }
    return {key: text for key, text in written.items() if text}


def _indentation_to_json(indentation: Indentation | None) -> dict[str, Any] | None:
    if indentation is None:
        return None
    if isinstance(indentation, BrinellIndentation):
        return {
            "method": "brinell",
            "force_n": str(indentation.force_n),
            "ball_mm": str(indentation.ball_mm),
            "diameters_mm": [str(one) for one in indentation.diameters_mm],
        }
    if isinstance(indentation, VickersIndentation):
        return {
            "method": "vickers",
            "force_n": str(indentation.force_n),
            "diagonals_mm": [str(one) for one in indentation.diagonals_mm],
        }
    return {
        "method": "rockwell",
        "full_number": str(indentation.full_number),
        "step_mm": str(indentation.step_mm),
        "depth_mm": str(indentation.depth_mm),
    }
