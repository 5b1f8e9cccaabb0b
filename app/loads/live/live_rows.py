"""Rows of a growing record as a logger sends them: read exactly, in one text form, chained. Pure.

A row is kept as a line of the file that the record will become: its time in UTC, then the figures
as they were sent, an empty cell for a missing one. Two rows are the same when their lines are.
"""

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from app.database import paper_sha256
from app.errors import Refusal

MOST_ROWS_A_BATCH = 5000
MOST_BYTES = 4_000_000
"""Largest body that is taken; 5,000 rows of 40 sensors have about 1.5 MB."""
MOST_CHANNELS = 200
CLOCK_AHEAD = timedelta(minutes=2)
"""How far a logger's clock may be ahead of the server's, included; further is a wrong clock."""
TIME_COLUMN = "time"
# A figure as a display shows it: no exponent, no sign but a minus, at most nine digits each side.
_FIGURE = re.compile(r"-?\d{1,9}(\.\d{1,9})?", re.ASCII)
_TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}:\d{2}([.,]\d{1,6})?(Z|[+-]\d{2}:?\d{2})", re.ASCII
)


@dataclass(frozen=True, slots=True)
class Opening:
    """What a logger says before its first row: its channels in the order of its cells."""

    channels: tuple[str, ...]
    temperature_unit: str

    def paper(self) -> dict[str, Any]:
        """As it is kept, and as the chain begins."""
        return {"channels": list(self.channels), "temperature_unit": self.temperature_unit}

    @property
    def header(self) -> str:
        """The first line of the file that the rows become."""
        return ",".join((TIME_COLUMN, *self.channels))


@dataclass(frozen=True, slots=True)
class Batch:
    """Rows as sent, ``first`` counting from 0; their cells are not looked at yet."""

    first: int
    rows: Sequence[Any]


def opening_of(body: bytes) -> Opening:
    """The opening that a logger sent.

    Raises:
        Refusal: it is no JSON object with ``channels`` and ``temperature_unit`` as they are asked.
    """
    sent = _read(body)
    channels, unit = sent.get("channels"), sent.get("temperature_unit")
    if not isinstance(channels, list) or not 1 <= len(channels) <= MOST_CHANNELS:
        raise Refusal(
            f"Send channels as a list of 1 to {MOST_CHANNELS} channel names, in the order of the "
            "cells to come."
        )
    for name in channels:
        if not isinstance(name, str) or not name.strip() or not _is_plain(name):
            raise Refusal(
                f"The channel {str(name)[:40]!r} is no channel name; send the planned channels' "
                "names as text."
            )
    if len(set(channels)) < len(channels):
        raise Refusal("A channel stands twice; send each once.")
    if unit not in {"C", "F"}:
        raise Refusal('Say "temperature_unit": "C" or "F".')
    return Opening(tuple(channels), str(unit))


def _is_plain(name: str) -> bool:
    return name.isprintable() and not set(name) & set(',"\r\n')


def batch_of(body: bytes) -> Batch:
    """The rows that a logger sent, not yet read cell by cell.

    Raises:
        Refusal: it is no JSON object with ``first`` and ``rows`` as they are asked for.
    """
    sent = _read(body)
    rows = sent.get("rows")
    if not isinstance(rows, list) or not rows:
        raise Refusal('Send "rows" as a list of at least one row: [time, cell, cell, ...].')
    if len(rows) > MOST_ROWS_A_BATCH:
        raise Refusal(
            f"These are {len(rows)} rows; at most {MOST_ROWS_A_BATCH} are taken at once. Send them "
            "in parts."
        )
    return Batch(whole_number(sent, "first"), rows)


def whole_number_of(body: bytes, name: str) -> int:
    """The one whole number, from 0 up, that a body holds under ``name``.

    Raises:
        Refusal: it holds none.
    """
    return whole_number(_read(body), name)


def whole_number(sent: dict[str, Any], name: str) -> int:
    """The whole number, from 0 up, under ``name``.

    Raises:
        Refusal: there is none.
    """
    text = sent.get(name)
    if not isinstance(text, str) or not re.fullmatch(r"\d{1,9}", text, re.ASCII):
        raise Refusal(f'Send "{name}" as a whole number, counting from 0.')
    return int(text)


def _read(body: bytes) -> dict[str, Any]:
    """A JSON object with every number as the text that was sent.

    Raises:
        Refusal: the body is something else.
    """
    try:
        sent = json.loads(body.decode("utf-8"), parse_float=str, parse_int=str)
    except (ValueError, RecursionError):
        sent = None
    if not isinstance(sent, dict):
        raise Refusal("The body is no JSON object in UTF-8; nothing of it was taken.")
    return sent


def lines_of(batch: Batch, channels: Sequence[str]) -> list[str]:
    """The rows' lines: times in UTC and rising, a figure or nothing for each channel.

    Raises:
        Refusal: names the row and the channel of the first cell that cannot be taken.
    """
    lines: list[str] = []
    before: datetime | None = None
    for number, row in enumerate(batch.rows, start=batch.first):
        if not isinstance(row, list) or len(row) != len(channels) + 1:
            raise Refusal(
                f"Row {number} does not have a time and {len(channels)} cells; send every channel "
                "of the opening in its order, null for a missing figure. Nothing was taken."
            )
        at = _moment(row[0], number)
        if before is not None and at <= before:
            raise Refusal(
                f"Row {number}: its time {row[0]} is not after the row before; times rise from row "
                "to row. Nothing was taken."
            )
        before = at
        cells = [_cell(cell, number, name) for cell, name in zip(row[1:], channels, strict=True)]
        lines.append(",".join((time_text(at), *cells)))
    return lines


def _moment(sent: Any, number: int) -> datetime:
    if isinstance(sent, str) and _TIME.fullmatch(sent.strip()):
        try:
            return datetime.fromisoformat(sent.strip()).astimezone(UTC)
        except (ValueError, OverflowError):
            pass  # Not a day of the calendar, or not a time of day.
    raise Refusal(
        f"Row {number}: {str(sent)[:40]!r} is no time with its zone to a microsecond at most, such "
        "as 2026-03-31T07:15:00+01:00. Nothing was taken."
    )


def _cell(sent: Any, number: int, channel: str) -> str:
    if sent is None:
        return ""
    if isinstance(sent, str) and (not sent.strip() or _FIGURE.fullmatch(sent.strip())):
        return sent.strip()
    raise Refusal(
        f"Row {number}, channel {channel}: {str(sent)[:40]!r} is no figure such as 150.1; send "
        "null where the sensor gave none. Nothing was taken."
    )


def time_text(at: datetime) -> str:
    """The time as it stands in a line: UTC, ISO 8601, microseconds only where there are any."""
    return at.astimezone(UTC).isoformat()


def moment_of(line: str) -> datetime:
    """The time of a kept line."""
    return datetime.fromisoformat(line.split(",", 1)[0])


def chain_start(layout: dict[str, Any]) -> str:
    """The digest before the first row: of the opening as it is kept."""
    return paper_sha256(layout)


def chain_next(before: str, text: str) -> str:
    """The digest after a batch: SHA-256 over the digest before it and its lines."""
    return hashlib.sha256(f"{before}\n{text}".encode()).hexdigest()
