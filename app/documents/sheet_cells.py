"""The cells of an XLSX or CSV sheet that a person filled in, as what they are: text or not.

Formulas, merged or hidden cells, macros and packages that expand too far are refused, as they are
in a logger's spreadsheet.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from app.documents.logger.logger_clock import Cell, Serial
from app.documents.logger.logger_package import open_package
from app.documents.logger.logger_sheet import SheetWalk
from app.documents.logger.logger_xlsx import sheet_rows
from app.errors import BadFile

LARGEST_SHEET_BYTES = 2_000_000
MOST_ROWS = 2_000
_TOLD = (
    ("; name the one to read in the mapping", "; name the one to read"),
    (", and the mapping reads XLSX; choose a mapping for it", "; send XLSX or CSV"),
    ("; correct the mapping", "; name one of them"),
    (", or export from the logger's software again", ""),
    ("part them and export again", "part them and save it again"),
    ("export the run again", "save it again as XLSX"),
)
"""What the reader of loggers' sheets says to do, and what to do with a sheet that was typed."""


@dataclass(frozen=True, slots=True)
class SheetCell:
    """A cell's text without outer spaces; whether it is a number or a date to the spreadsheet."""

    text: str
    is_number: bool = False
    is_date: bool = False

    @property
    def plain(self) -> str:
        """The text as names are compared."""
        return self.text.casefold()


@dataclass(frozen=True, slots=True)
class Row:
    """A row with its number in the sheet, counted from 1."""

    number: int
    cells: tuple[SheetCell, ...]

    @property
    def is_filled(self) -> bool:
        """Whether any cell holds anything."""
        return any(cell.text for cell in self.cells)


@dataclass(frozen=True, slots=True)
class Grid:
    """A sheet: where it comes from, what it is called, and its rows from the top down."""

    filename: str
    sheet: str
    rows: tuple[Row, ...]


def read_grid(content: bytes, *, filename: str, sheet: str | None = None) -> Grid:
    """The sheet of an XLSX file (the one named, or the only one), or a CSV file.

    Raises:
        BadFile: it is too large, no such file, or holds what a typed sheet must not.
    """
    if len(content) > LARGEST_SHEET_BYTES:
        raise BadFile(
            f"{filename}: it is larger than {LARGEST_SHEET_BYTES} bytes; this is no table."
        )
    if content.startswith((b"PK", b"\xd0\xcf\x11\xe0")):
        try:
            return _xlsx(content, filename, sheet)
        except BadFile as fault:
            said = fault.sentence
            for theirs, ours in _TOLD:
                said = said.replace(theirs, ours)
            raise BadFile(said) from fault
    return _csv(content, filename)


def _xlsx(content: bytes, filename: str, sheet: str | None) -> Grid:
    package = open_package(content, sheet, filename=filename)
    walk = SheetWalk(package, filename)
    found = _bounded(
        (
            Row(number, tuple(_cell(cell) for cell in cells))
            for number, cells in sheet_rows(package, walk, filename)
        ),
        filename,
    )
    if found:
        width = max(len(row.cells) for row in found)
        walk.refuse_hidden(found[0].number, found[-1].number, width)
    return Grid(filename, f"sheet {package.sheet}", found)


def _cell(cell: Cell) -> SheetCell:
    if isinstance(cell, Serial):
        return SheetCell("a date", is_date=True)
    if isinstance(cell, float):
        whole = cell.is_integer() and abs(cell) < 1e15  # noqa: PLR2004 - exact as a float
        return SheetCell(str(int(cell)) if whole else repr(cell), is_number=True)
    return SheetCell(str(cell).strip())


def _csv(content: bytes, filename: str) -> Grid:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadFile(f"{filename}: it is not UTF-8; save it as CSV UTF-8, or as XLSX.") from error
    if "\0" in text:
        raise BadFile(f"{filename}: it is neither CSV nor XLSX; save it as one of them.")
    columns = next((line for line in text.splitlines() if "quantity" in line.casefold()), "")
    delimiter = max(",;\t", key=columns.count)
    try:
        lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        rows = (
            Row(number, tuple(SheetCell(cell.strip()) for cell in cells))
            for number, cells in enumerate(lines, start=1)
        )
        return Grid(filename, "the sheet", _bounded(rows, filename))
    except csv.Error as error:
        raise BadFile(f"{filename}: its quotes do not match ({error}); save it again.") from error


def _bounded(rows: Iterator[Row], filename: str) -> tuple[Row, ...]:
    found: list[Row] = []
    for row in rows:
        if len(found) >= MOST_ROWS:
            raise BadFile(f"{filename}: it has more than {MOST_ROWS} rows; this is no table.")
        found.append(row)
    return tuple(found)


def blank_sheet(head: tuple[str, ...], columns: tuple[str, ...]) -> str:
    """The CSV text of a sheet to be filled in: its head, an empty row, its column names."""
    written = io.StringIO()
    lines = csv.writer(written)
    lines.writerows([(word, "") for word in head])
    lines.writerow(())
    lines.writerow(columns)
    return written.getvalue()
