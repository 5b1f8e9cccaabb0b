"""A report's figures as they are typed or pasted: one line a sensor or point. Pure.

Cells of a line are parted by tabs or semicolons, or by spaces where a line has neither; a decimal
comma counts as a point. A first line of headings is passed over. A line that cannot be read is
refused by its number and the name of the cell.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any, NoReturn

from app.equipment.rules.results import DEGREES, MILLIVOLTS
from app.errors import Refusal
from app.judging.furnace.procedure import CheckKind
from app.judging.furnace.thermocouples import LETTERS

MOST_LINES = 400
"""More lines than any report has; a longer paste is a slip."""

COLUMNS = {
    CheckKind.UNIFORMITY_SURVEY: (
        "set temperature",
        "station",
        "along",
        "across",
        "lowest",
        "highest",
        "correction",
    ),
    CheckKind.ACCURACY_TEST: ("channel", "test instrument", "indicated"),
    CheckKind.RECORDER_CALIBRATION: ("channel", "applied", "unit", "indicated"),
}
"""What the cells of a line are, in order; a survey's last cell may be left out."""

_FAILED = {"-", "–", "failed", "x"}  # noqa: RUF001 - a pasted dash
_VOLTAGE_COLUMNS = ("channel", "applied", "unit", "thermocouple type", "indicated")
_REFERENCE_COLUMNS = (*_VOLTAGE_COLUMNS[:4], "reference junction", "indicated")
_UNITS = {"C": DEGREES, "DEGC": DEGREES, "°C": DEGREES, "MV": MILLIVOLTS}
_LONGEST_NAME = 40
_LEAST_VOLTAGE_CELLS = len(_VOLTAGE_COLUMNS)


def survey_figures(lines: str, zone: dict[str, Decimal]) -> dict[str, Any]:
    """A survey's paper from its lines; ``zone`` holds its length, width and lower left corner.

    Raises:
        Refusal: a line that cannot be read, or no line at all.
    """
    rows = [_survey_row(number, cells) for number, cells in _rows(lines)]
    rows.sort(key=lambda row: row[0])
    return {
        "zone": {name: format(figure, "f") for name, figure in zone.items()},
        "temperatures": [
            {"set_c": format(at, "f"), "sensors": [sensor for _, sensor in sensors]}
            for at, sensors in groupby(rows, key=lambda row: row[0])
        ],
    }


def accuracy_figures(lines: str) -> dict[str, Any]:
    """An accuracy test's paper from its lines.

    Raises:
        Refusal: a line that cannot be read, or no line at all.
    """
    names = COLUMNS[CheckKind.ACCURACY_TEST]
    return {
        "readings": [
            {
                "channel": _name(number, names[0], cells[0]),
                "test_c": _figure(number, names[1], cells[1]),
                "indicated_c": _figure(number, names[2], cells[2]),
            }
            for number, cells in _rows(lines)
            if _has(number, cells, names)
        ]
    }


def recorder_figures(lines: str) -> dict[str, Any]:
    """A recorder calibration's paper from its lines.

    A point in mV names the thermocouple type before what was indicated, and between the two, where
    it was not at 0 degC, the temperature of the reference junction.

    Raises:
        Refusal: a line that cannot be read, or no line at all.
    """
    return {"points": [_recorder_point(number, cells) for number, cells in _rows(lines)]}


def figures_from_lines(
    kind: CheckKind, lines: str, zone: dict[str, Decimal] | None
) -> dict[str, Any]:
    """The paper of a report of that kind; a survey needs its ``zone``.

    Raises:
        Refusal: a line that cannot be read, no line at all, or a survey without its zone.
    """
    if kind is CheckKind.UNIFORMITY_SURVEY:
        if zone is None:
            sentence = "Give the length and the width of the zone that was surveyed."
            raise Refusal(sentence, fields={"zone_length_mm": sentence})
        return survey_figures(lines, zone)
    if kind is CheckKind.ACCURACY_TEST:
        return accuracy_figures(lines)
    return recorder_figures(lines)


