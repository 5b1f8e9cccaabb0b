"""An export's text as UTF-8 lines: encodings checked, nothing decoded twice, nothing copied twice.

A line ends with LF, CR LF or CR. Row numbers count lines from 1, as a text editor does.
"""

import csv
import io
from collections.abc import Iterator, Sequence

from app.documents.logger.logger_mapping import FooterPart, LoggerMapping
from app.errors import BadFile

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|"}
_UTF8_MARK = b"\xef\xbb\xbf"
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")
_SPREADSHEET_MARKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_LONGEST_LINE = 1_000_000


def utf8_of(content: bytes, mapping: LoggerMapping, *, filename: str) -> bytes:
    """The file's text in UTF-8 without a byte-order mark.

    Raises:
        BadFile: it is empty, no text, or in another encoding than the mapping states.
    """
    if not content[:4096].strip() and not content.strip():
        raise BadFile(f"{filename}: the file is empty; export the run again.")
    if content.startswith(_SPREADSHEET_MARKS):
        raise BadFile(
            f"{filename}: it is a spreadsheet or an archive, and the mapping reads CSV; choose a "
            f"mapping for XLSX."
        )
    if mapping.encoding == "utf-16":
        return _from_utf16(content, filename)
    if content.startswith(_UTF16_MARKS):
        raise BadFile(
            f"{filename}: its byte-order mark says UTF-16, but the mapping states "
            f"{mapping.encoding}; correct the mapping's encoding."
        )
    if b"\0" in content:
        raise BadFile(f"{filename}: it is a binary file, not text; export the run as CSV.")
    if mapping.encoding == "latin-1":
        if content.startswith(_UTF8_MARK):
            raise BadFile(
                f"{filename}: its byte-order mark says UTF-8, but the mapping states latin-1; "
                f"correct the mapping's encoding."
            )
        return content if content.isascii() else content.decode("latin-1").encode()
    text = content.removeprefix(_UTF8_MARK)
    if not text.isascii():
        try:
            text.decode()
        except UnicodeDecodeError as error:
            row = _lines_before(text, error.start) + 1
            raise BadFile(
                f"{filename}, row {row}: it is not UTF-8 text; correct the mapping's encoding, or "
                f"export the file in UTF-8."
            ) from error
    return text


def _from_utf16(content: bytes, filename: str) -> bytes:
    if not content.startswith(_UTF16_MARKS):
        raise BadFile(
            f"{filename}: it has no byte-order mark of UTF-16, which the mapping states; correct "
            f"the mapping's encoding, or export the file in UTF-8."
        )
    try:
        text = content.decode("utf-16").encode()
    except UnicodeError as error:
        raise BadFile(
            f"{filename}: it is not UTF-16 text throughout, so it may be cut short; export the run "
            f"again."
        ) from error
    if b"\0" in text:
        raise BadFile(f"{filename}: it holds binary zeros; export the run again as text.")
    return text


def _lines_before(text: bytes, at: int) -> int:
    """How many line ends stand before a place."""
    head = text[:at]
    return head.count(b"\n") + head.count(b"\r") - head.count(b"\r\n")


def lines_of(text: bytes) -> Iterator[tuple[int, int, int, int]]:
    """Each line's number from 1, where it begins and ends, and where the next one begins."""
    begin, number = 0, 1
    # The next line end of each kind is looked for once, however far it is.
    next_lf = text.find(b"\n")
    next_cr = text.find(b"\r")
    while begin < len(text):
        if 0 <= next_lf < begin:
            next_lf = text.find(b"\n", begin)
        if 0 <= next_cr < begin:
            next_cr = text.find(b"\r", begin)
        end = min((at for at in (next_lf, next_cr) if at >= 0), default=len(text))
        after = end + (2 if text[end : end + 2] == b"\r\n" else 1)
        yield number, begin, end, min(after, len(text))
        begin, number = after, number + 1


