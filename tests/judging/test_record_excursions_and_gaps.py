"""Leaving the band, and not knowing: worked out by hand on straight lines."""

import numpy as np
import pytest

from app.judging.record.cycle import ExcursionRule
from app.judging.verdict import Outcome, Verdict
from tests.judging.record_makers import MISSING, codes, cycle, finding, judged, outcome, soak_of

EXACT_S = 1e-6
DIP_TIMES = [0, 300, 400, 500, 1500]
DIP = [150, 150, 140, 150, 150]
# 150 to 140 in 100 s: below 147 from 330 s to 470 s, 7 degC beyond the band.


def test_leaving_the_band_once_does_not_conform():
    verdict = judged(DIP_TIMES, TC1=DIP)
    (one,) = verdict.stages[0].excursions
    assert one.from_s == pytest.approx(330, abs=EXACT_S)
    assert one.to_s == pytest.approx(470, abs=EXACT_S)
    assert one.beyond_c == pytest.approx(7, abs=1e-9)
    assert (one.side, one.sensors) == ("below", ("TC1",))
    assert verdict.stages[0].in_band_s == pytest.approx(1500 - 140, abs=EXACT_S)
    assert outcome(verdict, "soak.excursions") is Outcome.DOES_NOT_CONFORM


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        pytest.param(ExcursionRule(140, 7, 140), Verdict.CONFORMS, id="each limit is included"),
        pytest.param(ExcursionRule(139, 7, 140), Verdict.DOES_NOT_CONFORM, id="too long"),
        pytest.param(ExcursionRule(140, 6.9, 140), Verdict.DOES_NOT_CONFORM, id="too far"),
        pytest.param(ExcursionRule(140, 7, 139), Verdict.DOES_NOT_CONFORM, id="too much in all"),
    ],
)
def test_a_cycle_may_permit_an_excursion(rule, expected):
    assert judged(DIP_TIMES, TC1=DIP, of=cycle(excursions=rule)).verdict is expected


def test_the_total_is_over_all_excursions():
    rule = ExcursionRule(140, 7, 200)
    verdict = judged(
        [*DIP_TIMES, 1600, 1700, 2500], TC1=[*DIP, 140, 150, 150], of=cycle(excursions=rule)
    )
    assert len(verdict.stages[0].excursions) == 2
    assert outcome(verdict, "soak.excursions") is Outcome.CONFORMS
    assert finding(verdict, "soak.excursions_total").value == pytest.approx(280, abs=EXACT_S)
    assert outcome(verdict, "soak.excursions_total") is Outcome.DOES_NOT_CONFORM


def test_excursion_time_never_counts_as_soak():
    rule = ExcursionRule(1000, 10, 1000)
    enough = cycle(stages=[soak_of(1360)], excursions=rule)
    short = cycle(stages=[soak_of(1361)], excursions=rule)
    assert judged(DIP_TIMES, TC1=DIP, of=enough).verdict is Verdict.CONFORMS
    assert judged(DIP_TIMES, TC1=DIP, of=short).verdict is Verdict.DOES_NOT_CONFORM


def test_overlapping_departures_of_two_sensors_are_one_excursion_named_for_both():
    verdict = judged(
        [0, 300, 400, 500, 1500],
        TC1=[150, 150, 140, 150, 150],
        TC2=[150, 150, 150, 160, 150],
    )
    (one,) = verdict.stages[0].excursions
    # TC2 150 to 160 in 100 s: above 153 from 430 s; back in 1000 s: until 1200 s; 7 degC, a tie.
    assert one.from_s == pytest.approx(330, abs=EXACT_S)
    assert one.to_s == pytest.approx(1200, abs=EXACT_S)
    assert one.sensors == ("TC1", "TC2")
    assert one.beyond_c == pytest.approx(7, abs=1e-9)


