"""What is wrong with a paper, told beside the field of the form that the paper was made from."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from app.errors import Refusal

_PATH = re.compile(r"[a-z_][a-z0-9_]*(?:\[\d+\]|\.[a-z_][a-z0-9_]*)*(?=[: ])")
_IN_LIST = re.compile(r"([a-z_][a-z0-9_]*)\[(\d+)\](?:\.([a-z_][a-z0-9_.]*))?")


@dataclass(frozen=True, slots=True)
class FormRows:
    """Where a list of the paper stands on the form.

    ``words`` are what the rows are called; ``fields`` names the field of each key, ``first`` that
    of a row as a whole. ``numbers`` are the numbers of the rows that were filled, in their order.
    """

    words: str
    fields: dict[str, str]
    first: str
    numbers: tuple[int, ...]

    def field(self, at: int, key: str) -> str:
        """The field of a key in the row at a place of the paper's list, counted from 0."""
        name = self.fields.get(key.partition(".")[0], self.first)
        return f"{name}_{self.numbers[at]}"


def on_the_form(
    refusal: Refusal, paper: str, rows: dict[str, FormRows], fields: Callable[[str], str | None]
) -> Refusal:
    """The refusal, of its own kind, with its sentence beside a field or with the whole form.

    ``paper`` is what sentences begin with. ``rows`` are the lists of the paper, ``fields`` gives
    the field of a key that stands in none of them, or None. What is wrong with the reason for which
    a draft is written again stands beside that field already.
    """
    if "again" in refusal.fields:
        return refusal
    sentence = refusal.sentence.removeprefix(f"{paper}: ")
    path = _PATH.match(sentence)
    field = None if path is None else _field(path[0], rows, fields)
    told = _IN_LIST.sub(lambda found: _row_words(found, rows), sentence)
    told = f"{told[:1].upper()}{told[1:]}"
    return type(refusal)(told, fields={field or "form": told})


def _field(path: str, rows: dict[str, FormRows], fields: Callable[[str], str | None]) -> str | None:
    listed = _IN_LIST.findall(path)
    if listed:
        section, at, key = listed[-1]
        if section in rows and int(at) < len(rows[section].numbers):
            return rows[section].field(int(at), key)
    return fields(path)


def _row_words(found: re.Match[str], rows: dict[str, FormRows]) -> str:
    section, at = found[1], int(found[2])
    if section not in rows or at >= len(rows[section].numbers):
        return found[0]
    return f"{rows[section].words}, row {rows[section].numbers[at]}"
