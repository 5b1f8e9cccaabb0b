"""How rows of the trail are written for people, and for their spreadsheets. Pure."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

_UNITS = {
    "mm": "mm",
    "mm2": "mm²",
    "c": "°C",
    "kpa": "kPa",
    "khz": "kHz",
    "s": "s",
    "h": "h",
    "minutes": "min",
    "ms": "ms",
    "kg": "kg",
    "mpa": "MPa",
}
_WORDS = {
    "id": "number",
    "sha256": "SHA-256",
    "at": "time",
    "by": "who",
    "about_kind": "about",
}
_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def column_words(name: str) -> str:
    """A column's name as words: ``thickness_mm`` is "thickness (mm)", ``lot_id`` is "lot"."""
    if name in _WORDS:
        return _WORDS[name]
    stem, _, end = name.rpartition("_")
    if stem and end in _UNITS:
        return f"{stem.replace('_', ' ')} ({_UNITS[end]})"
    if stem and end == "id":
        return stem.replace("_", " ")
    if stem and end == "sha256":
        return f"{stem.replace('_', ' ')}, SHA-256"
    return re.sub(r"_+", " ", name)


def content_words(content: object) -> str:
    """What stands in a column, as words; a digest is shown as such."""
    if content is None:
        return "nothing"
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, dict) and set(content) == {"sha256"}:
        return f"SHA-256 {content['sha256']}"
    if isinstance(content, list) and all(isinstance(part, str | int) for part in content):
        return ", ".join(map(str, content)) or "nothing"
    return str(content)


def plain_cell(text: str) -> str:
    """A cell that no spreadsheet takes for a formula: an apostrophe before =, +, -, @ and tabs."""
    return f"'{text}" if text.startswith(_BEGINS_FORMULA) else text


def as_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Lines as RFC 4180 has them, every cell quoted where it has to be, none of them a formula."""
    written = io.StringIO()
    lines = csv.writer(written, lineterminator="\r\n")
    lines.writerow(header)
    lines.writerows([plain_cell(str(cell)) for cell in row] for row in rows)
    return written.getvalue()
