"""A walk over a sheet's XML: what must not be there, and what a reader of figures does not tell.

Formulas, cells out of order, and rows that are hidden as a rule are refused at once. Merged cells,
hidden rows and columns, error cells and the raw figures of date cells are kept for the reader.
"""

import math
import re
from xml.parsers import expat

from app.documents.logger.logger_mapping import MOST_COLUMNS
from app.documents.logger.logger_package import Attributes, Package, parse_all, plain_parser
from app.errors import BadFile

MOST_ROWS = 1_048_576
_ADDRESS = re.compile(r"([A-Z]{1,3})([1-9]\d{0,6})", re.ASCII)


class SheetWalk:
    """What a walk over a sheet's XML finds besides its figures; refuses what no export holds."""

    def __init__(self, package: Package, filename: str) -> None:
        self._filename = filename
        self._dated = package.dated_styles
        self.merged: list[tuple[int, int, int, int]] = []
        self.hidden_rows: list[int] = []
        self.hidden_columns: list[tuple[int, int]] = []
        self.errors: dict[int, str] = {}
        self.dates: dict[int, float] = {}
        self._row = self._column = 0
        self._kind = ""
        self._taken: list[str] | None = None
        parser = plain_parser(package.sheet_part, filename)
        parser.StartElementHandler = self._begin
        parser.EndElementHandler = self._end
        self._parser: expat.XMLParserType | None = parser
        parse_all(parser, package.parts[package.sheet_part], package.sheet_part, filename)
        # The parser holds this object's methods: without this neither would ever be freed.
        self._parser = parser.StartElementHandler = parser.EndElementHandler = None

    def _refuse(self, says: str) -> None:
        raise BadFile(f"{self._filename}: {says}.")

    def _begin(self, tag: str, attributes: Attributes) -> None:
        name = tag.rpartition(" ")[2]
        if name == "c":
            self._begin_cell(attributes)
        elif name == "v":
            if self._taken is not None and self._parser is not None:
                self._parser.CharacterDataHandler = self._taken.append
        elif name == "row":
            self._begin_row(attributes)
        elif name == "f":
            self._refuse(
                f"cell {address(self._row, self._column)} holds a formula; save the sheet with "
                f"values only, or export from the logger's software again"
            )
        elif name == "mergeCell":
            self.merged.append(_corners(attributes.get("ref", "")))
        elif name == "col":
            self._note_columns(attributes)
        elif name == "sheetFormatPr" and attributes.get("zeroHeight") in {"1", "true"}:
            self._refuse("its sheet hides rows; show them all, and look at them first")

    def _begin_row(self, attributes: Attributes) -> None:
        written = attributes.get("r")
        row = self._row + 1 if written is None else _whole(written)
        if not self._row < row <= MOST_ROWS:
            self._refuse(f"its row {written} is out of order; save it anew as XLSX")
        self._row, self._column = row, 0
        if attributes.get("hidden") in {"1", "true"} or _is_zero(attributes.get("ht")):
            self.hidden_rows.append(row)

    def _begin_cell(self, attributes: Attributes) -> None:
        written = attributes.get("r")
        row, column = (self._row, self._column + 1) if written is None else _place(written)
        if row != self._row or not self._column < column <= MOST_COLUMNS:
            self._refuse(f"its cell {written} is out of order; save it anew as XLSX")
        self._column = column
        self._kind = attributes.get("t", "n")
        if self._kind == "d":
            self._refuse(
                f"cell {address(row, column)} holds a date in a form that spreadsheets seldom "
                f"write; save the sheet anew as XLSX"
            )
        dated = self._kind == "n" and _whole(attributes.get("s", "0")) in self._dated
        self._taken = [] if dated or self._kind == "e" else None

    def _end(self, tag: str) -> None:
        if self._taken is None or tag.rpartition(" ")[2] != "v":
            return
        if self._parser is not None:
            self._parser.CharacterDataHandler = None
        text, self._taken = "".join(self._taken), None
        if self._kind == "e":
            self.errors[cell_key(self._row, self._column)] = text
            return
        try:
            days = float(text)
        except ValueError:
            days = math.nan
        if not math.isfinite(days):
            where = address(self._row, self._column)
            self._refuse(f"cell {where} holds {text[:40]!r}, which is no date; correct it")
        self.dates[cell_key(self._row, self._column)] = days

    def _note_columns(self, attributes: Attributes) -> None:
        if attributes.get("hidden") in {"1", "true"} or _is_zero(attributes.get("width")):
            first, last = (_whole(attributes.get(end, "0")) for end in ("min", "max"))
            self.hidden_columns.append((first, last))

    def refuse_hidden(self, first_row: int, last_row: int, width: int) -> None:
        """Refuse what is merged or hidden in the table, from its header to its last row."""
        for top, left, bottom, right in self.merged:
            if bottom >= first_row and top <= last_row and left <= width:
                cells = f"{address(top, left)}:{address(bottom, right)}"
                self._refuse(f"the cells {cells} are merged; part them and export again")
        for row in self.hidden_rows:
            if first_row <= row <= last_row:
                self._refuse(f"row {row} is hidden; show it and look at it before it is read")
        for left, right in self.hidden_columns:
            if left <= width:
                columns = f"{_letters(left)} to {_letters(min(right, width))}"
                self._refuse(f"the columns {columns} are hidden; show them and look at them first")


def address(row: int, column: int) -> str:
    """A cell's address: C5."""
    return f"{_letters(column)}{row}"


def _letters(column: int) -> str:
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def cell_key(row: int, column: int) -> int:
    """One number for a cell."""
    return row * (MOST_COLUMNS + 1) + column


def _whole(written: str) -> int:
    """A whole number of the sheet's XML; -1 where it is none."""
    return int(written) if written.isascii() and written.isdigit() and len(written) < 9 else -1  # noqa: PLR2004 - no row or column is longer


def _is_zero(written: str | None) -> bool:
    try:
        return written is not None and float(written) == 0
    except ValueError:
        return False


def _place(written: str) -> tuple[int, int]:
    """Row and column of an address; -1 and -1 where it is none."""
    matched = _ADDRESS.fullmatch(written)
    if matched is None:
        return -1, -1
    column = 0
    for letter in matched[1]:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(matched[2]), column


def _corners(ref: str) -> tuple[int, int, int, int]:
    """Top, left, bottom and right of a range such as A1:B2."""
    first, _, last = ref.partition(":")
    top, left = _place(first)
    bottom, right = _place(last or first)
    return top, left, max(bottom, top), max(right, left)


def address_of_key(key: int) -> str:
    """The address of a cell by its number."""
    return address(*divmod(key, MOST_COLUMNS + 1))
