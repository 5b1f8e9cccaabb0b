"""What a logger's export looks like: its text, its marks, its header. Guesses, each with a reason.

Nothing here reads a record. A guess fills a form in, and a person confirms it.
"""

import csv
import re
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass

from app.documents.logger.logger_clock import Cell, Serial
from app.documents.logger.logger_lines import DELIMITERS
from app.documents.logger.logger_package import open_package
from app.documents.logger.logger_rows import is_missing, no_readings
from app.documents.logger.logger_sheet import SheetWalk
from app.documents.logger.logger_xlsx import sheet_rows
from app.errors import BadFile

HEAD_BYTES = 65_536
TAIL_BYTES = 8_192
HEAD_ROWS = 60
_LIKE = 0.8
_NAMED = 12
_POINT = re.compile(r"[+-]?\d*\.\d+([eE][+-]?\d+)?", re.ASCII)
_COMMA = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
_THREE = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_UNIT_WORD = re.compile(r"[\[(]?\W?([A-Za-z%]{1,4}( ?Hg)?|deg ?[CF]|h+:m+:s+)[\])]?")


@dataclass(frozen=True, slots=True)
class Head:
    """The first rows of a file and its last ones, as cells, by row number.

    Of a CSV file also how its text seems to be written, and in words how sure that is.
    """

    filename: str
    kind: str
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    last: tuple[tuple[Cell, ...], ...]
    encoding: str | None = None
    delimiter: str | None = None
    sheet: str | None = None
    ends_with_line_end: bool = True
    certain: tuple[str, ...] = ()
    guessed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the table is: header (row number and names, or none), unit row, rows of readings.

    ``foot`` is what the last row begins with where it is no row of readings.
    """

    header_row: int | None
    names: tuple[str, ...]
    units: tuple[str, ...] | None
    body: tuple[tuple[Cell, ...], ...]
    foot: str | None


def head_of(content: bytes, *, filename: str) -> Head:
    """The first rows of a file of either kind.

    Raises:
        BadFile: it is empty, or holds no table at all.
    """
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return _sheet_head(content, filename)
    if not content[:4096].strip() and not content.strip():
        raise BadFile(f"{filename}: the file is empty; export the run again.")
    encoding, certain, guessed = _encoding(content, filename)
    lines, last = _lines(content, encoding)
    delimiter = max(DELIMITERS, key=lambda name: _fit(lines, DELIMITERS[name]))
    if _fit(lines, DELIMITERS[delimiter]) <= 0:
        raise BadFile(
            f"{filename}: no table of columns with readings is in it; export the run again as CSV "
            f"or XLSX."
        )
    sign = DELIMITERS[delimiter]
    rows = tuple((number, _split(line, sign)) for number, line in lines)
    return Head(
        filename,
        "csv",
        rows,
        tuple(_split(line, sign) for line in last if line.strip()),
        encoding,
        delimiter,
        ends_with_line_end=content.rstrip(b"\0")[-1:] in {b"\n", b"\r"},
        certain=(*certain, f"Its columns are parted by the {delimiter} sign."),
        guessed=tuple(guessed),
    )


def _sheet_head(content: bytes, filename: str) -> Head:
    package = open_package(content, None, filename=filename)
    walk = SheetWalk(package, filename)
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    last: deque[tuple[Cell, ...]] = deque(maxlen=3)
    for number, cells in sheet_rows(package, walk, filename):
        last.append(tuple(cells))
        if len(rows) < HEAD_ROWS:
            rows.append((number, tuple(cells)))
    if not rows:
        raise BadFile(f"{filename}: the sheet {package.sheet} is empty; export the run again.")
    certain = (f"It is a spreadsheet with one sheet, {package.sheet}.",)
    return Head(filename, "xlsx", tuple(rows), tuple(last), sheet=package.sheet, certain=certain)


def _encoding(content: bytes, filename: str) -> tuple[str, list[str], list[str]]:
    """The encoding, and what is certain and what is guessed of it."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", ["Its byte-order mark says UTF-16."], []
    if b"\0" in content[:HEAD_BYTES]:
        raise BadFile(f"{filename}: it is a binary file, not text; export the run as CSV or XLSX.")
    if content.startswith(b"\xef\xbb\xbf"):
        return "utf-8", ["Its byte-order mark says UTF-8."], []
    if content.isascii():
        return "utf-8", ["Its text is plain ASCII, the same in UTF-8 and Latin-1."], []
    try:
        content.decode()
    except UnicodeDecodeError:
        return "latin-1", [], ["Its text is not UTF-8, so it is taken for Latin-1."]
    return "utf-8", ["Its text is UTF-8."], []


def _lines(content: bytes, encoding: str) -> tuple[list[tuple[int, str]], list[str]]:
    """The first lines that are not blank with their numbers, and the last ones."""
    whole = len(content) <= HEAD_BYTES
    head = content[:HEAD_BYTES].decode(encoding, errors="ignore").removeprefix("\ufeff")
    lines = re.split(r"\r\n|\n|\r", head)
    if not whole:
        lines.pop()
    numbered = [(number, line) for number, line in enumerate(lines, start=1) if line.strip()]
    if whole:
        return numbered[: 10 * HEAD_ROWS], [line for _, line in numbered][-3:]
    tail = content[-TAIL_BYTES:]
    if encoding == "utf-16":
        encoding = "utf-16-le" if content.startswith(b"\xff\xfe") else "utf-16-be"
    ending = re.split(r"\r\n|\n|\r", tail.decode(encoding, errors="ignore"))[1:]
    return numbered[: 10 * HEAD_ROWS], [line for line in ending if line.strip()][-3:]


