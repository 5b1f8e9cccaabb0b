"""Rates, equivalent time and bag vacuum, worked out by hand."""

import math

import numpy as np
import pytest

from app.errors import Refusal
from app.judging.record.cycle import Ageing, RateLimit, VacuumLimit
from app.judging.verdict import Outcome, Verdict
from tests.judging.record_makers import MISSING, codes, cycle, finding, judged, outcome, soak_of

UP = [0, 600, 1200, 1800, 3000]
HEATED = [20, 60, 120, 150, 150]


def heating(limit=10.0, window_s=600.0, **more):
    return cycle(heating_rate=RateLimit(limit, window_s), **more)


def test_the_heating_rate_is_the_steepest_window_before_the_soak():
    # 60 degC in the ten minutes from 600 s to 1200 s.
    verdict = judged(UP, TC1=HEATED, of=heating(6.0))
    assert verdict.heating_rate_c_per_min == {"TC1": pytest.approx(6, abs=1e-9)}
    assert outcome(verdict, "heating_rate") is Outcome.CONFORMS


def test_a_rate_above_the_limit_does_not_conform():
    verdict = judged(UP, TC1=HEATED, of=heating(5.99))
    assert outcome(verdict, "heating_rate") is Outcome.DOES_NOT_CONFORM


def test_a_window_that_ends_on_a_point_between_samples_counts():
    # 10 degC/min for one minute, flat else; the best five-minute window holds the whole minute.
    verdict = judged(
        [0, 600, 660, 1200, 1500], TC1=[100, 100, 110, 110, 150], of=heating(window_s=300.0)
    )
    # 110 to 150 in 300 s passes 147 at 1200 + 277.5 s; the window from 1177.5 s rises by 37.
    assert verdict.heating_rate_c_per_min == {"TC1": pytest.approx(37 / 5, abs=1e-9)}


def test_the_start_of_the_soak_is_an_end_of_a_window():
    # 1 degC/s throughout: 147 at 127 s; the only windows of 120 s end at or before that.
    verdict = judged([0, 130, 900], TC1=[20, 150, 150], of=heating(61.0, window_s=127.0))
    assert verdict.heating_rate_c_per_min == {"TC1": pytest.approx(60, abs=1e-9)}


def test_without_a_whole_window_before_the_soak_the_rate_is_not_proven():
    verdict = judged([0, 130, 900], TC1=[20, 150, 150], of=heating(window_s=128.0))
    assert verdict.heating_rate_c_per_min == {"TC1": None}
    assert outcome(verdict, "heating_rate") is Outcome.NOT_PROVEN


def test_without_a_soak_there_is_no_heating_rate():
    verdict = judged([0, 600, 1200], TC1=[20, 60, 100], of=heating())
    assert verdict.heating_rate_c_per_min is None
    assert outcome(verdict, "heating_rate") is Outcome.NOT_PROVEN


def test_no_rate_is_reported_where_the_cycle_asks_for_none():
    assert judged(UP, TC1=HEATED).heating_rate_c_per_min is None
    assert "heating_rate" not in codes(judged(UP, TC1=HEATED))


def test_a_window_may_not_begin_or_end_inside_a_gap():
    rows = np.arange(0, 2401, 60)
    values = np.interp(rows, [0, 600, 660, 1740, 1800, 2400], [20, 20, 110, 110, 150, 150])
    values[(rows > 540) & (rows < 780)] = MISSING  # the steep minute is inside the gap
    verdict = judged(rows, TC1=values, of=heating(100.0, window_s=120.0, max_gap_s=60))
    # What is left: 37 degC in the last 55.5 s before 147 is passed.
    assert verdict.heating_rate_c_per_min == {"TC1": pytest.approx(37 / 2, abs=1e-9)}


def test_cooling_is_the_fastest_fall_after_the_last_soak():
    of = cycle(cooling_rate=RateLimit(5.0, 600.0))
    verdict = judged([0, 1000, 1600, 2200], TC1=[150, 150, 120, 60], of=of)
    assert verdict.cooling_rate_c_per_min == {"TC1": pytest.approx(6, abs=1e-9)}
    assert outcome(verdict, "cooling_rate") is Outcome.DOES_NOT_CONFORM


def test_cooling_that_is_not_recorded_is_not_proven():
    of = cycle(cooling_rate=RateLimit(5.0, 600.0))
    assert judged([0, 1000], TC1=[150, 150], of=of).verdict is Verdict.NOT_PROVEN


AGEING = Ageing(activation_energy_j_per_mol=120_000.0, reference_c=150.0)


def test_time_at_the_reference_temperature_is_equivalent_to_itself():
    verdict = judged([0, 60, 1000], TC1=[150] * 3, of=cycle(ageing=AGEING))
    assert verdict.equivalent_time_s == {"TC1": pytest.approx(1000, abs=1e-6)}


def test_a_constant_temperature_ages_by_the_arrhenius_factor():
    # By hand: exp(-120000/8.314462618 * (1/433.15 - 1/423.15)) for 160 degC against 150 degC.
    factor = math.exp(-120_000 / 8.314462618 * (1 / 433.15 - 1 / 423.15))
    verdict = judged([0, 700], TC1=[160, 160], of=cycle(ageing=AGEING))
    assert verdict.equivalent_time_s == {"TC1": pytest.approx(700 * factor, rel=1e-12)}


