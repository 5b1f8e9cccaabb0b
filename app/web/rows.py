"""Rows of a form: several fields of one kind, numbered ``name_1``, ``name_2``, from 1 on."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from pydantic import BaseModel

from app.errors import Refusal
from app.web.forms import parse

M = TypeVar("M", bound=BaseModel)
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Rows(Generic[M]):
    """What the rows of one kind are read into.

    A row counts where its field ``key`` is filled. ``chosen`` are fields that are never empty, such
    as a choice without an empty first line; ``words`` names a row in sentences.
    """

    model: type[M]
    key: str
    words: str
    at_first: int
    more: int
    most: int
    chosen: frozenset[str] = frozenset()

    def count(self, typed: Mapping[str, str], kind: str) -> int:
        """How many rows the form shows; the button ``act=more KIND`` adds some."""
        said = typed.get(f"{kind}_rows", "")
        count = int(said) if said.isascii() and said.isdigit() else self.at_first
        if typed.get("act") == f"more {kind}":
            count += self.more
        return min(count, self.most)

    def read(self, typed: Mapping[str, str], count: int, problems: dict[str, str]) -> dict[int, M]:
        """The filled rows by their numbers; what is wrong is added to ``problems``."""
        found = {}
        for number in range(1, count + 1):
            given = {name: typed.get(f"{name}_{number}", "") for name in self.model.model_fields}
            if not given[self.key].strip():
                stray = [
                    name for name, text in given.items() if text.strip() and name not in self.chosen
                ]
                if stray:
                    problems[f"{self.key}_{number}"] = (
                        f"{self.words.capitalize()}, row {number}: its first field is empty; fill "
                        "it or empty the row."
                    )
                continue
            where = f"{self.words.capitalize()}, row {number}: "
            row = tried(self._reading(given), problems, suffix=f"_{number}", where=where)
            if row is not None:
                found[number] = row
        return found

    def _reading(self, given: Mapping[str, str]) -> Callable[[], M]:
        return lambda: parse(self.model, given)


def tried(
    read: Callable[[], T], problems: dict[str, str], *, suffix: str = "", where: str = ""
) -> T | None:
    """What ``read`` gives; None where it refuses, its sentences added under the fields' names."""
    try:
        return read()
    except Refusal as refusal:
        for name, sentence in refusal.fields.items():
            problems[f"{name}{suffix}"] = f"{where}{sentence}"
        return None
