"""A run's export, one file or several, read under a mapping: exactly, or refused in one sentence.

Every reading is bit for bit ``float`` of its text, with a point for the decimal mark. A vacuum that
is not stated in kPa below ambient, and temperatures of both units, are converted in double
precision. Times are whole nanoseconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from app.documents.logger.logger_cells import Rows
from app.documents.logger.logger_clock import RowUnreadable
from app.documents.logger.logger_csv import LoggerReading
from app.documents.logger.logger_delimited import body_of, read_delimited, read_line_by_line
from app.documents.logger.logger_join import first_rows, joined
from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_rows import EPOCH, NANOSECONDS
from app.documents.logger.logger_series import Series, series_of
from app.documents.logger.logger_table import Table
from app.documents.logger.logger_xlsx import read_sheet
from app.errors import BadFile
from app.judging.record.trace import Trace

MOST_FILES = 64


@dataclass(frozen=True, slots=True)
class LoggerFile:
    """A file as it was given: its name, which sentences use, and its bytes.

    Not ``whole`` are its first rows only, for a look: no footer is asked for, and of several files
    the rows that go together are read.
    """

    name: str
    content: bytes
    whole: bool = True


def read_logger(
    files: Sequence[LoggerFile], mapping: LoggerMapping, *, max_bytes: int | None = None
) -> LoggerReading:
    """The run's trace by channel, with what a person should see of it.

    ``max_bytes`` holds for all files together. ``started_at`` is aware, in the record's zone, or
    None for elapsed times.

    Raises:
        BadFile: one sentence with file, row and column, what was found, and what to do.
    """
    _check_files(files, mapping, max_bytes)
    read = [_series(file, mapping) for file in files]
    parts = [series for series, _ in read]
    if not all(file.whole for file in files):
        parts = first_rows(parts, mapping)
    whole = joined(parts, mapping)
    table = read[0][1]
    times = (whole.nanoseconds - whole.nanoseconds[0]) / NANOSECONDS
    started = None
    if whole.zone is not None:
        moment = EPOCH + timedelta(microseconds=int(whole.nanoseconds[0]) // 1000)
        started = moment.astimezone(whole.zone)
    return LoggerReading(
        Trace(np.asarray(times, dtype=np.float64), whole.channels, mapping.trace_unit),
        tuple(table.column(at) for at in range(len(table.names))),
        " ".join(table.column(at) for at in table.times_at),
        "elapsed_s" if whole.zone is None else "iso",
        started,
        whole.notes,
    )


def _check_files(
    files: Sequence[LoggerFile], mapping: LoggerMapping, max_bytes: int | None
) -> None:
    """Refuse too many or too large files, and the same one twice."""
    if not files:
        raise BadFile("No file was given; choose the logger's file.")
    name = files[0].name
    if len(files) > 1 and mapping.files == "one":
        raise BadFile(
            f"{files[1].name}: the mapping reads one file, and {len(files)} were given; state in "
            f"it how several belong together, or choose one."
        )
    if len(files) > MOST_FILES:
        raise BadFile(f"{name}: {len(files)} files were given and at most {MOST_FILES} are taken.")
    size = sum(len(file.content) for file in files)
    if max_bytes is not None and size > max_bytes:
        together = "" if len(files) == 1 else " with the other files"
        raise BadFile(
            f"{name}: it is {size / 1e6:.1f} MB{together} and at most {max_bytes / 1e6:g} MB are "
            f"taken; export one run only, or fewer columns."
        )
    for at, file in enumerate(files):
        for other in files[:at]:
            if other.name == file.name:
                raise BadFile(f"{file.name}: two files have this name; rename one of them.")
            if other.content == file.content:
                raise BadFile(
                    f"{file.name}: it holds the very bytes of {other.name}; choose each file once."
                )


def _series(file: LoggerFile, mapping: LoggerMapping) -> tuple[Series, Table]:
    """One file's series, and its columns."""
    filename = file.name
    if not file.whole:
        mapping = mapping.model_copy(update={"footer": None, "last_row_without_line_end": "take"})
    if mapping.kind == "xlsx":
        rows, table = read_sheet(file.content, mapping, filename=filename)
        return _placed(rows, table, mapping, filename), table
    body = body_of(file.content, mapping, filename=filename)
    rows = read_delimited(body, mapping, filename=filename)
    try:
        return series_of(rows, body.table.parts, mapping, filename=filename), body.table
    except RowUnreadable:
        if rows.numbers is None:
            rows = read_line_by_line(body, mapping, filename=filename)
        return _placed(rows, body.table, mapping, filename), body.table


def _placed(rows: Rows, table: Table, mapping: LoggerMapping, filename: str) -> Series:
    """The series of rows whose numbers are known.

    Raises:
        BadFile: a row's time cannot be placed; names the row.
    """
    try:
        return series_of(rows, table.parts, mapping, filename=filename)
    except RowUnreadable as error:
        row = 0 if rows.numbers is None else int(rows.numbers[error.at])
        column = " and ".join(table.column(at) for at in table.times_at)
        raise BadFile(f"{filename}, row {row}, column {column}: {error.says}") from error
