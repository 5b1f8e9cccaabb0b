"""A correction table in words: its head, and its grid, a row for each reading. Pure."""

from app.judging.rounding import shown
from app.judging.witness.corrections import CorrectionTable
from app.requirements.rules.parts import Part
from app.requirements.rules.procedures import obtained_words

_REASONS = {
    "curvature": "the curvature of a round coupon",
    "thickness": "the thickness of a thin coupon",
    "clad": "cladding",
}


def correction_parts(table: CorrectionTable) -> tuple[Part, ...]:
    """What a second person compares: what the table is for, and every figure of its grid."""
    unit = table.unit
    goes_by = "the reading alone"
    if table.parameter is not None:
        goes_by = f"the reading and the coupon's {table.parameter.words}"
    head = (
        ("Corrects", f"{table.quantity.words} in {unit}"),
        ("For", _REASONS[table.reason.value]),
        ("Goes by", goes_by),
        ("Between its points", "straight lines; outside them a reading does not count"),
        ("Source", table.source),
        ("How the values came here", obtained_words(table.obtained)),
    )
    across = tuple(f"added at {shown(measure)} mm, {unit}" for measure in table.parameters) or (
        f"added, {unit}",
    )
    rows = tuple(
        (shown(reading), *(shown(figure) for figure in row))
        for reading, row in zip(table.readings, table.additions, strict=True)
    )
    grid = Part("grid", "What is added", rows, (f"Reading, {unit}", *across))
    return Part("head", "What it is for", head), grid