def _split(line: str, delimiter: str) -> tuple[Cell, ...]:
    try:
        return tuple(next(csv.reader([line], delimiter=delimiter, strict=True), ()))
    except csv.Error:
        return (line,)


def _fit(lines: Sequence[tuple[int, str]], delimiter: str) -> float:
    """How well a sign parts the lines: even rows whose cells are figures, words or times."""
    rows = [_split(line, delimiter) for _, line in lines[-HEAD_ROWS:]]
    if not rows:
        return 0.0
    width, count = Counter(len(row) for row in rows).most_common(1)[0]
    if width < 2 or count < _LIKE / 2 * len(rows):  # noqa: PLR2004 - a time and a channel
        return 0.0
    cells = [str(cell).strip() for row in rows if len(row) == width for cell in row]
    sound = sum(
        is_missing(cell) or bool(_is_figure(cell)) or not set(";\t|") & set(cell) for cell in cells
    )
    figures = sum(_is_figure(cell) for cell in cells)
    return count / len(rows) * (sound + figures) / len(cells) + width / 10_000


def _is_figure(cell: str) -> bool:
    return any(form.fullmatch(cell) for form in (_POINT, _COMMA, _WHOLE))


def is_reading(cell: Cell) -> bool:
    """Whether a cell may be a reading, missing ones included."""
    if isinstance(cell, str):
        return is_missing(cell) or _is_figure(cell.strip())
    return isinstance(cell, float)


def layout_of(head: Head) -> Layout:
    """Where the table of a file is."""
    rows = head.rows
    width = Counter(len(cells) for _, cells in rows[-HEAD_ROWS:]).most_common(1)[0][0]
    even = [(number, cells) for number, cells in rows if len(cells) == width]
    begin = next(
        (at for at, (_, cells) in enumerate(even) if _is_body(cells)), max(len(even) - 1, 0)
    )
    body = tuple(cells for _, cells in even[begin:])
    above = even[:begin]
    units: tuple[str, ...] | None = None
    if len(above) > 1 and _is_unit_row(above[-1][1]):
        units = _texts(above.pop()[1])
    header_row, names = None, ("",) * width
    if above and len(set(_texts(above[-1][1]))) > 1:
        header_row, names = above[-1][0], _texts(above[-1][1])
    foot = _foot(head.last, width) if body else None
    if foot is not None:
        body = tuple(cells for cells in body if _is_body(cells)) or body
    return Layout(header_row, names, units, body, foot)


def refuse_without_readings(head: Head, layout: Layout) -> None:
    """Refuse a file whose table ends with its header: no figure stands beneath it.

    Raises:
        BadFile: names the last whole row.
    """
    figures = any(_begins_with_figure(cell) for cells in layout.body for cell in cells)
    if figures or any(_is_body(cells) for cells in head.last):
        return
    row, cells = next(
        (number, cells) for number, cells in reversed(head.rows) if len(cells) == len(layout.names)
    )
    names = [name for name in _texts(cells) if name]
    raise no_readings(head.filename, row, names[:_NAMED])


def _foot(last: Sequence[Sequence[Cell]], width: int) -> str | None:
    """What the first of the last rows begins with that are no rows of readings."""
    foot = None
    for cells in reversed(last):
        if len(cells) == width and _is_body(cells):
            return foot
        foot = next((str(cell) for cell in cells if cell != ""), foot)
    return foot


def _is_body(cells: Sequence[Cell]) -> bool:
    """Whether a row may be one of readings: a time or figure first, or figures enough."""
    said = [cell for cell in cells if cell != ""]
    figures = [_begins_with_figure(cell) for cell in said]
    if len(said) > 1 and figures[0] and any(is_reading(cell) for cell in said[1:]):
        return True
    return sum(figures) >= max(2, len(cells) / 3)


def _begins_with_figure(cell: Cell) -> bool:
    return isinstance(cell, float | Serial) or cell[:1].isdigit()


def _is_unit_row(cells: Sequence[Cell]) -> bool:
    texts = [text for text in _texts(cells) if text]
    return bool(texts) and all(_UNIT_WORD.fullmatch(text) for text in texts)


def _texts(cells: Sequence[Cell]) -> tuple[str, ...]:
    return tuple(
        cell.strip() if isinstance(cell, str) else f"{cell:g}" if isinstance(cell, float) else ""
        for cell in cells
    )


def decimal_mark(body: Sequence[Sequence[Cell]]) -> tuple[str | None, str]:
    """The decimal mark that the readings show, and the reason; None where it cannot be told."""
    texts = [cell.strip() for cells in body for cell in cells if isinstance(cell, str)]
    points = [text for text in texts if _POINT.fullmatch(text)]
    commas = [text for text in texts if _COMMA.fullmatch(text)]
    if points and commas:
        return None, f"Some figures have points and some commas ({points[0]}, {commas[0]})."
    shown = points or commas
    mark = "comma" if commas else "point"
    if shown and all(_THREE.fullmatch(text) for text in shown):
        return None, f"{shown[0]} may be a figure with three decimals, or one of thousands."
    if shown:
        return mark, f"Figures such as {shown[0]} have a decimal {mark}."
    return "point", "No figure in the first rows has decimals; a decimal point is taken."
