"""What a table leaves open, against every thickness and surface tried one by one. No database."""

import random
from copy import deepcopy
from dataclasses import replace
from decimal import Decimal
from itertools import combinations
from typing import Any

import pytest

from app.documents.table import table_from_json
from app.errors import BadFile
from app.judging.witness.acceptance import EntryKey, Surface, Table, ThicknessRange
from app.judging.witness.acceptance_checks import could_match_same_coupon
from app.requirements.rules import gaps
from tests.makers import TABLE_PAPER

SEED = 20261125
TABLES = 400
BASE = table_from_json(TABLE_PAPER).entries[0]
QUARTERS = [Decimal(number) / 4 for number in range(37)]


def _key(random: random.Random) -> EntryKey:
    lower, upper = sorted(random.choices(range(2, 8), k=2))
    span = ThicknessRange(
        Decimal(lower),
        Decimal(upper),
        random.random() < 0.5,
        random.random() < 0.5,
    )
    surface = random.choice([None, None, *Surface])
    return EntryKey(random.choice(["Q-77", "q-77 ", "Q-9"]), "K1", "plate", span, surface)


def _table(random: random.Random) -> Table:
    """A table whose entries exclude each other, of one to six entries."""
    keys: list[EntryKey] = []
    for _ in range(random.randint(1, 6)):
        key = _key(random)
        if not key.thickness.is_empty() and not any(
            could_match_same_coupon(key, other) for other in keys
        ):
            keys.append(key)
    return Table("t", "A", tuple(replace(BASE, key=key) for key in keys))


def _is_for(key: EntryKey, alloy: str, surface: Surface, at: Decimal) -> bool:
    return (
        key.alloy.strip().casefold() == alloy
        and key.surface in {None, surface}
        and key.thickness.admits(at)
    )


def test_gaps_are_exactly_what_no_entry_is_for() -> None:
    seeded = random.Random(SEED)  # noqa: S311 - generated tables
    seen = 0
    for _ in range(TABLES):
        table = _table(seeded)
        found = gaps(table)
        for alloy in {entry.key.alloy.strip().casefold() for entry in table.entries}:
            mine = [one.key for one in table.entries if one.key.alloy.strip().casefold() == alloy]
            inside = [at for at in QUARTERS if any(_reaches(mine, at))]
            for surface in Surface:
                for at in inside:
                    covered = any(_is_for(key, alloy, surface, at) for key in mine)
                    told = [
                        gap
                        for gap in found
                        if gap.material.casefold().startswith(f"{alloy} ")
                        and surface in gap.surfaces
                        and gap.thickness.admits(at)
                    ]
                    assert len(told) == (0 if covered else 1), (table, surface, at)
                    seen += not covered
    assert seen > TABLES


def _reaches(keys: list[EntryKey], at: Decimal) -> list[bool]:
    """Whether a thickness lies between the outermost ends of a material, ends as they are."""
    below = any(key.thickness.admits(at) or key.thickness.lower < at for key in keys)
    above = any(key.thickness.admits(at) or key.thickness.upper > at for key in keys)
    return [below and above]


def _entries(*changed: dict[str, Any]) -> Table:
    paper = deepcopy(TABLE_PAPER)
    base = paper["entries"][0]
    paper["entries"] = [{**base, **one} for one in changed]
    return table_from_json(paper, filename="AT.json")


def _span(lower: str, upper: str, ends: str = "[]") -> dict[str, Any]:
    return {
        "thickness_mm": {
            "from": lower,
            "to": upper,
            "from_included": ends[0] == "[",
            "to_included": ends[1] == "]",
        }
    }


def test_gaps_are_said_in_words() -> None:
    def words(*entries: dict[str, Any]) -> list[str]:
        return [gap.words for gap in gaps(_entries(*entries))]

    assert words(_span("1", "2"), _span("2", "5", "(]")) == []
    assert words(_span("1", "2", "[)"), _span("2", "5", "(]")) == [
        "No entry is for coupons of exactly 2 mm."
    ]
    assert words(_span("1", "2"), _span("2.5", "5")) == [
        "No entry is for coupons of above 2 to below 2.5 mm."
    ]
    assert words({"surface": "bare"}) == [
        "No entry is for clad or clad removed coupons: they are never judged."
    ]
    assert words(
        {"surface": "bare", **_span("1", "5")},
        {"surface": "clad", **_span("1", "4", "[)")},
        {"surface": "clad removed", **_span("1", "5")},
    ) == ["No entry is for coupons of from 4 to 5 mm and clad surface."]


def test_an_overlap_in_any_part_of_the_key_is_refused() -> None:
    same: list[dict[str, Any]] = [
        _span("1", "2"),
        {"surface": "bare", **_span("2", "3")},
        {"alloy": " q-77", **_span("2", "9", "[)")},
    ]
    for one, other in combinations(same, 2):
        with pytest.raises(BadFile, match="could match the same coupon"):
            _entries(one, other)
    _entries(_span("1", "2", "[)"), same[1], {"surface": "clad", **_span("2", "3")})
