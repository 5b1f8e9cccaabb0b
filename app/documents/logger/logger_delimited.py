"""A CSV export under its mapping: whole columns where they are plain, else cell by cell."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv

from app.documents.logger.logger_cells import Figures, Rows, joined_rows, read_cells
from app.documents.logger.logger_clock import Clock, Unreadable
from app.documents.logger.logger_clock_columns import times_of
from app.documents.logger.logger_csv import LONGEST_RUN_OF_DASHES
from app.documents.logger.logger_lines import (
    DELIMITERS,
    cells_of_line,
    end_of_rows,
    lines_of,
    rows_of_lines,
    utf8_of,
)
from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_rows import MISSING_WORDS, no_readings
from app.documents.logger.logger_table import Table, check_units, find_header, table_of
from app.errors import BadFile
from app.judging.record.spans import Floats

_PIECE = 1 << 20
"""Bytes read at once where row numbers are wanted."""


@dataclass(frozen=True, slots=True)
class Body:
    """The rows of readings in a file's text: UTF-8, from row ``first_row`` on, footer cut off."""

    text: bytes
    begin: int
    end: int
    first_row: int
    table: Table


def body_of(content: bytes, mapping: LoggerMapping, *, filename: str) -> Body:
    """Where the rows of readings are, and which column feeds what.

    Raises:
        BadFile: encoding, header, units or footer are not as the mapping states.
    """
    text = utf8_of(content, mapping, filename=filename)
    if mapping.header == "none":
        first = next(
            (text[begin:end] for _, begin, end, _ in lines_of(text) if text[begin:end].strip()), b""
        )
        names = ("",) * len(cells_of_line(first, mapping))
        table = table_of(names, 0, mapping, filename=filename)
        return Body(text, 0, end_of_rows(text, 0, mapping, filename=filename), 1, table)
    row, names = find_header(
        ((number, cells_of_line(text[a:b], mapping)) for number, a, b, _ in lines_of(text)),
        mapping,
        filename=filename,
    )
    table = table_of(names, row, mapping, filename=filename)
    lines = lines_of(text)
    number, _, _, begin = next(line for line in lines if line[0] == row)
    if mapping.unit_row:
        for number, at, end, after in lines:
            begin = after
            if text[at:end].strip():
                cells = cells_of_line(text[at:end], mapping)
                check_units(cells, number, table, mapping, filename=filename)
                break
    end = end_of_rows(text, begin, mapping, filename=filename)
    return Body(text, begin, end, number + 1, table)


def read_delimited(body: Body, mapping: LoggerMapping, *, filename: str) -> Rows:
    """The rows of a CSV file, by whole columns; where that fails, see :func:`read_line_by_line`.

    Raises:
        BadFile: the first thing wrong, by row and column.
    """
    _refuse_footer_with_readings(body, mapping, filename)
    return _fast(body, mapping) or read_line_by_line(body, mapping, filename=filename)


def read_line_by_line(body: Body, mapping: LoggerMapping, *, filename: str) -> Rows:
    """The same rows with their row numbers; line by line only in the pieces that need it.

    Raises:
        BadFile: the first thing wrong, by row and column.
    """
    read = []
    begin, row = body.begin, body.first_row
    while begin < body.end:
        end = _piece_end(body.text, begin, body.end)
        piece = replace(body, begin=begin, end=end, first_row=row)
        lines = _line_count(piece)
        rows = _fast(piece, mapping)
        if rows is not None and len(rows.stamps.nanoseconds) == lines:
            rows = replace(rows, numbers=np.arange(row, row + lines, dtype=np.int64))
        else:
            cells = rows_of_lines(
                body.text[begin:end], row, mapping, width=len(body.table.names), filename=filename
            )
            rows = read_cells(cells, body.table, mapping, filename=filename)
        read.append(rows)
        begin, row = end, row + lines
    whole = joined_rows([rows for rows in read if len(rows.stamps.nanoseconds)])
    if whole is None:
        raise no_readings(filename, body.table.header_row)
    return whole


def _piece_end(text: bytes, begin: int, end: int) -> int:
    """Where a piece of about a megabyte ends: after a line end."""
    if end - begin <= 2 * _PIECE:
        return end
    feed = text.find(b"\n", begin + _PIECE, end)
    if feed >= 0:
        return feed + 1
    back = text.find(b"\r", begin + _PIECE, end)
    return back + 1 if back >= 0 else end


