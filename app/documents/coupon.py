"""COUPON.json: a coupon and its readings as a paper, to and from judging's own types."""

from decimal import Decimal
from pathlib import Path
from typing import Any, Self

from pydantic import StrictBool, model_validator

from app.documents.coupon_reading import ReadingPaper, reading_of, reading_to_json
from app.documents.paper import FigureIn, Paper, load_paper, load_paper_file, paper_from
from app.documents.table import Text, scale_or_unit
from app.errors import BadFile, Refusal
from app.judging.units import Quantity
from app.judging.witness.acceptance import Surface
from app.judging.witness.budget import Budget, Part
from app.judging.witness.coupon import Baseline, Coupon, check_coupon


class PartPaper(Paper):
    """One part of a budget: ``expanded`` is U with k = 2, ``standard`` a standard uncertainty.

    With neither it is not known. ``repeats``: the mean of n readings has it over sqrt(n).
    """

    name: Text
    expanded: FigureIn | None = None
    standard: FigureIn | None = None
    repeats: StrictBool = False
    source: str = ""

    @model_validator(mode="after")
    def _is_one_of_both(self) -> Self:
        if self.expanded is not None and self.standard is not None:
            raise ValueError("give expanded or standard, not both")
        return self


class BaselinePaper(Paper):
    """What was read on the coupon before the furnace."""

    quantity: Quantity
    scale: str | None = None
    unit: str | None = None
    readings: tuple[FigureIn, ...]

    @model_validator(mode="after")
    def _has_its_scale_or_unit(self) -> Self:
        scale_or_unit(self.quantity, self.scale, self.unit)
        return self


class CouponPaper(Paper):
    """A coupon, its readings, and expanded uncertainties (k = 2) by quantity and scale or unit.

    An uncertainty is stated as a whole, or in ``budgets`` as the parts it is combined from.
    """

    alloy: Text
    temper: Text
    form: Text
    thickness_mm: FigureIn | None = None
    surface: Surface | None = None
    readings: tuple[ReadingPaper, ...]
    expanded_uncertainty: dict[Quantity, dict[str, FigureIn]] | None = None
    budgets: dict[Quantity, dict[str, tuple[PartPaper, ...]]] | None = None
    spacing_confirmed: StrictBool | None = None
    baselines: tuple[BaselinePaper, ...] = ()


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
    budgets: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for (quantity, unit), expanded in coupon.expanded_uncertainty.items():
        if isinstance(expanded, Budget):
            parts = [_part_to_json(part) for part in expanded.parts]
            budgets.setdefault(quantity.value, {})[unit] = parts
        else:
            uncertainty.setdefault(quantity.value, {})[unit] = str(expanded)
    content = {
        "alloy": coupon.alloy,
        "temper": coupon.temper,
        "form": coupon.form,
        "thickness_mm": None if coupon.thickness_mm is None else str(coupon.thickness_mm),
        "surface": None if coupon.surface is None else coupon.surface.value,
        "readings": [reading_to_json(reading) for reading in coupon.readings],
        "expanded_uncertainty": uncertainty or None,
        "budgets": budgets or None,
        "spacing_confirmed": coupon.spacing_confirmed,
        "baselines": [_baseline_to_json(one) for one in coupon.baselines] or None,
    }
    return {key: value for key, value in content.items() if value is not None}


def _checked(paper: CouponPaper, filename: str) -> Coupon:
    coupon = Coupon(
        alloy=paper.alloy,
        temper=paper.temper,
        form=paper.form,
        thickness_mm=paper.thickness_mm,
        surface=paper.surface,
        readings=tuple(reading_of(reading) for reading in paper.readings),
        expanded_uncertainty=_uncertainty(paper, filename),
        spacing_confirmed=paper.spacing_confirmed,
        baselines=tuple(
            Baseline(one.quantity, scale_or_unit(one.quantity, one.scale, one.unit), one.readings)
            for one in paper.baselines
        ),
    )
    try:
        check_coupon(coupon)
    except Refusal as refusal:
        raise BadFile(f"{filename}: {refusal.sentence}") from refusal
    return coupon


def _uncertainty(paper: CouponPaper, filename: str) -> dict[tuple[Quantity, str], Decimal | Budget]:
    """U by quantity and scale or unit, as a whole or as a budget, never as both."""
    known: dict[tuple[Quantity, str], Decimal | Budget] = {
        (quantity, unit): expanded
        for quantity, by_unit in (paper.expanded_uncertainty or {}).items()
        for unit, expanded in by_unit.items()
    }
    for quantity, budgets in (paper.budgets or {}).items():
        for unit, parts in budgets.items():
            if (quantity, unit) in known:
                raise BadFile(
                    f"{filename}: budgets, {quantity}, {unit}: expanded_uncertainty states it as "
                    "a whole already; give one of the two."
                )
            known[quantity, unit] = Budget(tuple(_part(part) for part in parts))
    return known


def _part(paper: PartPaper) -> Part:
    figure = paper.standard if paper.expanded is None else paper.expanded
    return Part(
        paper.name,
        figure,
        is_expanded=paper.expanded is not None,
        repeats=paper.repeats,
        source=paper.source,
    )


def _part_to_json(part: Part) -> dict[str, Any]:
    written = {
        "name": part.name,
        "expanded" if part.is_expanded else "standard": (
            None if part.figure is None else str(part.figure)
        ),
        "repeats": part.repeats or None,
        "source": part.source or None,
    }
    return {key: value for key, value in written.items() if value is not None}


def _baseline_to_json(baseline: Baseline) -> dict[str, Any]:
    kind = "scale" if baseline.quantity is Quantity.HARDNESS else "unit"
    return {
        "quantity": baseline.quantity.value,
        kind: baseline.unit,
        "readings": [str(reading) for reading in baseline.readings],
    }
