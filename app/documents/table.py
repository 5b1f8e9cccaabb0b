"""TABLE.json: an acceptance table as a paper, to and from judging's own types."""

from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import Field, StrictBool, StringConstraints, model_validator

from app.documents.paper import FigureIn, Paper, WholeIn, load_paper, load_paper_file, paper_from
from app.errors import BadFile, Refusal
from app.judging.rounding import RoundingMethod
from app.judging.units import Quantity
from app.judging.witness.acceptance import (
    Criterion,
    DecisionRule,
    Entry,
    EntryKey,
    Obtained,
    RetestOf,
    RetestRule,
    Span,
    Statistic,
    Surface,
    Table,
    ThicknessRange,
    Zone,
    ZoneOutcome,
)
from app.judging.witness.acceptance_checks import check_table
from app.judging.witness.eddy_current import DEPTHS_NEEDED

Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]


def scale_or_unit(quantity: Quantity, scale: str | None, unit: str | None) -> str:
    """Hardness has a scale, everything else a unit; exactly one of the two is given.

    Raises:
        ValueError: the wrong one, both or neither.
    """
    if quantity is Quantity.HARDNESS:
        if scale is None or unit is not None:
            raise ValueError("hardness needs scale, and no unit")
        return scale
    if unit is None or scale is not None:
        raise ValueError(f"{quantity.words} needs unit, and no scale")
    return unit


class ThicknessPaper(Paper):
    """The thickness range in mm; both ends say whether they are included."""

    lower: FigureIn = Field(alias="from")
    upper: FigureIn = Field(alias="to")
    from_included: StrictBool
    to_included: StrictBool


class RetestPaper(Paper):
    """How many further coupons, or sets of readings, must all conform, and whether by another."""

    further: WholeIn
    of: RetestOf
    by_another: StrictBool = False


class SpanPaper(Paper):
    """From one figure to another, both ends included."""

    lower: FigureIn = Field(alias="from")
    upper: FigureIn = Field(alias="to")


class AlsoPaper(Paper):
    """A criterion inside an accept_if zone: each reading, and one of them, unless it says so."""

    quantity: Quantity
    scale: str | None = None
    unit: str | None = None
    min: FigureIn | None = None
    max: FigureIn | None = None
    statistic: Statistic = Statistic.EACH
    readings_min: WholeIn = 1
    range_max: FigureIn | None = None
    rounding: RoundingMethod | None = None
    resolution: FigureIn | None = None
    zones: tuple["ZonePaper", ...] | None = None
    instruments: tuple[Text, ...] | None = None
    standards_apart: FigureIn | None = None
    possible: SpanPaper | None = None
    usual: SpanPaper | None = None
    correction: Text | None = None
    rise: SpanPaper | None = None
    source: Text | None = None
    obtained: Obtained | None = None

    @model_validator(mode="after")
    def _has_its_scale_or_unit(self) -> Self:
        scale_or_unit(self.quantity, self.scale, self.unit)
        return self


class CriterionPaper(AlsoPaper):
    """One requirement of an entry: it says its statistic and its number of readings."""

    statistic: Statistic
    readings_min: WholeIn


class ZonePaper(Paper):
    """A band of the value, both ends included; an end left out is open."""

    lower: FigureIn | None = Field(default=None, alias="from")
    upper: FigureIn | None = Field(default=None, alias="to")
    outcome: ZoneOutcome
    also: tuple[AlsoPaper, ...] | None = None


class EntryPaper(Paper):
    """One row of the table."""

    alloy: Text
    temper: Text
    form: Text
    thickness_mm: ThicknessPaper
    surface: Surface | None = None
    decision: DecisionRule = DecisionRule.SIMPLE
    source: Text
    obtained: Obtained
    retest: RetestPaper | None = None
    depths_needed: FigureIn | None = None
    criteria: tuple[CriterionPaper, ...]


class TablePaper(Paper):
    """An acceptance table at one revision."""

    name: Text
    revision: Text
    blind: StrictBool = False
    entries: tuple[EntryPaper, ...]


def load_table(text: str | bytes, *, filename: str = "TABLE.json") -> Table:
    """The table in JSON text, checked by `check_table`.

    Raises:
        BadFile: one sentence naming the file, the entry and the field.
    """
    return _checked(load_paper(TablePaper, text, filename=filename), filename)


def load_table_file(path: Path) -> Table:
    """The table in a file, checked by `check_table`.

    Raises:
        BadFile: one sentence naming the file, the entry and the field.
    """
    return _checked(load_paper_file(TablePaper, path), path.name)


def table_from_json(content: object, *, filename: str = "TABLE.json") -> Table:
    """The table from what JSON text held (numbers as `Decimal`, `int` or text, never `float`).

    Raises:
        BadFile: one sentence naming the file, the entry and the field.
    """
    return _checked(paper_from(TablePaper, content, filename=filename), filename)


def table_to_json(table: Table) -> dict[str, Any]:
    """The table as JSON values that `table_from_json` reads back the same; figures are text.

    What a table may say since it could first be written is left out where it is not said, so that
    the digest of an older table stays the same.
    """
    return {
        "name": table.name,
        "revision": table.revision,
        **({"blind": True} if table.blind else {}),
        "entries": [_entry_to_json(entry) for entry in table.entries],
    }