def test_the_furthest_sensor_gives_depth_and_side():
    verdict = judged(
        [0, 300, 400, 500, 1500], TC1=[150, 150, 140, 150, 150], TC2=[150, 150, 161, 150, 150]
    )
    (one,) = verdict.stages[0].excursions
    assert (one.beyond_c, one.side) == (8, "above")


def test_touching_the_limit_from_outside_parts_two_excursions():
    verdict = judged([0, 60, 120, 180, 240, 900], TC1=[150, 154, 153, 154, 150, 150])
    first, second = verdict.stages[0].excursions
    assert first.to_s == second.from_s == 120


def test_one_sensor_leaving_as_another_returns_parts_two_excursions():
    # Both are exactly on 153 half-way between 60 s and 120 s: in band for that instant.
    verdict = judged(
        [0, 60, 120, 180, 900], TC1=[150, 155, 151, 151, 150], TC2=[150, 151, 155, 151, 150]
    )
    first, second = verdict.stages[0].excursions
    assert (first.sensors, second.sensors) == (("TC1",), ("TC2",))
    assert first.to_s == pytest.approx(90, abs=EXACT_S)
    assert second.from_s == pytest.approx(90, abs=EXACT_S)


def test_touching_the_limit_from_inside_is_no_excursion():
    verdict = judged([0, 60, 120, 900], TC1=[150, 153, 150, 150])
    assert verdict.stages[0].excursions == ()
    assert verdict.verdict is Verdict.CONFORMS


def test_the_slack_of_temperatures_is_a_millionth_of_a_degree():
    inside = judged([0, 60, 120, 900], TC1=[150, 153.0000009, 150, 150])
    beyond = judged([0, 60, 120, 900], TC1=[150, 153.0000021, 150, 150])
    assert inside.verdict is Verdict.CONFORMS
    assert beyond.verdict is Verdict.DOES_NOT_CONFORM


def test_an_out_interval_shorter_than_a_millionth_of_a_second_is_none():
    # Up 10 degC and down again within 2e-7 s.
    verdict = judged([0, 100, 100.0000001, 100.0000002, 900], TC1=[150, 150, 140, 150, 150])
    assert verdict.stages[0].excursions == ()


def test_a_missing_sample_is_bridged_up_to_the_longest_gap_included():
    verdict = judged([0, 60, 120, 720], TC1=[150, MISSING, 150, 150], of=cycle(max_gap_s=600))
    assert verdict.stages[0].unproven_s == 0
    assert verdict.verdict is Verdict.CONFORMS


def test_a_longer_gap_is_unproven_and_leaves_no_excursion_not_proven():
    rows = np.arange(0, 1201, 60)
    values = np.full(len(rows), 150.0)
    values[5:8] = MISSING
    verdict = judged(rows, TC1=values, of=cycle(max_gap_s=239))
    assert verdict.stages[0].unproven_s == 240
    assert verdict.stages[0].in_band_s == 960
    assert verdict.stages[0].unproven_spans == ((240, 480),)
    assert outcome(verdict, "soak.shortest") is Outcome.CONFORMS
    assert outcome(verdict, "soak.excursions") is Outcome.NOT_PROVEN
    assert verdict.verdict is Verdict.NOT_PROVEN
    assert judged(rows, TC1=values, of=cycle(max_gap_s=240)).verdict is Verdict.CONFORMS


@pytest.mark.parametrize(
    ("soak_min_s", "expected"),
    [
        (960, Outcome.CONFORMS),
        (961, Outcome.NOT_PROVEN),
        (1200, Outcome.NOT_PROVEN),
        (1201, Outcome.DOES_NOT_CONFORM),
    ],
)
def test_unproven_time_could_have_been_soak_but_no_more_than_that(soak_min_s, expected):
    rows = np.arange(0, 1201, 60)
    values = np.full(len(rows), 150.0)
    values[5:8] = MISSING
    of = cycle(stages=[soak_of(soak_min_s)], max_gap_s=200)
    assert outcome(judged(rows, TC1=values, of=of), "soak.shortest") is expected