def test_gaps_add_nothing_and_are_reported():
    verdict = judged([0, 500, 600, 1100], TC1=[150] * 4, of=cycle(ageing=AGEING, max_gap_s=499))
    assert verdict.equivalent_time_s == {"TC1": pytest.approx(100, abs=1e-6)}
    assert "TC1 had no readings" in finding(verdict, "equivalent_time").text


@pytest.mark.parametrize(
    ("min_s", "max_s", "expected"),
    [
        (1000, None, Verdict.CONFORMS),
        (1001, None, Verdict.DOES_NOT_CONFORM),
        (None, 1000, Verdict.CONFORMS),
        (None, 999, Verdict.DOES_NOT_CONFORM),
    ],
)
def test_equivalent_time_decides_where_the_cycle_limits_it(min_s, max_s, expected):
    of = cycle(ageing=Ageing(120_000.0, 150.0, min_s, max_s))
    assert judged([0, 1000], TC1=[150, 150], of=of).verdict is expected


def vacuum(begins="start", ends="end", min_kpa=70.0, **more):
    return cycle(vacuum=VacuumLimit("VAC", min_kpa, begins, ends), **more)


def test_a_dip_of_the_vacuum_does_not_conform_and_is_timed_exactly():
    # 90 to 60 in 100 s: under 70 from 366.67 s to 433.33 s.
    verdict = judged([0, 300, 400, 500, 1500], TC1=[150] * 5, VAC=[90, 90, 60, 90, 90], of=vacuum())
    assert verdict.vacuum.below_limit_s == pytest.approx(200 / 3, abs=1e-6)
    assert verdict.vacuum.lowest_kpa == 60
    # 0.3 kPa/s for a whole minute.
    assert verdict.vacuum.fastest_loss_kpa_per_min == pytest.approx(18, abs=1e-9)
    assert outcome(verdict, "vacuum.level") is Outcome.DOES_NOT_CONFORM


def test_a_vacuum_on_its_limit_conforms():
    verdict = judged([0, 900], TC1=[150, 150], VAC=[70, 70], of=vacuum())
    assert verdict.verdict is Verdict.CONFORMS


def test_the_vacuum_outside_its_span_does_not_matter():
    times, temperatures = [0, 100, 800, 900], [50, 150, 150, 50]
    levels = [0, 90, 90, 0]
    # In band from 97 s to 803 s, where the vacuum is 87.3 kPa.
    within = judged(times, TC1=temperatures, VAC=levels, of=vacuum("soak_start", "soak_end"))
    assert within.vacuum.lowest_kpa == pytest.approx(87.3, abs=1e-9)
    assert within.verdict is Verdict.CONFORMS
    whole = judged(times, TC1=temperatures, VAC=levels, of=vacuum())
    assert whole.verdict is Verdict.DOES_NOT_CONFORM


def test_a_gap_in_the_vacuum_is_not_proven():
    verdict = judged(
        [0, 300, 600, 900], TC1=[150] * 4, VAC=[90, MISSING, 90, 90], of=vacuum(max_gap_s=300)
    )
    assert outcome(verdict, "vacuum.level") is Outcome.CONFORMS
    assert finding(verdict, "vacuum.gap").value == 600
    assert verdict.verdict is Verdict.NOT_PROVEN


def test_a_span_without_a_soak_gives_no_figures():
    verdict = judged([0, 900], TC1=[20, 20], VAC=[90, 90], of=vacuum("soak_start", "end"))
    assert verdict.vacuum is None


def test_losing_more_than_half_within_a_minute_suggests_a_burst_bag():
    times = [0, 300, 330, 345, 360, 900]
    burst = judged(times, TC1=[150] * 6, VAC=[90, 90, 44, 44, 90, 90], of=vacuum(min_kpa=0.0))
    assert outcome(burst, "vacuum.burst_suspected") is Outcome.NOTE
    half = judged(times, TC1=[150] * 6, VAC=[90, 90, 45, 45, 90, 90], of=vacuum(min_kpa=0.0))
    assert "vacuum.burst_suspected" not in codes(half)


def test_a_slow_loss_of_the_whole_vacuum_is_no_burst():
    verdict = judged([0, 900], TC1=[150, 150], VAC=[90, 60], of=vacuum(min_kpa=0.0))
    assert verdict.vacuum.fastest_loss_kpa_per_min == pytest.approx(2, abs=1e-9)
    assert "vacuum.burst_suspected" not in codes(verdict)


def test_less_than_a_minute_of_vacuum_says_so():
    verdict = judged([0, 59], TC1=[150, 150], VAC=[90, 80], of=vacuum(stages=[soak_of(1)]))
    assert verdict.vacuum.fastest_loss_kpa_per_min is None
    assert "No whole minute" in finding(verdict, "vacuum.fastest_loss").text


def test_a_missing_vacuum_column_is_refused_by_name():
    with pytest.raises(Refusal, match="vacuum column VAC"):
        judged([0, 900], TC1=[150, 150], of=vacuum())


def test_a_day_of_forty_sensors_with_gaps_agrees_with_a_record_of_one_of_them():
    rng = np.random.default_rng(7)
    rows = np.arange(0.0, 7200.0)
    base = np.interp(rows, [0, 1300, 6500, 7200], [20, 150, 150, 60])
    columns = {f"TC{at}": np.round(base + rng.normal(0, 0.2, len(rows)), 1) for at in range(40)}
    of = cycle(*columns, max_gap_s=10)
    whole = judged(rows, of=of, **columns)
    starts = [
        judged(rows, of=cycle(name, max_gap_s=10), **{name: values}).stages[0].start_s
        for name, values in columns.items()
    ]
    assert whole.stages[0].start_s >= max(starts)