def entry_key_to_json(key: EntryKey) -> dict[str, Any]:
    """An entry's key as JSON values."""
    thickness = key.thickness
    return {
        "alloy": key.alloy,
        "temper": key.temper,
        "form": key.form,
        "thickness_mm": {
            "from": format(thickness.lower, "f"),
            "to": format(thickness.upper, "f"),
            "from_included": thickness.lower_included,
            "to_included": thickness.upper_included,
        },
        "surface": None if key.surface is None else key.surface.value,
    }


def _checked(paper: TablePaper, filename: str) -> Table:
    entries = tuple(_entry(entry) for entry in paper.entries)
    table = Table(paper.name, paper.revision, entries, paper.blind)
    try:
        check_table(table)
    except Refusal as refusal:
        raise BadFile(f"{filename}: {refusal.sentence}") from refusal
    return table


def _entry(paper: EntryPaper) -> Entry:
    thickness = ThicknessRange(
        paper.thickness_mm.lower,
        paper.thickness_mm.upper,
        paper.thickness_mm.from_included,
        paper.thickness_mm.to_included,
    )
    retest = paper.retest
    return Entry(
        key=EntryKey(paper.alloy, paper.temper, paper.form, thickness, paper.surface),
        criteria=tuple(_criterion(criterion) for criterion in paper.criteria),
        source=paper.source,
        obtained=paper.obtained,
        decision=paper.decision,
        retest=None
        if retest is None
        else RetestRule(retest.further, retest.of, by_another=retest.by_another),
        depths_needed=DEPTHS_NEEDED if paper.depths_needed is None else paper.depths_needed,
    )


def _criterion(paper: AlsoPaper) -> Criterion:
    return Criterion(
        quantity=paper.quantity,
        unit=scale_or_unit(paper.quantity, paper.scale, paper.unit),
        minimum=paper.min,
        maximum=paper.max,
        statistic=paper.statistic,
        readings_min=paper.readings_min,
        range_max=paper.range_max,
        rounding=paper.rounding or RoundingMethod.ROUNDING,
        resolution=paper.resolution,
        zones=tuple(_zone(zone) for zone in paper.zones or ()),
        instruments=paper.instruments or (),
        standards_apart=paper.standards_apart,
        possible=_span(paper.possible),
        usual=_span(paper.usual),
        correction=paper.correction,
        rise=_span(paper.rise),
        source=paper.source,
        obtained=paper.obtained,
    )


def _span(paper: SpanPaper | None) -> Span | None:
    return None if paper is None else (paper.lower, paper.upper)


def _zone(paper: ZonePaper) -> Zone:
    also = tuple(_criterion(criterion) for criterion in paper.also or ())
    return Zone(paper.lower, paper.upper, paper.outcome, also)


def _entry_to_json(entry: Entry) -> dict[str, Any]:
    return {
        **entry_key_to_json(entry.key),
        "decision": entry.decision.value,
        "source": entry.source,
        "obtained": entry.obtained.value,
        "retest": _retest_to_json(entry.retest),
        "depths_needed": format(entry.depths_needed, "f"),
        "criteria": [_criterion_to_json(criterion) for criterion in entry.criteria],
    }


def _retest_to_json(rule: RetestRule | None) -> dict[str, Any] | None:
    if rule is None:
        return None
    by_another = {"by_another": True} if rule.by_another else {}
    return {"further": rule.further, "of": rule.of.value, **by_another}


def _criterion_to_json(criterion: Criterion) -> dict[str, Any]:
    kind = "scale" if criterion.quantity is Quantity.HARDNESS else "unit"
    figures = {
        "min": criterion.minimum,
        "max": criterion.maximum,
        "range_max": criterion.range_max,
        "resolution": criterion.resolution,
    }
    return {
        "quantity": criterion.quantity.value,
        kind: criterion.unit,
        "statistic": criterion.statistic.value,
        "readings_min": criterion.readings_min,
        "rounding": criterion.rounding.value,
        # str, not "f": the limit 8E+1 is stated to tens, and 80 is not.
        **{name: None if figure is None else str(figure) for name, figure in figures.items()},
        "zones": [_zone_to_json(zone) for zone in criterion.zones] or None,
        **_measuring_to_json(criterion),
        **({"source": criterion.source} if criterion.source is not None else {}),
        **({"obtained": criterion.obtained.value} if criterion.obtained is not None else {}),
    }


def _measuring_to_json(criterion: Criterion) -> dict[str, Any]:
    """How the criterion wants to be measured; what it does not say is left out."""
    apart = criterion.standards_apart
    said = {
        "instruments": list(criterion.instruments) or None,
        "standards_apart": None if apart is None else str(apart),
        "possible": _span_to_json(criterion.possible),
        "usual": _span_to_json(criterion.usual),
        "correction": criterion.correction,
        "rise": _span_to_json(criterion.rise),
    }
    return {name: value for name, value in said.items() if value is not None}


def _span_to_json(span: Span | None) -> dict[str, str] | None:
    return None if span is None else {"from": str(span[0]), "to": str(span[1])}


def _zone_to_json(zone: Zone) -> dict[str, Any]:
    return {
        "from": None if zone.lower is None else str(zone.lower),
        "to": None if zone.upper is None else str(zone.upper),
        "outcome": zone.outcome.value,
        "also": [_criterion_to_json(criterion) for criterion in zone.also] or None,
    }
