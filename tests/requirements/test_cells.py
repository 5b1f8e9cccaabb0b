"""The cells of a paper: every value of it is one, and how two entries of it agree. No database."""

import json
import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

from app.documents.cycle import cycle_paper_from
from app.documents.pyrometry import load_procedure, procedure_to_json
from app.documents.table import table_from_json, table_to_json
from app.requirements.rules import (
    Group,
    Unlike,
    agree,
    correction_cells,
    cycle_cells,
    differences,
    only,
    places,
    procedure_cells,
    table_cells,
    unlike,
    values,
)
from app.requirements.rules.cells import figure, pick, word
from tests.makers import CYCLE_PAPER, SHOP_RULES, TABLE_PAPER
from tests.requirements.papers import procedure

_SPAN = {"from": "11.5", "to": "12.5"}
_FULL = deepcopy(TABLE_PAPER)
_FULL["blind"] = True
_FULL["entries"][0] |= {
    "surface": "clad",
    "depths_needed": "3.1",
    "retest": {"further": 2, "of": "sets", "by_another": True},
}
_FULL["entries"][0]["criteria"][0] |= {
    "max": "95.5",
    "instruments": ["fixed"],
    "standards_apart": "7.5",
    "correction": "CC-1",
    "possible": {"from": "1.5", "to": "120.5"},
    "usual": {"from": "70.5", "to": "99.5"},
    "rise": _SPAN,
    "source": "invented document 9",
    "obtained": "from memory",
}
TABLE = table_to_json(table_from_json(_FULL))
CYCLE = {
    **CYCLE_PAPER,
    "stages": [{"set": "151", "below": "3.5", "above": "4.5", "soak_min_s": 7201, "soak_max_s": 9}],
    "excursions": {"longest_s": "61", "beyond": "1.25", "total_s": "181"},
    "heating_rate": {"max_per_min": "2.25", "window_s": "301"},
    "cooling_rate": {"max_per_min": "3.25", "window_s": "302"},
    "ageing": {
        "activation_energy_j_per_mol": "108000",
        "reference": "149",
        "min_s": "5000",
        "max_s": "6000",
    },
}
CORRECTION = {
    "name": "Curved",
    "revision": "A",
    "quantity": "hardness",
    "scale": "HRB",
    "reason": "curvature",
    "parameter": "diameter_mm",
    "parameters": ["6.5", "9.5"],
    "readings": ["60", "70"],
    "additions": [["3.5", "2.5"], ["3.0", "2.0"]],
    "source": "invented",
    "obtained": "invented",
}
PROCEDURE = procedure_to_json(load_procedure(procedure()))
CELLS: list[tuple[dict[str, Any], Callable[[Any], tuple[Group, ...]]]] = [
    (TABLE, table_cells),
    (CYCLE, lambda paper: cycle_cells(paper, SHOP_RULES)),
    (CORRECTION, correction_cells),
    (PROCEDURE, procedure_cells),
]
NOT_KEYED = {"name", "source", "obtained", "column"}
"""Texts that nobody keys, yet they are among the differences of two revisions."""
STRUCTURE = {"revision", "quantity", "scale", "unit"}
"""What a second person is given: the revision's name, and which criteria there are."""
WORDS = {
    "decision": ("simple", "guarded"),
    "statistic": ("each", "mean"),
    "rounding": ("rounding", "absolute"),
    "outcome": ("accept", "reject"),
    "temperature_unit": ("C", "F"),
    "vacuum.from": ("start", "soak_start"),
    "vacuum.to": ("soak_end", "end"),
    "parameter": ("diameter_mm", "thickness_mm"),
    "asks_for": ("uniformity survey", "recorder calibration"),
    "instruments": ("fixed", "portable"),
}


