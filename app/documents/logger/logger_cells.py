"""The slow, exact pass over an export's rows of cells: figures, or the row and column at fault."""

import math
import re
from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.documents.logger.logger_clock import Cell, Clock, Serial, Unreadable, short
from app.documents.logger.logger_clock_columns import Stamps
from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_rows import is_missing
from app.documents.logger.logger_table import Table
from app.errors import BadFile
from app.judging.record.spans import Floats

_GROUP_SIGNS = {"space": " \u00a0\u202f", "apostrophe": "'\u2019", "point": ".", "comma": ","}
_INFINITE = {"inf", "infinity"}


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """A file's rows: times, one float64 array a channel, and row numbers where they are known."""

    stamps: Stamps
    channels: list[Floats]
    numbers: NDArray[np.int64] | None


class Figures:
    """How a mapping's readings are written.

    A word for missing readings that is a number means that figure, however it is written;
    ``missing_figures`` holds these.
    """

    def __init__(self, mapping: LoggerMapping) -> None:
        self._comma = mapping.decimal_mark == "comma"
        point = "," if self._comma else r"\."
        self._plain = re.compile(rf"[+-]?(\d+({point}\d*)?|{point}\d+)([eE][+-]?\d+)?", re.ASCII)
        signs = _GROUP_SIGNS.get(mapping.thousands_mark, "")
        self._grouped = (
            re.compile(rf"[+-]?\d{{1,3}}([{re.escape(signs)}]\d{{3}})+({point}\d*)?", re.ASCII)
            if signs
            else None
        )
        self._signs = str.maketrans("", "", signs)
        self._words = {word.upper() for word in mapping.missing}
        self.missing_figures = {
            figure for word in mapping.missing if (figure := self._number(word)) is not None
        }

    def read(self, cell: Cell) -> float:
        """The reading, exactly ``float`` of its text with a decimal point; NaN where missing.

        Raises:
            Unreadable: it is no number.
        """
        if isinstance(cell, float):
            if not math.isfinite(cell):
                raise Unreadable("it is no finite number; leave the cell blank.")
            return math.nan if cell in self.missing_figures else cell
        if isinstance(cell, Serial):
            raise Unreadable("it is a date, not a number; correct the column's format.")
        text = cell.strip()
        if is_missing(text) or text.upper() in self._words:
            return math.nan
        value = self._number(text)
        if value is None:
            raise Unreadable(self._fault(text))
        return math.nan if value in self.missing_figures else value

    def _number(self, text: str) -> float | None:
        """The finite number a text is under the mapping's marks, else None."""
        if self._plain.fullmatch(text):
            plain = text
        elif self._grouped is not None and self._grouped.fullmatch(text):
            plain = text.translate(self._signs)
        else:
            return None
        value = float(plain.replace(",", ".") if self._comma else plain)
        return value if math.isfinite(value) else None

    def _fault(self, text: str) -> str:
        """What is wrong with a reading."""
        if text.lstrip("+-").lower() in _INFINITE or self._plain.fullmatch(text):
            return (
                f"{short(text)} is no finite number; leave the cell blank where the reading is "
                f"missing."
            )
        if ("." if self._comma else ",") in text:
            stated = "decimal commas" if self._comma else "decimal points"
            return (
                f"{short(text)} is no number with {stated}, as the mapping states; correct the "
                f"mapping's decimal or thousands mark."
            )
        return (
            f"{short(text)} is no number; name it under missing in the mapping if it stands for "
            f"a missing reading, or mend the export."
        )


def read_cells(
    rows: Iterable[tuple[int, Sequence[Cell]]],
    table: Table,
    mapping: LoggerMapping,
    *,
    filename: str,
) -> Rows:
    """Every row's time and readings; ``rows`` are row numbers and cells, blank rows left out.

    Raises:
        BadFile: the first thing wrong, by row and column.
    """
    clock, figures = Clock(mapping.time), Figures(mapping)
    comma = mapping.decimal_mark == "comma"
    numbers, stamps = array("q"), array("q")
    channels = [array("d") for _ in table.parts]
    zones: list[str] = []
    for number, cells in rows:
        at = table.times_at[0]
        try:
            stamp = clock.read([cells[one] for one in table.times_at], comma=comma)
            for at, channel in zip(table.parts_at, channels, strict=True):
                channel.append(figures.read(cells[at]))
        except Unreadable as error:
            where = f"{filename}, row {number}, column {table.column(at)}"
            raise BadFile(f"{where}: {error.says}") from error
        numbers.append(number)
        stamps.append(stamp.nanoseconds)
        zones.append(stamp.zone)
    kinds = set(zones) or {""}
    return Rows(
        Stamps(np.array(stamps, dtype=np.int64), kinds.pop() if len(kinds) == 1 else tuple(zones)),
        [np.array(channel, dtype=np.float64) for channel in channels],
        np.array(numbers, dtype=np.int64),
    )


def joined_rows(pieces: Sequence[Rows]) -> Rows | None:
    """The rows of all pieces, each with its row numbers; None where there is no piece."""
    if len(pieces) < 2:  # noqa: PLR2004 - nothing to join
        return pieces[0] if pieces else None
    zones = {piece.stamps.zones for piece in pieces}
    told: str | tuple[str, ...] = pieces[0].stamps.zones
    if len(zones) > 1 or not isinstance(told, str):
        told = tuple(
            zone
            for piece in pieces
            for zone in (
                (piece.stamps.zones,) * len(piece.stamps.nanoseconds)
                if isinstance(piece.stamps.zones, str)
                else piece.stamps.zones
            )
        )
    stamps = np.concatenate([piece.stamps.nanoseconds for piece in pieces])
    columns = zip(*(piece.channels for piece in pieces), strict=True)
    numbers = [piece.numbers for piece in pieces if piece.numbers is not None]
    return Rows(
        Stamps(stamps, told),
        [np.concatenate(column) for column in columns],
        np.concatenate(numbers) if len(numbers) == len(pieces) else None,
    )
