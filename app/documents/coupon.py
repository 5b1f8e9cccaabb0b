"""COUPON.json: a coupon and its readings as a paper, to and from judging's own types."""

from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, StrictBool, model_validator

from app.documents.paper import FigureIn, Paper, load_paper, load_paper_file, paper_from
from app.documents.table import Text, scale_or_unit
from app.errors import BadFile, Refusal
from app.judging.units import Quantity
from app.judging.witness.acceptance import Surface
from app.judging.witness.coupon import Coupon, Reading, check_coupon
from app.judging.witness.indentation import (
    BrinellIndentation,
    Indentation,
    RockwellIndentation,
    VickersIndentation,
)


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


class ReadingPaper(Paper):
    """One reading; where an indentation is given, its number is computed and value may be left out.

    ``discounted`` says why a reading does not count (a void, a failed check); ``provisional`` that
    it still waits for its closing check.
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
    discounted: Text | None = None
    provisional: StrictBool = False

    @model_validator(mode="after")
    def _is_complete(self) -> Self:
        scale_or_unit(self.quantity, self.scale, self.unit)
        if self.value is None and self.indentation is None:
            raise ValueError("value is missing; give the figure as read")
        return self


class CouponPaper(Paper):
    """A coupon, its readings, and expanded uncertainties (k = 2) by quantity and scale or unit."""

    alloy: Text
    temper: Text
    form: Text
    thickness_mm: FigureIn | None = None
    surface: Surface | None = None
    readings: tuple[ReadingPaper, ...]
    expanded_uncertainty: dict[Quantity, dict[str, FigureIn]] | None = None
    spacing_confirmed: StrictBool | None = None


def load_coupon(text: str | bytes, *, filename: str = "COUPON.json") -> Coupon:
    """The coupon in JSON text.

    Raises:
        BadFile: one sentence naming the file and the field.
    """
    return _checked(load_paper(CouponPaper, text, filename=filename), filename)


def load_coupon_file(path: Path) -> Coupon:
    """The coupon in a file.

    Raises:
        BadFile: one sentence naming the file and the field.
    """
    return _checked(load_paper_file(CouponPaper, path), path.name)


def coupon_from_json(content: object, *, filename: str = "COUPON.json") -> Coupon:
    """The coupon from what JSON text held (numbers as `Decimal`, `int` or text, never `float`).

    Raises:
        BadFile: one sentence naming the file and the field.
    """
    return _checked(paper_from(CouponPaper, content, filename=filename), filename)


def coupon_to_json(coupon: Coupon) -> dict[str, Any]:
    """The coupon as JSON values that `coupon_from_json` reads back the same; figures are text."""
    uncertainty: dict[str, dict[str, str]] = {}
    for (quantity, unit), expanded in coupon.expanded_uncertainty.items():
        uncertainty.setdefault(quantity.value, {})[unit] = str(expanded)
    content = {
        "alloy": coupon.alloy,
        "temper": coupon.temper,
        "form": coupon.form,
        "thickness_mm": None if coupon.thickness_mm is None else str(coupon.thickness_mm),
        "surface": None if coupon.surface is None else coupon.surface.value,
        "readings": [_reading_to_json(reading) for reading in coupon.readings],
        "expanded_uncertainty": uncertainty or None,
        "spacing_confirmed": coupon.spacing_confirmed,
    }
    return {key: value for key, value in content.items() if value is not None}


def _checked(paper: CouponPaper, filename: str) -> Coupon:
    coupon = Coupon(
        alloy=paper.alloy,
        temper=paper.temper,
        form=paper.form,
        thickness_mm=paper.thickness_mm,
        surface=paper.surface,
        readings=tuple(_reading(reading) for reading in paper.readings),
        expanded_uncertainty={
            (quantity, unit): expanded
            for quantity, by_unit in (paper.expanded_uncertainty or {}).items()
            for unit, expanded in by_unit.items()
        },
        spacing_confirmed=paper.spacing_confirmed,
    )
    try:
        check_coupon(coupon)
    except Refusal as refusal:
        raise BadFile(f"{filename}: {refusal.sentence}") from refusal
    return coupon


def _reading(paper: ReadingPaper) -> Reading:
    return Reading(
        quantity=paper.quantity,
        unit=scale_or_unit(paper.quantity, paper.scale, paper.unit),
        value=paper.value,
        indentation=None if paper.indentation is None else _indentation(paper.indentation),
        correction=paper.correction,
        frequency_khz=paper.frequency_khz,
        coupon_c=paper.coupon_c,
        block_c=paper.block_c,
        discounted=paper.discounted,
        provisional=paper.provisional,
        name=paper.name or "",
    )


def _indentation(paper: BrinellPaper | VickersPaper | RockwellPaper) -> Indentation:
    if isinstance(paper, BrinellPaper):
        return BrinellIndentation(paper.force_n, paper.ball_mm, paper.diameters_mm)
    if isinstance(paper, VickersPaper):
        return VickersIndentation(paper.force_n, paper.diagonals_mm)
    return RockwellIndentation(paper.full_number, paper.step_mm, paper.depth_mm)


def _reading_to_json(reading: Reading) -> dict[str, Any]:
    kind = "scale" if reading.quantity is Quantity.HARDNESS else "unit"
    figures: dict[str, Decimal | None] = {
        "value": reading.value,
        "frequency_khz": reading.frequency_khz,
        "coupon_c": reading.coupon_c,
        "block_c": reading.block_c,
        "correction": reading.correction,
    }
    written = {
        "quantity": reading.quantity.value,
        kind: reading.unit,
        **{name: None if figure is None else str(figure) for name, figure in figures.items()},
        "name": reading.name or None,
        "indentation": _indentation_to_json(reading.indentation),
        "discounted": reading.discounted,
        "provisional": reading.provisional or None,
    }
    return {key: value for key, value in written.items() if value is not None}


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
