"""Tables and cycles in words, as a second person compares them."""

from decimal import Decimal
from typing import Any

import pytest

from app.documents.table import table_from_json
from app.errors import Refusal
from app.requirements.rules import ShopRules, cycle_parts, table_parts, table_rows, uncompared
from tests.makers import CYCLE_PAPER, SHOP_RULES, TABLE_PAPER


def test_an_entry_is_said_in_words_with_every_limit_digit_for_digit() -> None:
    (row,) = table_rows(table_from_json(TABLE_PAPER))
    assert (row.anchor, row.number, row.surface) == ("entry-1", 1, "any")
    assert row.thickness == "from 6.0 to 40.0 mm"
    assert row.invented
    assert row.criteria == (
        (
            "hardness, HRB",
            (
                "at least 83.0 HRB",
                "at least 3 readings, each of which must pass",
                "largest minus smallest at most 3.0 HRB",
                "rounded once to the limit's last place, ties to even",
            ),
        ),
        (
            "conductivity, %IACS",
            (
                "up to 36.9 %IACS: rejected",
                (
                    "37.0 to 37.9 %IACS: accepted if yield strength is at most 480 MPa; at least "
                    "1 reading, each of which must pass; rounded once to the limit's last place, "
                    "ties to even"
                ),
                "38.0 to 42.0 %IACS: accepted",
                "42.1 and above %IACS: rejected",
                "the mean of at least 3 readings decides",
                "rounded once to the nearest 0.1, ties to even",
            ),
        ),
    )


def _table(**changed: Any) -> dict[str, Any]:
    entry = {**TABLE_PAPER["entries"][0], **changed}
    return {**TABLE_PAPER, "entries": [entry]}


def _criterion(**changed: Any) -> dict[str, Any]:
    return {
        "quantity": "hardness",
        "scale": "HRB",
        "statistic": "mean",
        "readings_min": 1,
        **changed,
    }


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"min": "83.0"}, "at least 83.0 HRB"),
        ({"max": "90"}, "at most 90 HRB"),
        ({"min": "83.0", "max": "90"}, "83.0 to 90 HRB, both included"),
    ],
)
def test_limits_say_that_they_are_included(limits: dict[str, str], words: str) -> None:
    paper = _table(criteria=[_criterion(**limits, rounding="absolute")])
    (row,) = table_rows(table_from_json(paper))
    ((_, lines),) = row.criteria
    assert lines == (
        words,
        "the mean of at least 1 reading decides",
        "compared as found, without rounding",
    )


def test_guard_retest_and_surface_are_said() -> None:
    paper = _table(
        criteria=[_criterion(min="83.0")],
        decision="guarded",
        retest={"further": 2, "of": "coupons"},
        surface="clad removed",
        obtained="published",
    )
    (row,) = table_rows(table_from_json(paper))
    assert row.decision == "guarded by the expanded uncertainty"
    assert row.retest == "2 further coupons, all of which must conform"
    assert (row.surface, row.invented) == ("clad removed", False)


def test_the_parts_of_a_table_hold_every_value_of_its_entries() -> None:
    (part,) = table_parts(table_from_json(TABLE_PAPER))
    said = " ".join(f"{name} {value}" for name, value in part.lines)
    for value in ("Q-77", "K1", "plate", "6.0", "40.0", "83.0", "3.0", "36.9", "37.9", "480"):
        assert value in said
    assert "invented for the tests" in said


def test_the_parts_of_a_cycle_are_said_in_words() -> None:
    parts = {part.anchor: dict(part.lines) for part in cycle_parts(CYCLE_PAPER, SHOP_RULES)}
    assert parts["stage-1"] == {
        "Set temperature": "150 °C",
        "Tolerance": "3 °C below, 3 °C above",
        "Band": "147 to 153 °C, both included",
        "Shortest soak": "7200 s (2 h)",
        "Longest soak": "no limit",
    }
    assert parts["excursions"] == {
        "Permitted": "none: one excursion out of the band rejects the run"
    }
    assert parts["vacuum"] == {
        "Lowest": "70 kPa below ambient",
        "Holds": "from the start of the record to the end of the soak",
        "Column of the record": "VAC",
    }
    assert parts["shop-rules"]["Bag leak check"] == "at most 2.0 kPa lost in 5 min"
    assert parts["rates"]["Fastest heating"] == "no limit"


def test_a_cycle_with_every_clause_says_each_of_its_figures() -> None:
    paper = {
        **CYCLE_PAPER,
        "temperature_unit": "F",
        "stages": [
            {"set": "302", "below": "5.4", "above": "5.4", "soak_min_s": "60", "soak_max_s": "90"}
        ],
        "excursions": {"longest_s": "300", "beyond": "2.5", "total_s": "600"},
        "heating_rate": {"max_per_min": "2.0", "window_s": "600"},
        "cooling_rate": {"max_per_min": "3.0", "window_s": "60"},
        "vacuum": None,
        "ageing": {
            "activation_energy_j_per_mol": "118000",
            "reference": "302",
            "min_s": "10",
            "max_s": "20",
        },
    }
    said = " | ".join(
        f"{name}: {value}" for part in cycle_parts(paper, SHOP_RULES) for name, value in part.lines
    )
    for words in (
        "Band: 296.6 to 307.4 °F",
        "Longest soak: 90 s (1 min 30 s)",
        "Longest each: 300 s (5 min)",
        "Furthest beyond the band: 2.5 °F",
        "Fastest heating: 2.0 °F a minute, over 600 s",
        "Fastest cooling: 3.0 °F a minute, over 60 s",
        "Asked for: no vacuum",
        "Activation energy: 118000 J/mol",
        "Shortest equivalent time: 10 s",
        "Longest equivalent time: 20 s",
    ):
        assert words in said


def test_what_is_not_ticked_is_named() -> None:
    parts = cycle_parts(CYCLE_PAPER, SHOP_RULES)
    anchors = [part.anchor for part in parts]
    assert uncompared(parts, anchors) == []
    assert uncompared(parts, [*anchors[1:], "no-such-part"]) == ["Stage 1"]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"sensors_per_panel": 0}, "sensors_per_panel"),
        ({"coupons_per_panel": 201}, "coupons_per_panel"),
        ({"leak_limit_kpa": Decimal("-0.1")}, "leak_limit_kpa"),
        ({"leak_limit_kpa": Decimal(102)}, "leak_limit_kpa"),
        ({"leak_minutes": Decimal(0)}, "leak_minutes"),
        ({"leak_minutes": Decimal(1441)}, "leak_minutes"),
    ],
)
def test_shop_rules_that_cannot_be_are_refused(changed: dict[str, Any], field: str) -> None:
    given: dict[str, Any] = {
        "sensors_per_panel": 1,
        "coupons_per_panel": 200,
        "leak_limit_kpa": Decimal(0),
        "leak_minutes": Decimal(1440),
    }
    ShopRules(**given).check()
    with pytest.raises(Refusal) as refused:
        ShopRules(**{**given, **changed}).check()
    assert list(refused.value.fields) == [field]