def cells_of_line(line: bytes, mapping: LoggerMapping) -> list[str]:
    """The cells of one line; none where quotes do not close or the line is far too long."""
    if len(line) > _LONGEST_LINE:
        return []
    delimiter = DELIMITERS[str(mapping.delimiter)]
    try:
        return next(csv.reader([line.decode()], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return []


def end_of_rows(text: bytes, begin: int, mapping: LoggerMapping, *, filename: str) -> int:
    """Where the rows of readings end: the footer's place, else the end of the text.

    Raises:
        BadFile: the stated footer is not there, or the last row may be cut short.
    """
    footer = mapping.footer
    if footer is not None and footer.marker is not None:
        end = _marker_at(text, begin, footer.marker)
        if end is None:
            raise BadFile(
                f"{filename}: no row begins with {footer.marker}, the mark of its end, so the file "
                f"may be cut short; export the run again."
            )
        return end
    if mapping.last_row_without_line_end == "refuse" and text[-1:] not in {b"\n", b"\r"}:
        row = _lines_before(text, len(text)) + 1
        raise BadFile(
            f"{filename}, row {row}: the last row has no line end, so it may be cut short; export "
            f"the run again, or state last_row_without_line_end in the mapping."
        )
    return len(text) if footer is None else _before_last_rows(text, begin, footer)


def _marker_at(text: bytes, begin: int, marker: str) -> int | None:
    """Where the first line at or after ``begin`` that begins with the marker starts."""
    found = [
        at
        for sign in (b"", b'"')
        if (at := _line_with(text, begin, sign + marker.encode())) is not None
    ]
    return min(found, default=None)


def _line_with(text: bytes, begin: int, start: bytes) -> int | None:
    at = text.find(start, begin)
    while at >= 0:
        if at == begin or text[at - 1 : at] in {b"\n", b"\r"}:
            return at
        at = text.find(start, at + 1)
    return None


def _before_last_rows(text: bytes, begin: int, footer: FooterPart) -> int:
    """Where the last rows begin, blank lines not counted."""
    end, left = len(text), footer.rows or 0
    while left and end > begin:
        trimmed = len(text[begin:end].rstrip(b"\r\n")) + begin if end - begin < 1 << 16 else None
        stop = trimmed if trimmed is not None else _trimmed(text, begin, end)
        at = max(text.rfind(b"\n", begin, stop), text.rfind(b"\r", begin, stop))
        end = max(at + 1, begin)
        left -= 1
    return end


def _trimmed(text: bytes, begin: int, end: int) -> int:
    while end > begin and text[end - 1 : end] in {b"\n", b"\r"}:
        end -= 1
    return end


def rows_of_lines(
    text: bytes, first_row: int, mapping: LoggerMapping, *, width: int, filename: str
) -> Iterator[tuple[int, Sequence[str]]]:
    """Every row's number and cells, blank lines left out; ``text`` begins with row ``first_row``.

    Raises:
        BadFile: a row has more or fewer cells than ``width``, or quotes that do not close.
    """
    stream = io.TextIOWrapper(io.BytesIO(text), encoding="utf-8", newline=None)
    reader = csv.reader(stream, delimiter=DELIMITERS[str(mapping.delimiter)], strict=True)
    before = 0
    try:
        for cells in reader:
            row = first_row + before
            if reader.line_num != before + 1:
                raise BadFile(
                    f"{filename}, row {row}: a quoted cell holds a line end; export the file again "
                    f"with every row on one line."
                )
            before = reader.line_num
            if not cells:
                continue
            if len(cells) != width:
                raise BadFile(
                    f"{filename}, row {row}: {len(cells)} cells where {width} are expected; export "
                    f"the file again so that every row is whole, or name the footer in the mapping."
                )
            yield row, cells
    except csv.Error as error:
        raise BadFile(
            f"{filename}, row {first_row + before}: its quotes or line ends are out of order "
            f"({error}); export the file again."
        ) from error