def _survey_row(number: int, cells: Sequence[str]) -> tuple[Decimal, dict[str, Any]]:
    names = COLUMNS[CheckKind.UNIFORMITY_SURVEY]
    _has(number, cells, names, fewest=len(names) - 1)
    failed = all(cell.casefold() in _FAILED for cell in cells[4:6])
    return Decimal(_figure(number, names[0], cells[0])), {
        "station": _name(number, names[1], cells[1]),
        "x_mm": _figure(number, names[2], cells[2]),
        "y_mm": _figure(number, names[3], cells[3]),
        "lowest_c": None if failed else _figure(number, names[4], cells[4]),
        "highest_c": None if failed else _figure(number, names[5], cells[5]),
        "correction_c": (
            _figure(number, names[6], cells[6]) if len(cells) == len(names) and cells[6] else None
        ),
    }


def _recorder_point(number: int, cells: Sequence[str]) -> dict[str, Any]:
    names = COLUMNS[CheckKind.RECORDER_CALIBRATION]
    _has(number, cells, names, most=len(_REFERENCE_COLUMNS))
    unit = _UNITS.get(cells[2].upper())
    if unit is None:
        _refuse(number, f"the unit {cells[2][:20]!r} is neither C nor mV; write one of them")
    letter = reference = None
    if unit == MILLIVOLTS:
        columns = _VOLTAGE_COLUMNS if len(cells) <= _LEAST_VOLTAGE_CELLS else _REFERENCE_COLUMNS
        _has(number, cells, columns)
        letter = cells[3].upper()
        if letter not in LETTERS:
            _refuse(
                number,
                f"{cells[3][:20]!r} is no thermocouple type; use one of {', '.join(LETTERS)}",
            )
        if columns is _REFERENCE_COLUMNS:
            reference = _figure(number, "reference junction", cells[4])
    else:
        _has(number, cells, names)
    return {
        "channel": _name(number, names[0], cells[0]),
        "applied": _figure(number, names[1], cells[1]),
        "unit": unit,
        "type": letter,
        "reference_c": reference,
        "indicated_c": _figure(number, "indicated", cells[-1]),
    }


def _rows(lines: str) -> Iterator[tuple[int, list[str]]]:
    """The lines that are not empty, numbered from 1, in cells; a line of headings left out."""
    found = 0
    for number, line in enumerate(lines.splitlines(), start=1):
        cells = _cells(line)
        if not any(cells) or (found == 0 and number == 1 and _is_heading(cells)):
            continue
        found += 1
        if found > MOST_LINES:
            _refuse(number, f"more than {MOST_LINES} lines are taken from no report; split it")
        yield number, cells
    if not found:
        sentence = "Type or paste the report's figures, one line each."
        raise Refusal(sentence, fields={"figures": sentence})


def _cells(line: str) -> list[str]:
    for mark in ("\t", ";"):
        if mark in line:
            return [cell.strip() for cell in line.strip(" \r\n").split(mark)]
    return line.split()


def _is_heading(cells: Sequence[str]) -> bool:
    """Whether no cell of the line is a figure."""
    return not any(_plain(cell) is not None for cell in cells)


def _has(
    number: int,
    cells: Sequence[str],
    names: Sequence[str],
    *,
    fewest: int | None = None,
    most: int | None = None,
) -> bool:
    """True where the line has as many cells as its columns; refused where not."""
    least, largest = fewest or len(names), most or len(names)
    if not least <= len(cells) <= largest:
        _refuse(
            number,
            f"{len(cells)} cells were found and {', '.join(names)} are asked, in that order",
        )
    return True


def _name(number: int, column: str, cell: str) -> str:
    if not 0 < len(cell) <= _LONGEST_NAME:
        _refuse(number, f"the {column} has 1 to {_LONGEST_NAME} characters")
    return cell


def _figure(number: int, column: str, cell: str) -> str:
    plain = _plain(cell)
    if plain is None:
        _refuse(number, f"{column}: {cell[:40]!r} is not a number; write it like 150.2")
    return plain


def _plain(cell: str) -> str | None:
    """The figure as it is kept, all its digits with a decimal point; None where it is none."""
    text = cell.replace(",", ".").replace("\N{MINUS SIGN}", "-")
    digits = text.removeprefix("-").removeprefix("+").replace(".", "", 1)
    if not (digits.isascii() and digits.isdigit()):
        return None
    return format(Decimal(text), "f")


def _refuse(number: int, words: str) -> NoReturn:
    sentence = f"Line {number}: {words}."
    raise Refusal(sentence, fields={"figures": sentence})
