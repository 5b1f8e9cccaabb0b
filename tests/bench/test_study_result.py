"""What a study comes to, in figures and in words."""

from decimal import Decimal
from typing import Any

import pytest

from app.bench.rules.study_result import study_result
from app.judging.witness.repeatability import Trial, analyse


def _result(apart: str, scatter: str, resolution: str | None = None) -> dict[str, Any]:
    """Two operators who read alike, three parts ``apart``, two trials ``scatter`` apart."""
    trials = [
        Trial(who, str(part), part * Decimal(apart) + sign * Decimal(scatter) / 2)
        for who in "AB"
        for part in range(3)
        for sign in (-1, 1)
    ]
    step = None if resolution is None else Decimal(resolution)
    return study_result(analyse(trials), unit="HRB", resolution=step)


@pytest.mark.parametrize(
    ("apart", "words"),
    [
        ("10", "it serves well to tell these parts apart"),
        ("2", "it may serve, by what hangs on it"),
        ("0.5", "it does not tell these parts apart well"),
    ],
)
def test_how_well_parts_are_told_apart_is_said_in_words(apart: str, words: str) -> None:
    notes = _result(apart, "0.4")["notes"]
    assert words in notes[0]["text"]
    assert all(note["outcome"] == "note" for note in notes)


def test_too_few_categories_are_told() -> None:
    result = _result("0.5", "0.4")
    assert result["categories"] < 5
    assert result["notes"][1]["code"] == "study.categories"
    assert _result("10", "0.4")["categories"] >= 5


def test_the_figures_can_be_redone_from_the_working() -> None:
    result = _result("10", "0.4")
    # Six pairs 0.4 apart: 6 x 0.08 = 0.48, and nothing between; the readings alike, so pooled.
    assert result["lines"][3]["squares"] == "0.48"
    assert result["pooled"]
    assert result["repeatability"] == result["counted"] == "0.244949"
    assert "put together with repeatability, 0.48 / 8 = 0.06" in result["working"][4]
    assert result["working"][-1] == "Repeatability: sqrt(0.06) = 0.244949 HRB"
    assert result["lines"][0]["probability"] is None, "the interaction is nothing: no yardstick"


def test_operators_who_read_parts_differently_are_kept_apart() -> None:
    values = {
        ("A", "1"): 1,
        ("A", "2"): 5,
        ("A", "3"): 9,
        ("B", "1"): 3,
        ("B", "2"): 4,
        ("B", "3"): 12,
    }
    trials = [
        Trial(who, part, Decimal(value) + sign * Decimal("0.1"))
        for (who, part), value in values.items()
        for sign in (-1, 1)
    ]
    result = study_result(analyse(trials), unit="HRB", resolution=None)
    assert not result["pooled"]
    assert result["lines"][2]["probability"] == "below 0.0001"
    assert result["working"][4].startswith("Interaction variance: (")


@pytest.mark.parametrize(
    ("resolution", "counted"), [(None, "0"), ("0.1", "0.0288675"), ("0.5", "0.144338")]
)
def test_a_scatter_of_nothing_counts_as_the_displays_step(
    resolution: str | None, counted: str
) -> None:
    """JCGM 100:2008 (GUM), F.2.2.1: a step r has a standard uncertainty of 0.29 r (from memory)."""
    result = _result("1", "0", resolution)
    assert (result["repeatability"], result["counted"]) == ("0", counted)
