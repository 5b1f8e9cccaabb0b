"""The form for a correction table: its head, and its grid as pasted from a spreadsheet."""

import json
import re
from decimal import Decimal

from pydantic import Field, TypeAdapter

from app.errors import refuse
from app.judging.units import UNITS, Quantity
from app.judging.witness.acceptance import Obtained
from app.judging.witness.corrections import CorrectionReason, Parameter
from app.requirements.forms.papers import WrittenAgain
from app.web.entries import TypedCode
from app.web.forms import TypedFigure

THIS_PAPER = "this correction table"
QUANTITIES = [
    (f"{quantity.value}|{unit}", f"{quantity.words}, {unit}")
    for quantity in (Quantity.HARDNESS, Quantity.CONDUCTIVITY)
    for unit in UNITS[quantity]
]
"""What can be corrected, as choices of the form: quantity and scale or unit."""
REASONS = [
    (CorrectionReason.CURVATURE.value, "Curvature of a round coupon, by its diameter"),
    (CorrectionReason.THICKNESS.value, "Thickness of a thin coupon"),
    (CorrectionReason.CLAD.value, "Cladding, for all thicknesses"),
    ("clad by thickness", "Cladding, by the coupon's thickness"),
]
_PARAMETERS = {
    CorrectionReason.CURVATURE.value: Parameter.DIAMETER,
    CorrectionReason.THICKNESS.value: Parameter.THICKNESS,
    CorrectionReason.CLAD.value: None,
    "clad by thickness": Parameter.THICKNESS,
}
_FIGURE: TypeAdapter[Decimal] = TypeAdapter(TypedFigure)
_BETWEEN = re.compile(r"\s*[;\t]\s*|\s+")


class CorrectionForm(WrittenAgain):
    """A correction table as typed."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    revision: str = Field(max_length=20)
    source_document: str = Field(title="source document", max_length=200)
    source: str = Field(title="clause or table of the source", max_length=200)
    obtained: Obtained = Field(title="how the values came here")
    corrects: str = Field(title="what it corrects", max_length=60)
    goes_by: str = Field(title="what it is for", max_length=40)
    grid: str = Field(title="figures", max_length=20_000)

    def paper(self) -> str:
        """The table as its JSON paper.

        Raises:
            Refusal: a choice is not one of the list, or the grid is none; names line and place.
        """
        if self.corrects not in dict(QUANTITIES):
            refuse("corrects", "Choose what the table corrects.")
        if self.goes_by not in _PARAMETERS:
            refuse("goes_by", "Choose what the correction is for.")
        quantity, unit = self.corrects.split("|")
        parameter = _PARAMETERS[self.goes_by]
        parameters, readings, additions = _grid(self.grid, parameter)
        return json.dumps(
            {
                "name": self.name,
                "revision": self.revision,
                "quantity": quantity,
                "scale" if quantity == Quantity.HARDNESS.value else "unit": unit,
                "reason": self.goes_by.split()[0],
                "parameter": None if parameter is None else parameter.value,
                "parameters": parameters,
                "readings": readings,
                "additions": additions,
                "source": self.source,
                "obtained": self.obtained.value,
            }
        )


_Grid = tuple[list[str], list[str], list[list[str]]]


def _grid(typed: str, parameter: Parameter | None) -> _Grid:
    """The measures across, the readings down, and the figures to be added, as texts."""
    lines = [(number, line) for number, line in enumerate(typed.splitlines(), 1) if line.strip()]
    if not lines:
        refuse("grid", "Paste the table's figures: a line for each reading.")
    across: list[str] = []
    if parameter is not None:
        number, first = lines.pop(0)
        # The corner above the readings may hold words, or nothing.
        across = [
            _figure(cell, number, at)
            for at, cell in enumerate(_cells(first), 1)
            if any(sign.isdigit() for sign in cell)
        ]
        if not across:
            refuse("grid", f"Line {number}: it must hold each {parameter.words} in mm.")
    readings, additions = [], []
    for number, line in lines:
        cells = [_figure(cell, number, at) for at, cell in enumerate(_cells(line), 1)]
        wanted = (len(across) or 1) + 1
        if len(cells) != wanted:
            says = f"Line {number}: {len(cells)} figures where {wanted} are needed: "
            refuse("grid", f"{says}the reading, then what is added to it.")
        readings.append(cells[0])
        additions.append(cells[1:])
    return across, readings, additions


def _cells(line: str) -> list[str]:
    return [cell for cell in _BETWEEN.split(line.strip()) if cell]


def _figure(cell: str, line: int, place: int) -> str:
    try:
        return str(_FIGURE.validate_python(cell))
    except ValueError:
        refuse("grid", f"Line {line}, figure {place}: {cell[:20]!r} is no number; correct it.")
