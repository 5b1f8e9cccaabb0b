"""In what two revisions differ, and whether a limit is tighter or looser. No database."""

from copy import deepcopy
from typing import Any

from app.documents.table import table_from_json, table_to_json
from app.requirements.rules import cycle_cells, differences, table_cells
from tests.makers import CYCLE_PAPER, SHOP_RULES, TABLE_PAPER

TABLE = table_to_json(table_from_json(TABLE_PAPER))


def _entry(**changed: Any) -> dict[str, Any]:
    return {**deepcopy(TABLE["entries"][0]), **changed}


def _said(before: list[Any], after: list[Any]) -> list[tuple[Any, ...]]:
    one, other = (table_cells({**TABLE, "entries": entries}) for entries in (before, after))
    return [
        (each.part, each.what, each.before, each.after, each.words)
        for each in differences(one, other)
    ]


def _hardness(**changed: Any) -> dict[str, Any]:
    entry = _entry()
    entry["criteria"][0] |= changed
    return entry


def test_a_limit_that_moves_is_said_to_be_tighter_or_looser() -> None:
    for changed, what, before, after, words in (
        ({"min": "84.0"}, "minimum", "83.0", "84.0", "changed: tighter"),
        ({"min": "82.9"}, "minimum", "83.0", "82.9", "changed: looser"),
        ({"min": "83"}, "minimum", "83.0", "83", "changed: the same figure to other places"),
        ({"max": "99"}, "maximum", "nothing stated", "99", "changed: tighter"),
        (
            {"range_max": None},
            "largest minus smallest at most",
            "3.0",
            "nothing stated",
            "changed: looser",
        ),
        ({"statistic": "mean"}, "what meets the limit", "each reading", "the mean", "changed"),
        (
            {"standards_apart": "5"},
            "standards at least apart",
            "nothing stated",
            "5",
            "changed: tighter",
        ),
    ):
        assert _said([_entry()], [_hardness(**changed)]) == [
            ("Entry 1: Q-77 K1 plate", f"hardness HRB, {what}", before, after, words)
        ]
    guarded = _said([_entry()], [_entry(decision="guarded")])
    assert [one[-1] for one in guarded] == ["changed: tighter"]
    retest = _said([_entry()], [_entry(retest={"further": 2, "of": "sets"})])
    assert [one[-1] for one in retest] == ["changed: looser", "changed"]


def test_an_entry_is_known_again_by_what_it_is_for_wherever_it_stands() -> None:
    other = _entry(alloy="Q-9")
    assert _said([_entry(), other], [other, _entry()]) == []
    added = _said([_entry()], [other, _entry()])
    assert [(one[0], one[1], one[2], one[4]) for one in added] == [
        ("Entry 1: Q-9 K1 plate", "all of it", None, "added")
    ]
    assert "alloy: Q-9" in added[0][3]
    removed = _said([_entry(), other], [_entry()])
    assert [(one[0], one[3], one[4]) for one in removed] == [
        ("Entry 2: Q-9 K1 plate", None, "removed")
    ]
    moved = _hardness(min="84.0")
    assert _said([other, _entry()], [moved, other]) == [
        (
            "Entry 1: Q-77 K1 plate (was entry 2)",
            "hardness HRB, minimum",
            "83.0",
            "84.0",
            "changed: tighter",
        )
    ]


def test_an_entry_whose_thickness_moves_is_the_same_entry() -> None:
    wider = {**TABLE["entries"][0]["thickness_mm"], "to": "50.0"}
    assert _said([_entry()], [_entry(thickness_mm=wider)]) == [
        ("Entry 1: Q-77 K1 plate", "thickness to, mm", "40.0", "50.0", "changed: wider")
    ]
    other = {**wider, "from": "12.5", "from_included": not wider["from_included"]}
    senses = [one[-1] for one in _said([_entry(thickness_mm=wider)], [_entry(thickness_mm=other)])]
    was = "narrower" if wider["from_included"] else "wider"
    assert senses == ["changed: narrower", f"changed: {was}"]


def test_the_end_of_a_zone_and_of_a_span_makes_it_wider_or_narrower() -> None:
    zones = [{"to": "83.0", "outcome": "reject"}, {"from": "83.0", "outcome": "accept"}]
    moved = [{"to": "84.0", "outcome": "reject"}, {"from": "84.0", "outcome": "accept"}]
    before, after = (_hardness(min=None, zones=each) for each in (zones, moved))
    assert [(one[1].split(", ", 1)[1], one[-1]) for one in _said([before], [after])] == [
        ("zone 1, to", "changed: wider"),
        ("zone 2, from", "changed: narrower"),
    ]
    possible = [_hardness(possible={"from": low, "to": "99"}) for low in ("10", "20")]
    assert [one[-1] for one in _said([possible[0]], [possible[1]])] == ["changed: narrower"]


def test_excursions_that_were_not_permitted_before_are_looser() -> None:
    permitted = {
        **CYCLE_PAPER,
        "excursions": {"longest_s": "60", "beyond": "1", "total_s": "60"},
        "vacuum": {**CYCLE_PAPER["vacuum"], "min_kpa": "75"},
    }
    found = differences(cycle_cells(CYCLE_PAPER, SHOP_RULES), cycle_cells(permitted, SHOP_RULES))
    assert [(one.part, one.words) for one in found] == [
        *[("Excursions permitted", "changed: looser")] * 3,
        ("Bag vacuum", "changed: tighter"),
    ]
    rules = {**SHOP_RULES, "sensors_per_panel": "3", "leak_limit_kpa": "2.5"}
    found = differences(cycle_cells(CYCLE_PAPER, SHOP_RULES), cycle_cells(CYCLE_PAPER, rules))
    assert [one.words for one in found] == ["changed: tighter", "changed: looser"]
