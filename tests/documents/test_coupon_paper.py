import json
from copy import deepcopy
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from app.documents.coupon import coupon_from_json, coupon_to_json, load_coupon
from app.errors import BadFile
from app.judging.units import Quantity
from app.judging.witness.acceptance import Surface
from app.judging.witness.budget import Budget, Part

COUPON: dict[str, Any] = {
    "alloy": "Q-77",
    "temper": "K1",
    "form": "plate",
    "thickness_mm": "12.5",
    "surface": "bare",
    "readings": [
        {"quantity": "hardness", "scale": "HRB", "value": "82.50"},
        {
            "quantity": "conductivity",
            "unit": "%IACS",
            "value": "39.4",
            "frequency_khz": 60,
            "coupon_c": Decimal("21.5"),
            "block_c": "20.0",
        },
    ],
    "expanded_uncertainty": {"hardness": {"HRB": "0.8"}, "conductivity": {"%IACS": "0.4"}},
}
FULL_READINGS: list[dict[str, Any]] = [
    {
        "quantity": "hardness",
        "scale": "HBW 10/500",
        "indentation": {
            "method": "brinell",
            "force_n": "4903.325",
            "ball_mm": "10",
            "diameters_mm": ["2.5", "2.52"],
        },
    },
    {
        "quantity": "hardness",
        "scale": "HV10",
        "indentation": {"method": "vickers", "force_n": "98.07", "diagonals_mm": ["0.35"]},
        "correction": "-1.0",
    },
    {
        "quantity": "hardness",
        "scale": "HRB",
        "value": "84",
        "indentation": {
            "method": "rockwell",
            "full_number": "130",
            "step_mm": "0.002",
            "depth_mm": "0.092",
        },
        "name": "R-1",
        "discounted": "voided: wrong coupon",
        "provisional": True,
    },
]


def test_a_coupon_is_read_with_its_figures_as_written() -> None:
    coupon = coupon_from_json(COUPON)
    first, second = coupon.readings
    assert str(first.value) == "82.50"
    assert (second.frequency_khz, second.coupon_c) == (Decimal(60), Decimal("21.5"))
    assert coupon.surface is Surface.BARE
    assert coupon.expanded_uncertainty[Quantity.CONDUCTIVITY, "%IACS"] == Decimal("0.4")


def test_json_numbers_are_never_floats_on_the_way() -> None:
    text = '{"alloy": "Q", "temper": "K", "form": "plate", "thickness_mm": 12.50, "readings": []}'
    assert str(load_coupon(text).thickness_mm) == "12.50"
    with pytest.raises(BadFile, match="expected a number"):
        coupon_from_json({**COUPON, "thickness_mm": 12.5})


def test_a_coupon_goes_out_and_comes_back_the_same() -> None:
    paper = {**deepcopy(COUPON), "spacing_confirmed": True}
    paper["readings"] += FULL_READINGS
    coupon = coupon_from_json(paper)
    assert coupon_from_json(coupon_to_json(coupon)) == coupon
    assert load_coupon(json.dumps(coupon_to_json(coupon))) == coupon


WHOLE: dict[str, Any] = {
    "readings": [
        {
            "quantity": "hardness",
            "scale": "HRB",
            "value": "82.5",
            "step": "0.5",
            "addends": [
                {"name": "instrument correction", "value": "-0.60", "source": "certificate C-4"},
                {"name": "correction for curvature", "value": "-7/30", "table": "CT-1"},
            ],
        }
    ],
    "expanded_uncertainty": {"conductivity": {"%IACS": "0.4"}},
    "budgets": {
        "hardness": {
            "HRB": [
                {"name": "tester T-1", "expanded": "0.8", "source": "certificate C-4"},
                {"name": "block B-2"},
                {"name": "repeatability", "standard": "0.3", "repeats": True},
            ]
        }
    },
    "baselines": [{"quantity": "hardness", "scale": "HRB", "readings": ["78.0", "78.5"]}],
}


def test_what_is_added_and_how_uncertain_it_is_goes_out_and_comes_back() -> None:
    coupon = coupon_from_json({**COUPON, **WHOLE})
    (reading,) = coupon.readings
    assert [addend.value for addend in reading.addends] == [Decimal("-0.6"), Fraction(-7, 30)]
    assert reading.addends[1].table == "CT-1"
    budget = coupon.expanded_uncertainty[Quantity.HARDNESS, "HRB"]
    assert budget == Budget(
        (
            Part("tester T-1", Decimal("0.8"), is_expanded=True, source="certificate C-4"),
            Part("block B-2", None),
            Part("repeatability", Decimal("0.3"), repeats=True),
        )
    )
    assert coupon.baselines[0].readings == (Decimal("78.0"), Decimal("78.5"))
    assert coupon_from_json(coupon_to_json(coupon)) == coupon
    written = coupon_to_json(coupon)
    assert written["budgets"] == WHOLE["budgets"]
    assert written["readings"][0]["addends"][1]["value"] == "-7/30"