def _refuse_footer_with_readings(body: Body, mapping: LoggerMapping, filename: str) -> None:
    """Refuse a footer of so many rows where one of them is a row of readings."""
    footer = mapping.footer
    if footer is None or footer.rows is None:
        return
    clock = Clock(mapping.time)
    comma = mapping.decimal_mark == "comma"
    for line in body.text[body.end :].splitlines():
        cells = cells_of_line(line, mapping)
        if len(cells) != len(body.table.names):
            continue
        try:
            clock.read([cells[at] for at in body.table.times_at], comma=comma)
        except Unreadable:
            continue
        raise BadFile(
            f"{filename}: the mapping states a footer of {footer.rows} rows, but among them is a "
            f"row of readings ({', '.join(cells[:3])}); correct the footer in the mapping."
        )


def _fast(body: Body, mapping: LoggerMapping) -> Rows | None:
    """The rows by Arrow's reader; None where anything is not plain."""
    table, clock = body.table, Clock(mapping.time)
    names = [str(at) for at in range(len(table.names))]
    timed = pa.float64() if clock.is_number else pa.string()
    types = {names[at]: pa.float64() for at in table.parts_at}
    types |= {names[at]: timed for at in table.times_at}
    text = memoryview(body.text)[body.begin : body.end]
    # Arrow takes a byte-order mark off whatever it is given, even amid a file.
    if not len(text) or bytes(text[:3]) == b"\xef\xbb\xbf" or _has_odd_quotes(body, mapping):
        return None
    try:
        read = pa_csv.read_csv(
            pa.py_buffer(text),
            read_options=pa_csv.ReadOptions(column_names=names),
            parse_options=pa_csv.ParseOptions(delimiter=DELIMITERS[str(mapping.delimiter)]),
            convert_options=pa_csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=_nulls(mapping),
                strings_can_be_null=False,
                decimal_point="," if mapping.decimal_mark == "comma" else ".",
            ),
        )
    except pa.ArrowInvalid:
        return None
    if not read.num_rows or _has_joined_lines(body, read.num_rows):
        return None
    stamps = times_of(clock, [read.column(names[at]) for at in table.times_at])
    missing = Figures(mapping).missing_figures
    channels = [_channel(read.column(names[at]), missing) for at in table.parts_at]
    known = [channel for channel in channels if channel is not None]
    if stamps is None or len(known) < len(channels):
        return None
    return Rows(stamps, known, None)


def _has_odd_quotes(body: Body, mapping: LoggerMapping) -> bool:
    """Whether quotes do anything but enclose a whole cell: readers differ on what that means.

    Every other quote must open a cell, right after an edge, and the next one close it.
    """
    if body.text.find(b'"', body.begin, body.end) < 0:
        return False
    signs = np.frombuffer(body.text, dtype=np.uint8)[body.begin : body.end]
    quotes = np.flatnonzero(signs == ord('"'))
    edges = np.frombuffer(f"{DELIMITERS[str(mapping.delimiter)]}\r\n".encode(), dtype=np.uint8)
    bounded = np.concatenate((edges[-1:], signs, edges[-1:]))
    opens, closes = bounded[quotes[::2]], bounded[quotes[1::2] + 2]
    return len(quotes) % 2 == 1 or not (
        np.isin(opens, edges).all() and np.isin(closes, edges).all()
    )


def _has_joined_lines(body: Body, rows: int) -> bool:
    """Whether quotes have joined lines: then lines and rows differ in number."""
    if body.text.find(b'"', body.begin, body.end) < 0:
        return False
    return _line_count(body) != rows


def _line_count(body: Body) -> int:
    """How many lines the rows of readings take, blank ones included."""
    ends = body.text.count(b"\n", body.begin, body.end)
    ends += body.text.count(b"\r", body.begin, body.end)
    ends -= body.text.count(b"\r\n", body.begin, body.end)
    ended = body.text[body.end - 1 : body.end] in {b"\n", b"\r"}
    return ends + (not ended)


def _channel(column: Any, missing: set[float]) -> Floats | None:
    """A column's readings, NaN where missing; None where a figure is infinite or a bare NaN."""
    values: Floats = column.to_numpy()
    unknown = len(values) - int(np.isfinite(values).sum())
    if unknown != column.null_count:
        return None
    for figure in missing:
        values = np.where(values == figure, np.nan, values)
    return values


def _nulls(mapping: LoggerMapping) -> list[str]:
    """What stands for a missing reading, as written in the usual ways."""
    words = [*sorted(MISSING_WORDS), *mapping.missing]
    forms = [form for one in words for form in (one, one.upper(), one.lower(), one.capitalize())]
    dashes = ["-" * length for length in range(1, LONGEST_RUN_OF_DASHES + 1)]
    return ["", *dashes, "NaN", *dict.fromkeys(forms)]
