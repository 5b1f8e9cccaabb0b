"""When a soak starts and ends, worked out by hand on straight lines."""

import numpy as np
import pytest

from app.errors import Refusal
from app.judging.record.cycle import Stage
from app.judging.record.furnace_record import judge_record
from app.judging.verdict import Outcome, Verdict
from tests.judging.record_makers import (
    MISSING,
    codes,
    cycle,
    finding,
    judged,
    outcome,
    soak_of,
    trace,
)

EXACT_S = 1e-6


def test_a_five_minute_record_gives_the_soak_to_the_second():
    # 140 to 150 in 300 s passes 147 after 210 s; 150 to 140 passes it after 90 s.
    verdict = judged([0, 300, 600, 900], TC1=[140, 150, 150, 140], of=cycle(stages=[soak_of(480)]))
    (stage,) = verdict.stages
    assert stage.start_s == pytest.approx(210, abs=EXACT_S)
    assert stage.end_s == pytest.approx(690, abs=EXACT_S)
    assert stage.in_band_s == pytest.approx(480, abs=EXACT_S)
    assert verdict.verdict is Verdict.CONFORMS


def test_a_soak_one_second_short_does_not_conform():
    verdict = judged([0, 300, 600, 900], TC1=[140, 150, 150, 140], of=cycle(stages=[soak_of(481)]))
    assert outcome(verdict, "soak.shortest") is Outcome.DOES_NOT_CONFORM
    assert verdict.verdict is Verdict.DOES_NOT_CONFORM


def test_the_last_sensor_to_arrive_and_the_first_to_leave_decide():
    verdict = judged([0, 100, 1000, 1100], TC1=[147, 150, 150, 150], TC2=[137, 147, 150, 140])
    assert verdict.stages[0].start_s == pytest.approx(100, abs=EXACT_S)
    assert verdict.stages[0].end_s == pytest.approx(1030, abs=EXACT_S)


def test_both_ends_of_the_band_are_in_it():
    verdict = judged([0, 600], TC1=[147, 147], TC2=[153, 153])
    assert verdict.verdict is Verdict.CONFORMS
    assert verdict.stages[0].in_band_s == 600
    assert verdict.stages[0].spread_c == 6


def test_a_limit_reached_in_degf_is_still_on_the_limit():
    # 307.4 degF = 153 degC and 296.6 degF = 147 degC: 1 degF step = 5/9 degC.
    verdict = judged([0, 600], unit="F", TC1=[307.4, 307.4], TC2=[296.6, 296.6])
    assert verdict.verdict is Verdict.CONFORMS
    assert verdict.stages[0].in_band_s == 600


def test_a_correction_that_lands_on_the_limit_is_still_on_the_limit():
    of = cycle("TC1", corrections={"TC1": ((100.0, 0.1), (200.0, 0.3))})
    # At 150 read the correction is 0.2; 152.8 read: 0.1 + 52.8 * 0.002 = 0.2056 -> 153.0056 is out,
    # 152.7944... read is on the limit: x + 0.1 + (x - 100) * 0.002 = 153 -> x = 153.1 / 1.002.
    verdict = judged([0, 600], TC1=[153.1 / 1.002] * 2, of=of)
    assert verdict.verdict is Verdict.CONFORMS
    assert judged([0, 600], TC1=[152.8] * 2, of=of).verdict is Verdict.DOES_NOT_CONFORM


def test_the_correction_is_applied_to_readings_and_is_constant_outside_its_points():
    of = cycle("TC1", corrections={"TC1": ((100.0, 10.0), (120.0, 30.0))})
    # Read 90, 110, 125: corrected 90 + 10, 110 + 20, 125 + 30 = 100, 130, 155; then straight lines:
    # 147 is passed at 100 + 100 * 17/25 and 153 at 100 + 100 * 23/25.
    verdict = judged([0, 100, 200], TC1=[90, 110, 125], of=of)
    assert verdict.stages[0].start_s == pytest.approx(168, abs=EXACT_S)
    assert verdict.stages[0].end_s == pytest.approx(192, abs=EXACT_S)


def test_two_sensors_passing_through_the_band_opposite_ways_within_one_interval():
    # TC1 140 to 160: in from 35 to 65 s. TC2 156 to 146: in from 30 to 90 s.
    verdict = judged([0, 100], TC1=[140, 160], TC2=[156, 146])
    assert verdict.stages[0].start_s == pytest.approx(35, abs=EXACT_S)
    assert verdict.stages[0].end_s == pytest.approx(65, abs=EXACT_S)


def test_two_sensors_in_band_together_at_one_instant_only():
    # TC1 leaves at 153 when TC2 arrives at 147, both after a third of the interval.
    verdict = judged([0, 300], TC1=[152, 155], TC2=[146, 149])
    assert verdict.stages[0].start_s == pytest.approx(100, abs=EXACT_S)
    assert verdict.stages[0].elapsed_s == pytest.approx(0, abs=EXACT_S)
    assert outcome(verdict, "soak.shortest") is Outcome.DOES_NOT_CONFORM