def test_the_short_form_of_a_correction_is_one_of_the_instrument() -> None:
    reading = {"quantity": "hardness", "scale": "HRB", "value": "82.5", "correction": "-0.6"}
    coupon = coupon_from_json({**COUPON, "readings": [reading]})
    (addend,) = coupon.readings[0].addends
    assert (addend.name, addend.value) == ("instrument correction", Decimal("-0.6"))


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"weight": 1}, "weight: is no key of this paper; remove it or correct its spelling."),
        (
            {"surface": "shiny"},
            "surface: expected 'bare', 'clad' or 'clad removed', found 'shiny'.",
        ),
        ({"thickness_mm": "0"}, "thickness_mm: 0 must be above zero."),
        (
            {"readings": [{"quantity": "colour", "value": "1"}]},
            (
                "readings[0].quantity: expected 'hardness', 'conductivity', 'tensile_strength', "
                "'yield_strength' or 'elongation', found 'colour'."
            ),
        ),
        (
            {"readings": [{"quantity": "hardness", "scale": "HRB"}]},
            "readings[0]: value is missing; give the figure as read.",
        ),
        (
            {"readings": [{"quantity": "hardness", "scale": "HRB", "value": "85 .2"}]},
            "readings[0].value: expected a number such as 38.0, found '85 .2'.",
        ),
        (
            {"readings": [{"quantity": "conductivity", "unit": "%IACS", "value": "-1"}]},
            "Reading 1, value: -1 %IACS must be above zero; read it again.",
        ),
        (
            {
                "readings": [
                    {**WHOLE["readings"][0], "correction": "1"},
                ]
            },
            "readings[0]: correction is the short form of addends; give one of the two.",
        ),
        (
            {
                "readings": [
                    {**WHOLE["readings"][0], "addends": [{"name": "a", "value": "1/0"}]},
                ]
            },
            "readings[0].addends[0].value: expected a number such as 38.0, found '1/0'.",
        ),
        (
            {"readings": [{**WHOLE["readings"][0], "step": "0"}]},
            "Reading 1, step: 0 must be above zero.",
        ),
        (
            {"budgets": {"conductivity": {"%IACS": [{"name": "tester", "expanded": "1"}]}}},
            (
                "budgets, conductivity, %IACS: expanded_uncertainty states it as a whole already; "
                "give one of the two."
            ),
        ),
        (
            {"budgets": {"hardness": {"HRE": [{"name": "a", "expanded": "1", "standard": "1"}]}}},
            "budgets.hardness.HRE[0]: give expanded or standard, not both.",
        ),
        (
            {"budgets": {"hardness": {"HRE": []}}},
            (
                "expanded_uncertainty, hardness, HRE: no part of the budget is known; give one or "
                "leave the budget out."
            ),
        ),
        (
            {"baselines": [{"quantity": "hardness", "scale": "HRB", "readings": []}]},
            "Baseline 1, readings: there are none; give at least one.",
        ),
        (
            {"expanded_uncertainty": {"conductivity": {"%IACS": "-0.1"}}},
            "expanded_uncertainty, conductivity, %IACS: -0.1 must not be below zero.",
        ),
        (
            {"expanded_uncertainty": {"conductivity": {"HRB": "0.1"}}},
            (
                "expanded_uncertainty, conductivity: 'HRB' is no unit of conductivity here; use "
                "one of %IACS, MS/m."
            ),
        ),
    ],
)
def test_a_faulty_coupon_is_refused_in_one_sentence(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(BadFile) as refused:
        coupon_from_json({**COUPON, **change}, filename="C.json")
    assert refused.value.sentence == f"C.json: {sentence}"


def test_an_unknown_way_of_indenting_is_refused() -> None:
    reading = {"quantity": "hardness", "scale": "HRB", "indentation": {"method": "knoop"}}
    with pytest.raises(BadFile, match=r"readings\[0\]\.indentation"):
        coupon_from_json({**COUPON, "readings": [reading]})