def _leaves(paper: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(paper, dict | list):
        pairs = paper.items() if isinstance(paper, dict) else enumerate(paper)
        for key, below in pairs:
            yield from _leaves(below, (*path, key))
    elif paper is not None:
        yield path


def _changed(paper: dict[str, Any], path: tuple[Any, ...]) -> dict[str, Any]:
    """The paper with one leaf changed to something it could be."""
    other = deepcopy(paper)
    at: Any = other
    for key in path[:-1]:
        at = at[key]
    old = at[path[-1]]
    names = [key for key in path if isinstance(key, str)]
    choice = WORDS.get(names[-1]) or WORDS.get(".".join(names[-2:]))
    if isinstance(old, bool):
        at[path[-1]] = not old
    elif choice:
        at[path[-1]] = choice[0] if old != choice[0] else choice[1]
    elif isinstance(old, int):
        at[path[-1]] = old + 1
    else:
        at[path[-1]] = f"{old}7"
    return other


def test_every_value_of_every_paper_is_a_cell_and_a_change_of_it_is_seen() -> None:
    seen = 0
    for paper, cells in CELLS:
        before = cells(paper)
        assert len(places(before)) == sum(len(group.to_key()) for group in before)
        for path in _leaves(paper):
            names = [key for key in path if isinstance(key, str)]
            if names[-1] in STRUCTURE:
                continue
            after = cells(_changed(paper, path))
            assert differences(before, after), f"no difference of {path}"
            is_seen = bool(unlike(after, values(before)))
            is_keyed = names[-1] not in NOT_KEYED
            assert is_seen == is_keyed, f"{path}: {'not ' if is_keyed else ''}keyed"
            seen += 1
    assert seen > 140, "papers that say nothing prove nothing"


def test_a_transposed_figure_is_seen_and_said() -> None:
    # 37.5 in the document, 35.7 in the first entry.
    first = deepcopy(TABLE)
    first["entries"][0]["criteria"][0]["min"] = "35.7"
    keyed = values(table_cells(first))
    place = "Entry 1, hardness HRB, minimum"
    assert keyed[place] == "35.7"
    found = unlike(table_cells(first), {**keyed, place: "37.5"})
    assert found == (Unlike(place, "35.7", "37.5"),)
    assert found[0].remark == "the same signs in another order"


def test_two_entries_agree_as_written_but_for_spaces_commas_and_a_plus() -> None:
    limit, name, form = figure("limit", "83.0"), word("alloy", "Q,77"), word("form", "plate")
    for keyed in ("83.0", " 83,0 ", "+83.0", "083.0"):
        assert agree(limit, keyed), keyed
    for keyed in ("83", "83.00", "", "83.0 HRB", "8.30E1", "-83.0", "830"):
        assert not agree(limit, keyed), keyed
    assert agree(figure("added", "-0.4"), "\N{MINUS SIGN}0,4")
    assert agree(figure("limit", "8E+1"), "8E+1")
    assert not agree(figure("limit", "8E+1"), "80")
    assert agree(name, " Q,77 ")
    assert not agree(name, "Q.77")
    assert not agree(form, "Plate")
    assert Unlike("x", "83.0", "83").remark == (
        "the same figure to other places; it is rounded differently"
    )
    assert Unlike("x", "83.0", "").remark == ""


def test_an_empty_entry_stands_for_what_holds_where_nothing_is_stated() -> None:
    surface = pick("surface", "", ("any", "bare"), unsaid="any")
    assert agree(surface, "")
    assert agree(surface, "any")
    assert not agree(surface, "bare")
    assert not agree(figure("maximum", None), "90")
    assert not agree(figure("maximum", "90"), "")


def test_what_is_handed_to_be_keyed_names_no_figure_of_it() -> None:
    told = Group("Entry 1", (figure("minimum", "83.0"), word("x", "y", keyed=False)), "4.2.1, 83,0")
    asked = only([told], {"Entry 1, minimum"})
    assert asked[0].guide == "4.2.1, …"
    assert [cell.what for cell in asked[0].cells] == ["minimum"]
    assert only([told], set()) == ()


def test_a_kept_cycle_has_the_same_cells_as_the_paper_it_was_kept_from() -> None:
    kept = cycle_paper_from({**CYCLE_PAPER, "sensors": ["TC1"]}, filename="x").model_dump(
        mode="json", by_alias=True
    )
    one, other = (values(cycle_cells(each, SHOP_RULES)) for each in (kept, CYCLE_PAPER))
    assert one == other
    assert not re.search("None", json.dumps(one))