def test_the_bridge_is_straight_between_corrected_neighbours():
    # Corrected neighbours 100 + 0 at 0 s and 150 + 6 at 120 s: 147 is passed at 120 * 47/56 s.
    of = cycle("TC1", corrections={"TC1": ((100.0, 0.0), (130.0, 6.0))})
    verdict = judged([0, 60, 120], TC1=[100, MISSING, 150], of=of)
    assert verdict.stages[0].start_s == pytest.approx(120 * 47 / 56, abs=EXACT_S)


def test_a_crossing_on_a_bridge_is_exact():
    verdict = judged([0, 50, 100, 900], TC1=[140, MISSING, 150, 150])
    assert verdict.stages[0].start_s == pytest.approx(70, abs=EXACT_S)


def test_sensors_may_miss_different_samples():
    verdict = judged(
        [0, 60, 120, 180, 900],
        TC1=[150, MISSING, 150, 150, 150],
        TC2=[150, 150, MISSING, 150, 150],
    )
    assert verdict.verdict is Verdict.CONFORMS
    assert verdict.stages[0].unproven_s == 0


def test_out_goes_before_unproven():
    rows = np.arange(0, 1201, 60)
    gap, dip = np.full(len(rows), 150.0), np.full(len(rows), 150.0)
    gap[5:8] = MISSING  # unproven from 240 s to 480 s
    dip[6] = 140  # out from 318 s to 402 s
    verdict = judged(rows, TC1=gap, TC2=dip, of=cycle("TC1", "TC2", max_gap_s=100))
    assert verdict.stages[0].unproven_s == pytest.approx(240 - 84, abs=EXACT_S)
    assert verdict.verdict is Verdict.DOES_NOT_CONFORM


def test_before_its_first_and_after_its_last_sample_a_sensor_is_unproven():
    rows = np.arange(0, 1201, 60)
    late, early = np.full(len(rows), 150.0), np.full(len(rows), 150.0)
    late[:3] = MISSING
    early[-4:] = MISSING
    verdict = judged(rows, TC1=late, TC2=early, of=cycle("TC1", "TC2", max_gap_s=60))
    assert (verdict.stages[0].start_s, verdict.stages[0].end_s) == (180, 960)
    assert verdict.gaps == {"TC1": ((0, 180),), "TC2": ((960, 1200),)}


def test_readings_outside_the_sensors_range_are_missing():
    wide = judged([0, 60, 120, 900], TC1=[150, 700.1, 150, 150])
    assert wide.verdict is Verdict.CONFORMS
    own = cycle(sensor_ranges={"TC1": (0.0, 200.0)})
    assert judged([0, 60, 120, 900], TC1=[150, 200.5, 150, 150], of=own).verdict is Verdict.CONFORMS
    assert judged([0, 60, 120, 900], TC1=[150, 200, 150, 150], of=own).stages[0].excursions


def test_rows_further_apart_than_the_longest_gap_are_a_gap_though_none_is_missing():
    verdict = judged([0, 300, 600, 900], TC1=[150] * 4, of=cycle(max_gap_s=299))
    assert verdict.stages[0].unproven_s == 900
    assert verdict.verdict is Verdict.NOT_PROVEN


def test_isolated_samples_give_a_window_without_any_proven_time():
    verdict = judged([0, 300, 600], TC1=[150, 150, 150], of=cycle(max_gap_s=1))
    (stage,) = verdict.stages
    assert (stage.start_s, stage.end_s, stage.in_band_s, stage.unproven_s) == (0, 600, 0, 600)


def test_a_dropped_sensor_is_never_excluded_by_the_judge():
    rows = np.arange(0, 1201, 60)
    dropped = np.full(len(rows), 150.0)
    dropped[10:] = MISSING
    verdict = judged(rows, TC1=dropped, TC2=np.full(len(rows), 150.0))
    assert verdict.stages[0].end_s == 540
    assert "soak.never_in" not in codes(verdict)
