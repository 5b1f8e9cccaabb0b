"""A spreadsheet's export under its mapping: figures that stand in cells, as they stand there.

Formulas, merged cells, hidden rows and columns, and error cells are refused: what they show is not
what was logged. ``#N/A`` is a missing reading.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from datetime import date, time, timedelta
from typing import TypeAlias

from python_calamine import CalamineError, CalamineSheet, load_workbook

from app.documents.logger.logger_cells import Rows, read_cells
from app.documents.logger.logger_clock import Cell, Clock, Serial, Unreadable
from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_package import Package, open_package
from app.documents.logger.logger_rows import no_readings
from app.documents.logger.logger_sheet import SheetWalk, address, address_of_key, cell_key
from app.documents.logger.logger_table import Table, check_units, find_header, table_of
from app.errors import BadFile

SheetRow: TypeAlias = tuple[int, list[Cell]]

_DATES = (date, time, timedelta)


def read_sheet(content: bytes, mapping: LoggerMapping, *, filename: str) -> tuple[Rows, Table]:
    """The rows of the mapping's sheet with their numbers, and its columns.

    Raises:
        BadFile: names the cell, or row and column, what was found, and what to do.
    """
    package = open_package(content, mapping.sheet, filename=filename)
    walk = SheetWalk(package, filename)
    rows = sheet_rows(package, walk, filename)
    table, rows = _table(rows, mapping, package, filename)
    body = _Body(rows, table, mapping, filename)
    read = read_cells(body.rows(), table, mapping, filename=filename)
    if not len(read.stamps.nanoseconds):
        raise no_readings(filename, table.header_row)
    walk.refuse_hidden(table.header_row or body.first_row, body.last_row, len(table.names))
    return read, table


def _table(
    rows: Iterator[SheetRow], mapping: LoggerMapping, package: Package, filename: str
) -> tuple[Table, Iterator[SheetRow]]:
    """The sheet's columns, and the rows that follow its header and unit row."""
    if mapping.header == "none":
        first = next(rows, None)
        if first is None:
            raise BadFile(f"{filename}: the sheet {package.sheet} is empty; export the run again.")
        names: tuple[str, ...] = ("",) * len(first[1])
        return table_of(names, 0, mapping, filename=filename), _again(first, rows)
    texts = ((number, as_texts(cells)) for number, cells in rows)
    header_row, names = find_header(texts, mapping, filename=filename)
    while names and not names[-1]:
        names = names[:-1]
    table = table_of(names, header_row, mapping, filename=filename)
    if mapping.unit_row:
        number, cells = next(rows, (header_row, []))
        check_units(as_texts(cells), number, table, mapping, filename=filename)
    return table, rows


def _again(first: SheetRow, rows: Iterator[SheetRow]) -> Iterator[SheetRow]:
    yield first
    yield from rows


class _Body:
    """The rows of readings, with the numbers of the first and the last one that was given."""

    def __init__(
        self, rows: Iterator[SheetRow], table: Table, mapping: LoggerMapping, filename: str
    ) -> None:
        self._rows = rows
        self._table = table
        self._mapping = mapping
        self._filename = filename
        self.first_row = self.last_row = table.header_row

    def rows(self) -> Iterator[SheetRow]:
        """The rows before the stated footer.

        Raises:
            BadFile: the footer is not there, a row of readings is in it, or a cell stands beyond
                the header's last column.
        """
        width = len(self._table.names)
        for number, cells in self._before_footer():
            for column, cell in enumerate(cells[width:], start=width + 1):
                if cell != "":
                    raise BadFile(
                        f"{self._filename}: cell {address(number, column)} stands beyond the last "
                        f"column of the header; give its column a name, or clear it."
                    )
            self.first_row = self.first_row or number
            self.last_row = number
            yield number, cells

    def _before_footer(self) -> Iterator[SheetRow]:
        footer = self._mapping.footer
        if footer is None:
            yield from self._rows
        elif footer.marker is not None:
            yield from self._before_marker(footer.marker)
        else:
            last: deque[SheetRow] = deque()
            for row in self._rows:
                last.append(row)
                if len(last) > (footer.rows or 0):
                    yield last.popleft()
            for row in last:
                self._refuse_reading(row)

    def _before_marker(self, marker: str) -> Iterator[SheetRow]:
        for number, cells in self._rows:
            first = next((cell for cell in cells if cell != ""), "")
            if isinstance(first, str) and first.startswith(marker):
                return
            yield number, cells
        raise BadFile(
            f"{self._filename}: no row begins with {marker}, the mark of its end, so the sheet may "
            f"be cut short; export the run again."
        )

    def _refuse_reading(self, row: SheetRow) -> None:
        """Refuse a row of readings among the stated footer's rows."""
        number, cells = row
        comma = self._mapping.decimal_mark == "comma"
        try:
            Clock(self._mapping.time).read([cells[at] for at in self._table.times_at], comma=comma)
        except Unreadable:
            return
        raise BadFile(
            f"{self._filename}, row {number}: the mapping states a footer of so many rows, but "
            f"this is a row of readings; correct the footer in the mapping."
        )


def sheet_rows(package: Package, walk: SheetWalk, filename: str) -> Iterator[SheetRow]:
    """The sheet's rows that are not blank, by number, each from column A on."""
    found, indent = _opened(package, filename)
    blank: list[Cell] = [""] * indent
    try:
        for number, values in enumerate(found.iter_rows(), start=1):
            cells = [
                _cell(value, cell_key(number, column), walk, package, filename)
                for column, value in enumerate(values, start=indent + 1)
            ]
            if any(cell != "" for cell in cells):
                yield number, blank + cells
    except CalamineError as error:
        raise _unreadable(package, filename) from error


def _opened(package: Package, filename: str) -> tuple[CalamineSheet, int]:
    """The sheet, and how many blank columns stand before those it gives."""
    try:
        found = load_workbook(package.as_file()).get_sheet_by_name(package.sheet)
    except CalamineError as error:
        raise _unreadable(package, filename) from error
    # Rows are given from the top of the sheet, columns from the first that is used.
    return found, found.start[1] if found.start else 0


def _unreadable(package: Package, filename: str) -> BadFile:
    return BadFile(
        f"{filename}: its sheet {package.sheet} cannot be read; save it anew as XLSX, or export "
        f"the run again."
    )


def _cell(value: object, key: int, walk: SheetWalk, package: Package, filename: str) -> Cell:
    """A cell as the walk over the XML and the reader agree that it is."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float | int):
        return float(value)
    if isinstance(value, str):
        return walk.errors.get(key, value)
    if isinstance(value, _DATES) and key in walk.dates:
        return Serial(walk.dates[key], package.from_1904)
    raise BadFile(
        f"{filename}: cell {address_of_key(key)} cannot be read exactly; export it as text."
    )


def as_texts(cells: Sequence[Cell]) -> list[str]:
    """Cells as a header row reads them."""
    return [
        cell if isinstance(cell, str) else f"{cell:g}" if isinstance(cell, float) else ""
        for cell in cells
    ]