def test_a_sample_that_touches_the_band_is_in_for_one_instant():
    verdict = judged([0, 60, 120], TC1=[130, 147, 130])
    assert verdict.stages[0].start_s == 60
    assert verdict.stages[0].end_s == 60
    assert verdict.stages[0].in_band_s == 0


def test_a_touch_before_the_soak_starts_it_and_the_way_back_out_is_an_excursion():
    verdict = judged([0, 60, 120, 180, 900], TC1=[130, 147, 130, 150, 150])
    (stage,) = verdict.stages
    assert stage.start_s == 60
    (one,) = stage.excursions
    assert one.from_s == 60
    # 130 to 150 in 60 s passes 147 after 51 s.
    assert one.to_s == pytest.approx(171, abs=EXACT_S)
    assert one.beyond_c == 17
    assert verdict.verdict is Verdict.DOES_NOT_CONFORM


def test_a_record_that_ends_in_the_soak_is_judged_with_a_note():
    verdict = judged([0, 60, 700], TC1=[140, 150, 150])
    assert outcome(verdict, "record.ends_in_soak") is Outcome.NOTE
    assert verdict.verdict is Verdict.CONFORMS


def test_a_record_that_leaves_the_band_has_no_such_note():
    assert "record.ends_in_soak" not in codes(judged([0, 60, 700, 800], TC1=[140, 150, 150, 140]))


def test_in_at_the_very_last_sample_only():
    verdict = judged([0, 60], TC1=[140, 147])
    assert verdict.stages[0].start_s == verdict.stages[0].end_s == 60
    assert verdict.verdict is Verdict.DOES_NOT_CONFORM


def test_never_in_without_gaps_does_not_conform():
    verdict = judged([0, 60, 6000], TC1=[20, 100, 140], of=cycle(max_gap_s=10_000))
    assert verdict.stages[0].start_s is None
    assert verdict.stages[0].end_s is None
    assert outcome(verdict, "soak.never_in") is Outcome.DOES_NOT_CONFORM


def test_never_in_with_a_gap_that_could_hold_the_soak_is_not_proven():
    verdict = judged([0, 60, 760, 800], TC1=[140, 146, 146, 140], of=cycle(max_gap_s=120))
    assert outcome(verdict, "soak.never_in") is Outcome.NOT_PROVEN
    assert verdict.verdict is Verdict.NOT_PROVEN


def test_never_in_with_a_gap_too_short_for_the_soak_does_not_conform():
    verdict = judged([0, 60, 659, 700], TC1=[140, 146, 146, 140], of=cycle(max_gap_s=120))
    assert outcome(verdict, "soak.never_in") is Outcome.DOES_NOT_CONFORM


def test_a_gap_hides_no_soak_while_another_sensor_is_out():
    rows = np.arange(0, 801, 40)
    tc1 = np.where((rows > 60) & (rows < 760), MISSING, 146.0)
    of = cycle("TC1", "TC2", max_gap_s=120)
    alone = judged(rows, TC1=tc1, TC2=np.full(len(rows), 150.0), of=of)
    assert alone.verdict is Verdict.NOT_PROVEN
    beside = judged(rows, TC1=tc1, TC2=np.full(len(rows), 20.0), of=of)
    assert beside.verdict is Verdict.DOES_NOT_CONFORM


def test_one_sample_is_a_record_without_length():
    verdict = judged([0], TC1=[150])
    (stage,) = verdict.stages
    assert (stage.start_s, stage.end_s, stage.elapsed_s) == (0, 0, 0)
    assert verdict.verdict is Verdict.DOES_NOT_CONFORM


def test_a_record_of_nothing_but_missing_samples_is_not_proven():
    verdict = judged([0, 300, 600], TC1=[MISSING] * 3, of=cycle(max_gap_s=120))
    assert verdict.verdict is Verdict.NOT_PROVEN
    assert outcome(verdict, "overheating") is Outcome.NOT_PROVEN


def test_a_record_without_rows_is_refused():
    with pytest.raises(Refusal, match="no row of readings"):
        judged([], TC1=[])


def test_a_required_sensor_without_a_column_is_refused_by_name():
    with pytest.raises(Refusal, match="required sensor TC9"):
        judge_record(trace([0, 60], TC1=[150, 150]), cycle("TC1", "TC9"))


def test_times_are_counted_from_the_first_row():
    verdict = judged([5000, 5100, 5800], TC1=[137, 147, 150])
    assert verdict.stages[0].start_s == pytest.approx(100, abs=EXACT_S)


def test_the_longest_soak_is_included_in_what_is_permitted():
    on = judged([0, 600, 700], TC1=[150, 150, 130], of=cycle(stages=[soak_of(1, soak_max_s=615)]))
    # 150 to 130 in 100 s passes 147 after 15 s.
    assert outcome(on, "soak.longest") is Outcome.CONFORMS
    over = judged([0, 600, 700], TC1=[150, 150, 130], of=cycle(stages=[soak_of(1, soak_max_s=614)]))
    assert outcome(over, "soak.longest") is Outcome.DOES_NOT_CONFORM


TWO_STAGES = (Stage(120.0, 3.0, 3.0, 200.0), Stage(160.0, 3.0, 3.0, 300.0))


