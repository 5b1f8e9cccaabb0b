"""A first look at a logger's file: columns, a few rows, how to read it. Cheap at any size."""

import csv
import io
import itertools
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from app.documents.logger_csv import Layout, check_text, header_of
from app.documents.logger_rows import TimeKind, is_missing, iso_time, number
from app.errors import BadFile

HEAD_BYTES = 65_536
TAIL_BYTES = 8_192
ROWS_SHOWN = 8
_ROWS_GUESSED_FROM = 32
_FAHRENHEIT = re.compile(r"deg ?F\b|°F|[(\[_ ]F[)\]]?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Preview:
    """What a file looks like before it is read whole.

    ``rows`` are the first rows and ``last_row`` the last, as written. ``layout`` is a guess to be
    confirmed by a person; None where no column looks like the time. ``refusal`` is the sentence
    where the file cannot be read as it is, and then the rest may be empty.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    last_row: tuple[str, ...] | None
    layout: Layout | None
    refusal: str | None


def sniff(source: Path | bytes, *, filename: str) -> Preview:
    """A look at the head and tail of a file; never raises for what the file holds."""
    try:
        head, tail = _ends(source, filename)
        check_text(head, filename)
        header, _, rest = header_of(head, filename)
    except BadFile as error:
        return Preview((), (), None, None, error.sentence)
    whole = len(head) < HEAD_BYTES
    rows = _cells(head[rest:], ends_whole=whole)
    if not rows:
        says = f"{filename}: a header but no row of readings; export the run again."
        return Preview(tuple(header), (), None, None, says)
    last = rows if whole else _cells(tail[max(tail.find(b"\n"), tail.find(b"\r")) + 1 :])
    shown = tuple(rows[:ROWS_SHOWN])
    fitting = [row for row in rows if len(row) == len(header)]
    layout = _guess(header, fitting[:_ROWS_GUESSED_FROM])
    refusal = None if layout is not None else _no_time(filename, header, shown)
    return Preview(tuple(header), shown, last[-1] if last else None, layout, refusal)


def _ends(source: Path | bytes, filename: str) -> tuple[bytes, bytes]:
    """The first and last bytes of the file."""
    if isinstance(source, bytes):
        return source[:HEAD_BYTES], source[-TAIL_BYTES:]
    try:
        with source.open("rb") as file:
            head = file.read(HEAD_BYTES)
            size = source.stat().st_size
            file.seek(max(0, size - TAIL_BYTES))
            return head, file.read(TAIL_BYTES)
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise BadFile(f"{filename}: it cannot be read ({reason}); check the file.") from error


def _cells(content: bytes, *, ends_whole: bool = True) -> list[tuple[str, ...]]:
    """The rows of a piece of the file; its last line is left out where it may be cut."""
    text = content.decode("utf-8", errors="replace")
    lines = text.splitlines()
    if not ends_whole and lines:
        lines.pop()
    try:
        return [tuple(row) for row in csv.reader(io.StringIO("\n".join(lines))) if row]
    except csv.Error:
        return []


def _guess(header: list[str], rows: list[tuple[str, ...]]) -> Layout | None:
    """The layout the file seems to have: time column, unit from the names, columns of numbers."""
    found = _time_column(header, rows)
    if found is None:
        return None
    time_at, kind = found
    channels = tuple(
        name
        for at, name in enumerate(header)
        if at != time_at and all(is_missing(row[at]) or number(row[at]) is not None for row in rows)
    )
    unit: Literal["C", "F"] = "F" if any(_FAHRENHEIT.search(name) for name in channels) else "C"
    return Layout(header[time_at], kind, unit, channels)


def _time_column(header: list[str], rows: list[tuple[str, ...]]) -> tuple[int, TimeKind] | None:
    """Place and kind of the time column: by name, else the first column of ISO times.

    Most of the first rows decide: a single wrong cell is for the full reading, which names its row.
    """
    names = [name.lower() for name in header]
    rows = rows[:ROWS_SHOWN]
    if not rows:
        return None
    if "time_s" in names and "time" not in names:
        return names.index("time_s"), "elapsed_s"
    order = sorted(range(len(header)), key=lambda at: (names[at] != "time", at))
    for at in order:
        if _mostly([iso_time(row[at]) is not None for row in rows]):
            return at, "iso"
    for at in order:
        named = any(word in names[at] for word in ("time", "elapsed", "second"))
        values = [number(row[at]) for row in rows]
        pairs = itertools.pairwise(values)
        rises = [a is not None and b is not None and b > a for a, b in pairs]
        if named and values[0] is not None and (not rises or _mostly(rises)):
            return at, "elapsed_s"
    return None


def _mostly(told: list[bool]) -> bool:
    """Whether more than half hold."""
    return 2 * sum(told) > len(told)


def _no_time(filename: str, header: list[str], rows: tuple[tuple[str, ...], ...]) -> str:
    """Why no column can be the time."""
    first = ", ".join(rows[0][:4]) if rows else ""
    return (
        f"{filename}: none of its columns ({', '.join(header[:12])}) holds ISO 8601 times such as "
        f"2031-04-03T08:00:00 or rising elapsed seconds; the first row begins with "
        f"{first!r}. Export the times in one of these forms."
    )
