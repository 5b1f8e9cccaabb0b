"""CORRECTION.json: a correction table as a paper, to and from judging's own type.

The paper does not hold its identity: that is the requirement's, and is handed in.
"""

from typing import Annotated, Any

from pydantic import StringConstraints

from app.documents.paper import FigureIn, Paper, load_paper, paper_from
from app.documents.table import scale_or_unit
from app.errors import BadFile, Refusal
from app.judging.units import Quantity
from app.judging.witness.acceptance import Obtained
from app.judging.witness.corrections import (
    CorrectionReason,
    CorrectionTable,
    Parameter,
    check_correction_table,
)

Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]


class CorrectionPaper(Paper):
    """The figures to be added: a row for each reading, in it one for each parameter."""

    name: Text
    revision: Text
    quantity: Quantity
    scale: str | None = None
    unit: str | None = None
    reason: CorrectionReason
    parameter: Parameter | None = None
    parameters: tuple[FigureIn, ...] = ()
    readings: tuple[FigureIn, ...]
    additions: tuple[tuple[FigureIn, ...], ...]
    source: Text
    obtained: Obtained


def load_correction_table(
    text: str | bytes, *, code: str, filename: str = "CORRECTION.json"
) -> CorrectionTable:
    """The table of that identity in JSON text, checked by `check_correction_table`.

    Raises:
        BadFile: one sentence naming the file and the field.
    """
    return _checked(load_paper(CorrectionPaper, text, filename=filename), code, filename)


def correction_table_from_json(
    content: object, *, code: str, filename: str = "CORRECTION.json"
) -> CorrectionTable:
    """The table from what JSON text held (numbers as `Decimal`, `int` or text, never `float`).

    Raises:
        BadFile: one sentence naming the file and the field.
    """
    return _checked(paper_from(CorrectionPaper, content, filename=filename), code, filename)


def correction_table_to_json(table: CorrectionTable) -> dict[str, Any]:
    """The table as JSON values that `correction_table_from_json` reads back; figures are text."""
    hard = table.quantity is Quantity.HARDNESS
    return {
        "name": table.name,
        "revision": table.revision,
        "quantity": table.quantity.value,
        "scale": table.unit if hard else None,
        "unit": None if hard else table.unit,
        "reason": table.reason.value,
        "parameter": None if table.parameter is None else table.parameter.value,
        "parameters": [str(one) for one in table.parameters],
        "readings": [str(one) for one in table.readings],
        "additions": [[str(one) for one in row] for row in table.additions],
        "source": table.source,
        "obtained": table.obtained.value,
    }


def _checked(paper: CorrectionPaper, code: str, filename: str) -> CorrectionTable:
    try:
        table = CorrectionTable(
            code=code,
            name=paper.name,
            revision=paper.revision,
            quantity=paper.quantity,
            unit=scale_or_unit(paper.quantity, paper.scale, paper.unit),
            reason=paper.reason,
            parameter=paper.parameter,
            readings=paper.readings,
            parameters=paper.parameters,
            additions=paper.additions,
            source=paper.source,
            obtained=paper.obtained,
        )
        check_correction_table(table)
    except ValueError as fault:
        raise BadFile(f"{filename}: {fault}.") from fault
    except Refusal as refusal:
        raise BadFile(f"{filename}: {refusal.sentence}") from refusal
    return table