def test_two_stages_each_have_their_soak():
    verdict = judged(
        [0, 100, 400, 500, 900, 1000],
        TC1=[20, 120, 120, 160, 160, 60],
        of=cycle(stages=TWO_STAGES, max_gap_s=400),
    )
    first, second = verdict.stages
    # 1 degC/s: 117 at 97 s; 0.4 degC/s: 123 at 407.5 s, 157 at 492.5 s; 1 degC/s down: 157 at
    # 903 s.
    assert (first.start_s, first.end_s) == (
        pytest.approx(97, abs=EXACT_S),
        pytest.approx(407.5, abs=EXACT_S),
    )
    assert (second.start_s, second.end_s) == (
        pytest.approx(492.5, abs=EXACT_S),
        pytest.approx(903, abs=EXACT_S),
    )
    assert verdict.verdict is Verdict.CONFORMS


def test_the_first_stage_ends_before_the_second_starts_even_if_the_load_comes_back():
    verdict = judged(
        [0, 100, 400, 500, 900, 1000],
        TC1=[120, 120, 120, 160, 160, 120],
        of=cycle(stages=TWO_STAGES, max_gap_s=400),
    )
    assert verdict.stages[0].end_s == pytest.approx(407.5, abs=EXACT_S)


def test_a_band_passed_on_the_way_to_a_hotter_first_stage_is_not_the_second_stage():
    stages = (Stage(160.0, 3.0, 3.0, 100.0), Stage(120.0, 3.0, 3.0, 100.0))
    verdict = judged(
        [0, 140, 300, 340, 600],
        TC1=[20, 160, 160, 120, 120],
        of=cycle(stages=stages, max_gap_s=300),
    )
    assert verdict.stages[0].start_s == pytest.approx(137, abs=EXACT_S)
    assert verdict.stages[1].start_s == pytest.approx(337, abs=EXACT_S)
    assert verdict.verdict is Verdict.CONFORMS


def test_where_bands_overlap_the_later_stage_starts_as_soon_as_the_load_is_in_it():
    stages = (Stage(120.0, 3.0, 3.0, 1.0), Stage(122.0, 3.0, 3.0, 1.0))
    verdict = judged([0, 100], TC1=[110, 120], of=cycle(stages=stages))
    assert verdict.stages[0].start_s == pytest.approx(70, abs=EXACT_S)
    assert verdict.stages[0].end_s == pytest.approx(90, abs=EXACT_S)
    assert verdict.stages[1].start_s == pytest.approx(90, abs=EXACT_S)


def test_a_second_stage_that_is_never_reached_does_not_conform():
    verdict = judged([0, 100], TC1=[120, 120], of=cycle(stages=TWO_STAGES))
    assert verdict.stages[1].start_s is None
    assert verdict.verdict is Verdict.DOES_NOT_CONFORM


def test_spread_is_largest_where_the_last_sensor_arrives():
    # At 70 s TC2 reaches 147 while TC1 is at 150.
    verdict = judged([0, 100, 800], TC1=[150, 150, 150], TC2=[140, 150, 150])
    assert verdict.stages[0].spread_c == pytest.approx(3, abs=1e-9)


def test_spread_leaves_out_what_is_before_the_soak():
    verdict = judged([0, 100, 400, 800], TC1=[150, 150, 151, 150], TC2=[20, 150, 149, 150])
    assert verdict.stages[0].spread_c == pytest.approx(3, abs=1e-9)


def test_overheating_before_the_soak_does_not_conform():
    verdict = judged([0, 60, 120, 900], TC1=[150, 153.1, 140, 150], of=cycle(max_gap_s=900))
    assert outcome(verdict, "overheating") is Outcome.DOES_NOT_CONFORM
    assert finding(verdict, "overheating").value == 153.1


def test_the_later_hotter_stage_sets_what_is_overheating():
    verdict = judged(
        [0, 100, 400, 500, 900],
        TC1=[20, 120, 120, 162, 160],
        of=cycle(stages=TWO_STAGES, max_gap_s=400),
    )
    assert outcome(verdict, "overheating") is Outcome.CONFORMS


def test_after_a_hot_stage_the_cooler_one_sets_what_is_overheating():
    stages = (Stage(160.0, 3.0, 3.0, 1.0), Stage(120.0, 3.0, 3.0, 1.0))
    verdict = judged(
        [0, 100, 200, 300, 400], TC1=[160, 160, 120, 130, 120], of=cycle(stages=stages)
    )
    assert outcome(verdict, "overheating") is Outcome.DOES_NOT_CONFORM
    assert finding(verdict, "overheating").limit == 123


def test_a_verdict_shows_its_working():
    verdict = judged([0, 300, 600, 900], TC1=[140, 150, 150, 140])
    assert finding(verdict, "soak.shortest").working == (
        "band 150 - 3 = 147 degC to 150 + 3 = 153 degC, ends included",
        "temperatures compared with 1e-6 degC of slack, times with 1e-6 s",
        "first in at 210 s, last in at 690 s: elapsed 480 s",
        "480 - out 0 - unproven 0 = in band 480 s",
    )
