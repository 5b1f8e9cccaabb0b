"""The slow judges themselves, on cases small enough to work out on paper.

Every expected figure is worked in the comment beside it from the judging rules.
"""

from fractions import Fraction

import pytest

from . import coupon_oracle, record_oracle

PLAIN = {
    "name": "by hand",
    "temperature_unit": "C",
    "stages": [{"set": 150, "below": 3, "above": 3, "soak_min_s": 600, "soak_max_s": None}],
    "sensors": ["TC1"],
    "max_gap_s": 120,
    "corrections": {},
    "excursions": None,
    "heating_rate": None,
    "cooling_rate": None,
    "vacuum": None,
    "ageing": None,
}


def rows(header: str, *lines: str) -> str:
    return "\n".join([header, *lines]) + "\n"


def test_crossings_lie_on_the_straight_line() -> None:
    # 140 to 150 in 100 s passes 147 at 70 s; 150 to 140 from 1000 s passes 147 at 1030 s.
    text = rows("time_s,TC1", "0,140", "100,150", "1000,150", "1100,140")
    truth = record_oracle.judge(text, PLAIN | {"max_gap_s": 900})
    assert (truth.stages[0].start, truth.stages[0].end) == (70, 1030)
    assert truth.stages[0].in_band == 960
    assert truth.verdict == "conforms"


def test_a_long_gap_is_unproven_and_its_ends_are_known() -> None:
    text = rows("time_s,TC1", "0,150", "100,150", "200,OPEN", "300,150", "400,150")
    truth = record_oracle.judge(text, PLAIN)
    assert (truth.stages[0].in_band, truth.stages[0].unproven) == (200, 200)
    assert truth.outcomes == {
        "soak 1": "does_not_conform",  # 200 + 200 < 600
        "excursions 1": "not_proven",
        "overheating": "conforms",
    }


def test_a_gap_of_exactly_the_longest_is_bridged() -> None:
    text = rows("time_s,TC1", "0,150", "60,----", "120,150", "600,150")
    truth = record_oracle.judge(text, PLAIN | {"max_gap_s": 480})
    assert truth.stages[0].unproven == 0
    assert truth.verdict == "conforms"  # 600 s in band is not less than 600 s


def test_an_excursion_runs_from_limit_to_limit() -> None:
    # 150 to 156 in 60 s leaves 153 at 630 s; back from 156 it returns at 690 s; 3 degC beyond.
    text = rows("time_s,TC1", "0,150", "600,150", "660,156", "720,150", "1320,150")
    truth = record_oracle.judge(text, PLAIN | {"max_gap_s": 600})
    (excursion,) = truth.stages[0].excursions
    assert (excursion.start, excursion.end, excursion.beyond) == (630, 690, 3)
    assert excursion.sides == {"above"}
    assert truth.stages[0].in_band == 1260


def test_correction_is_made_to_the_samples_before_they_are_joined() -> None:
    # Corrections 0 at 100 and 2 at 160: 145 reads 146.5, 151 reads 152.7; 147 is passed at
    # 60 * 0.5 / 6.2 s.
    cycle = PLAIN | {"corrections": {"TC1": [[100, 0], [160, 2]]}}
    truth = record_oracle.judge(rows("time_s,TC1", "0,145", "60,151"), cycle)
    assert truth.stages[0].start == Fraction(60 * 5, 62)


def test_two_stages_share_the_record() -> None:
    stages = [
        {"set": 120, "below": 2, "above": 2, "soak_min_s": 100, "soak_max_s": None},
        {"set": 160, "below": 2, "above": 2, "soak_min_s": 100, "soak_max_s": 100},
    ]
    # 120 until 100 s, 160 from 200 s: 122 is passed at 105 s, 158 at 195 s.
    text = rows("time_s,TC1", "0,120", "100,120", "200,160", "300,160")
    truth = record_oracle.judge(text, PLAIN | {"stages": stages})
    first, second = truth.stages
    assert (first.start, first.end, second.start, second.end) == (0, 105, 195, 300)
    assert truth.outcomes["longest 2"] == "does_not_conform"  # 105 s elapsed > 100 s


def test_degrees_fahrenheit_on_the_limit_conform() -> None:
    # 296.6 degF is 147 degC, the lower end of the band.
    cycle = PLAIN | {"temperature_unit": "F"}
    cycle["stages"] = [
        {"set": 302, "below": "5.4", "above": "5.4", "soak_min_s": 60, "soak_max_s": None}
    ]
    truth = record_oracle.judge(rows("time_s,TC1", "0,296.6", "60,296.6"), cycle)
    assert truth.verdict == "conforms"


def test_heating_rate_takes_the_steepest_window() -> None:
    # 20 to 30 in 60 s, then 30 to 150 in 120 s: over any 60 s at most 60 degC.
    cycle = PLAIN | {"heating_rate": {"max_per_min": 60, "window_s": 60}}
    truth = record_oracle.judge(rows("time_s,TC1", "0,20", "60,30", "180,150", "240,150"), cycle)
    assert truth.heating == {"TC1": 60}
    assert truth.outcomes["heating_rate"] == "conforms"


@pytest.mark.parametrize(
    ("readings", "limit", "outcome"),
    [
        pytest.param(["78.5"], "79", "does_not_conform", id="half-goes-to-even-78"),
        pytest.param(["79.5"], "80", "conforms", id="half-goes-to-even-80"),
        pytest.param(["78.51"], "79", "conforms", id="above-half"),
        pytest.param(["78.96"], "79.0", "conforms", id="tenths-of-the-limit"),
        pytest.param(["78.95"], "79.0", "conforms", id="half-goes-to-even-79.0"),
        pytest.param(["79.0", "78.4"], "79", "does_not_conform", id="each-reading"),
    ],
)
def test_a_minimum_is_compared_once_rounded(readings, limit, outcome) -> None:
    criterion = {"quantity": "hardness", "scale": "HRB", "min": limit, "max": None}
    counting = [{"quantity": "hardness", "scale": "HRB", "value": v} for v in readings]
    assert coupon_oracle._criterion(criterion, counting, {}, {}) == outcome  # noqa: SLF001


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        ("80.8", "conforms"),
        ("80.7", "not_proven"),
        ("80", "not_proven"),
        ("79.9", "does_not_conform"),
    ],
)
def test_a_guarded_minimum_needs_the_uncertainty_on_top(value, outcome) -> None:
    criterion = {"quantity": "hardness", "scale": "HRB", "min": "80", "max": None}
    counting = [{"quantity": "hardness", "scale": "HRB", "value": value}]
    coupon = {"expanded_uncertainty": {"hardness": {"HRB": "0.8"}}}
    told = coupon_oracle._criterion(criterion, counting, {"decision": "guarded"}, coupon)  # noqa: SLF001
    assert told == outcome
