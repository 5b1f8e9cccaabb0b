"""What can still come of a record that grows: worked out by hand on straight lines."""

import pytest

from app.errors import Refusal
from app.judging.record.cycle import Ageing, ExcursionRule, RateLimit, VacuumLimit
from app.judging.record.outlook import Outlook, outlook
from app.judging.verdict import Outcome, Verdict
from tests.judging.record_makers import MISSING, cycle, soak_of, trace

RULE = ExcursionRule(longest_s=200, beyond_c=5, total_s=250)
TWO_STAGES = (soak_of(300, set_c=120.0), soak_of(600, set_c=150.0))
VACUUM = VacuumLimit("VAC", 70.0, "start", "soak_end")


def seen(times, *, now_s=None, of=None, unit="C", stale_s=None, **channels) -> Outlook:
    sensors = tuple(name for name in channels if name != "VAC")
    now_s = times[-1] if now_s is None else now_s
    record = trace(times, unit, **channels)
    return outlook(record, of or cycle(*sensors), now_s=now_s, rows_stale_s=stale_s)


def against(found: Outlook) -> list[str]:
    return [one.code for one in found.against]


# Where the soak stands.


def test_while_it_heats_the_end_is_not_before_the_whole_soak():
    found = seen([0, 100, 200], TC1=[100, 140, 150], TC2=[90, 120, 140])
    assert found.load_is == "out"
    assert (found.at, found.stages[0].start_s, found.stages[0].missing_s) == (0, None, 600)
    assert [one.off_c for one in found.sensors] == [0, -7]
    assert [one.value_c for one in found.sensors] == [150, 140]
    assert found.earliest_end_s == 200 + 600
    assert found.why == (
        "Not before: 10 min of stage 1 still missing, and 1 sensor is not within 147 degC to 153 "
        "degC yet, TC2 furthest: 7 degC below it."
    )
    assert found.can_be is Verdict.CONFORMS


def test_in_band_the_end_is_the_last_row_and_what_is_missing():
    # In band from 50 s on (137 to 157 in 200 s is 147 at 100 s).
    found = seen(
        [0, 200, 400], TC1=[137, 157, 150], of=cycle(excursions=ExcursionRule(999, 9, 999))
    )
    stage = found.stages[0]
    assert stage.start_s == 100
    # Out above 153 from 160 s to 200 s + 4/7 of 200 s.
    out_s = 40 + 200 * 4 / 7
    assert stage.in_band_s == pytest.approx(300 - out_s)
    assert found.load_is == "in"
    assert found.earliest_end_s == pytest.approx(400 + 600 - (300 - out_s))
    assert found.why.startswith("If the load stays in band: ")


def test_without_a_row_for_less_than_a_bridge_nothing_changes():
    early = seen([0, 100], now_s=100, of=cycle(max_gap_s=120), TC1=[150, 150])
    later = seen([0, 100], now_s=220, of=cycle(max_gap_s=120), TC1=[150, 150])
    assert early.earliest_end_s == later.earliest_end_s == 600
    assert later.stale_s is None


def test_without_a_row_for_longer_the_time_is_lost_and_the_record_stale():
    found = seen([0, 100], now_s=221, of=cycle(max_gap_s=120), TC1=[150, 150])
    assert found.earliest_end_s == 221 + 500
    assert found.stale_s == 121


def test_how_long_is_stale_may_be_said():
    assert seen([0, 100], now_s=160, stale_s=59, TC1=[150, 150]).stale_s == 60
    assert seen([0, 100], now_s=160, stale_s=60, TC1=[150, 150]).stale_s is None


def test_a_clock_behind_the_last_row_is_that_rows():
    found = seen([0, 100], now_s=50, TC1=[150, 150])
    assert (found.earliest_end_s, found.stale_s) == (600, None)


def test_long_enough_is_told_with_its_instant():
    found = seen([0, 500, 900], TC1=[150, 150, 150])
    assert found.complete
    assert found.stages[0].long_enough_s == found.earliest_end_s == 600
    assert found.stages[0].missing_s == 0
    assert found.why == "Every stage is long enough since 10 min."


def test_an_excursion_puts_off_the_instant():
    # 150 to 140 and back within 200 s: out from 330 s to 470 s.
    found = seen(
        [0, 300, 400, 500, 900],
        of=cycle(excursions=ExcursionRule(200, 8, 200)),
        TC1=[150, 150, 140, 150, 150],
    )
    assert found.earliest_end_s == pytest.approx(600 + 140)


def test_the_last_sensor_to_arrive_decides():
    found = seen([0, 100, 200], TC1=[150, 150, 150], TC2=[140, 147, 150])
    assert found.stages[0].start_s == 100
    assert found.earliest_end_s == 700


def test_a_sensor_without_a_reading_at_the_last_row_is_not_yet_known():
    found = seen([0, 100, 200], TC1=[150, 150, 150], TC2=[150, 150, MISSING])
    assert found.load_is == "unproven"
    # Bridged later, the 100 s count after all.
    assert found.earliest_end_s == 600
    assert against(found) == []


def test_a_sensor_that_never_spoke_leaves_nothing_known():
    found = seen([0, 100], TC1=[150, 150], TC2=[MISSING, MISSING])
    assert found.sensors[1].value_c is None
    assert found.load_is == "unproven"
    assert found.earliest_end_s == 100 + 600
    assert "TC2 has no reading" in found.why


def test_two_stages_add_up():
    found = seen([0, 100], of=cycle(stages=TWO_STAGES), TC1=[120, 120])
    assert found.at == 0
    assert found.earliest_end_s == 100 + 200 + 600
    assert "3 min 20 s of stage 1 still missing and 10 min of what follows" in found.why


def test_after_the_first_stage_the_next_is_awaited():
    found = seen([0, 400, 500], of=cycle(stages=TWO_STAGES), TC1=[120, 120, 135])
    assert found.at == 1
    assert found.stages[0].long_enough_s == 300
    assert (found.load_is, found.sensors[0].off_c) == ("out", -12)
    assert found.out_now is None
    assert found.earliest_end_s == 500 + 600
    assert found.can_be is Verdict.CONFORMS


def test_passing_a_later_stages_band_on_the_way_begins_nothing():
    stages = (soak_of(300, set_c=150.0), soak_of(300, set_c=120.0))
    found = seen([0, 100, 200], of=cycle(stages=stages), TC1=[90, 120, 135])
    assert found.at == 0
    assert [one.start_s for one in found.stages] == [None, None]


def test_a_sensor_on_its_way_has_a_time_of_arrival():
    times = list(range(0, 1801, 60))
    found = seen(times, TC1=[100 + 0.02 * at for at in times])
    # 0.02 degC a second: 147 at 2350 s.
    assert found.sensors[0].reaches_s == pytest.approx(2350, abs=1)


# What is lost already.


def test_an_excursion_under_way_is_lost_where_none_is_permitted():
    found = seen([0, 100, 200], TC1=[150, 150, 140])
    assert found.out_now is not None
    assert found.out_now.since_s == pytest.approx(130)
    assert found.out_now.sensors == ("TC1",)
    assert found.out_now.beyond_c == 7
    assert against(found) == ["outlook.excursion"]
    assert found.can_be is Verdict.DOES_NOT_CONFORM
    assert found.earliest_end_s is None
    assert found.why == found.against[0].text


def test_a_permitted_excursion_under_way_may_still_end_well():
    found = seen([0, 100, 200, 300], of=cycle(excursions=RULE), TC1=[150, 150, 145, 145])
    assert found.out_now is not None
    # 150 to 145 in 100 s: below 147 from 160 s; at most 200 s of it.
    assert found.out_now.too_long_s == pytest.approx(360)
    assert found.out_now.lasted_s == pytest.approx(140)
    assert found.can_be is Verdict.CONFORMS
    assert found.earliest_end_s == pytest.approx(300 + 600 - 160)


@pytest.mark.parametrize(
    ("times", "values"),
    [
        pytest.param([0, 100, 200, 361], [150, 150, 145, 145], id="too long"),
        pytest.param([0, 100, 200], [150, 150, 141.9], id="too far"),
    ],
)
def test_an_excursion_beyond_what_is_permitted_is_lost(times, values):
    found = seen(times, of=cycle(excursions=RULE), TC1=values)
    assert against(found) == ["outlook.excursion"]


def test_earlier_excursions_use_up_the_total():
    # Out for 2 * 80 s (150 to 145 and back within 200 s: from 160 s to 240 s), then again.
    times = [0, 100, 200, 300, 400, 500, 600, 700]
    of = cycle(stages=[soak_of(900)], excursions=RULE)
    found = seen([*times, 800], of=of, TC1=[150, 150, 145, 150, 150, 145, 150, 150, 145])
    assert found.out_now is not None
    # 250 - 160 = 90 s left from 760 s on.
    assert found.out_now.too_long_s == pytest.approx(850)


def test_an_excursion_that_ended_stands():
    found = seen([0, 100, 200, 300], TC1=[150, 150, 140, 150])
    assert against(found) == ["soak.excursions"]
    assert found.can_be is Verdict.DOES_NOT_CONFORM
    # The soak itself can still come to its length.
    assert found.earliest_end_s == pytest.approx(300 + 600 - (300 - 140))


def test_leaving_the_band_after_a_full_soak_is_no_excursion():
    found = seen([0, 700, 800], TC1=[150, 150, 100])
    assert found.complete
    assert found.out_now is None
    assert found.can_be is Verdict.CONFORMS


def test_the_longest_soak_says_when_to_end():
    of = cycle(stages=[soak_of(600, soak_max_s=900)])
    found = seen([0, 300], of=of, TC1=[150, 150])
    assert found.stages[0].must_end_s == 900
    assert found.earliest_end_s == 600


def test_a_shortest_soak_that_cannot_come_before_the_longest_is_over_is_lost():
    rule = ExcursionRule(900, 9, 900)
    of = cycle(stages=[soak_of(600, soak_max_s=700)], excursions=rule)
    # Out from 160 s to 340 s: the shortest would be full at 780 s.
    found = seen([0, 100, 200, 300, 400], of=of, TC1=[150, 150, 145, 145, 150])
    assert against(found) == ["outlook.too_long"]
    assert found.earliest_end_s is None
    assert found.against[0].limit == 700
    assert found.against[0].value == pytest.approx(780)


def test_a_soak_longer_than_the_longest_is_lost():
    of = cycle(stages=[soak_of(600, soak_max_s=700)])
    found = seen([0, 701], of=of, TC1=[150, 150])
    assert against(found) == ["soak.longest"]


def test_a_gap_inside_the_soak_leaves_it_not_proven():
    found = seen(
        [0, 60, 120, 180, 300], of=cycle(max_gap_s=130), TC1=[150, 150, MISSING, MISSING, 150]
    )
    assert against(found) == ["soak.excursions"]
    assert found.against[0].outcome is Outcome.NOT_PROVEN
    assert found.can_be is Verdict.NOT_PROVEN
    assert found.stages[0].unproven_s == 240


def test_a_stage_that_was_too_short_is_lost_once_the_next_has_begun():
    found = seen([0, 200, 300, 400], of=cycle(stages=TWO_STAGES), TC1=[120, 120, 150, 150])
    assert found.at == 1
    assert against(found) == ["soak.shortest"]
    assert found.earliest_end_s is None


def test_overheating_is_lost_whenever_it_was():
    found = seen([0, 100, 200], TC1=[100, 154, 150], TC2=[100, 100, 150])
    assert against(found) == ["overheating"]
    assert found.earliest_end_s is not None


def test_a_later_stage_lets_it_be_hotter():
    assert against(seen([0, 400, 500], of=cycle(stages=TWO_STAGES), TC1=[120, 120, 151])) == []


def test_heating_too_fast_is_lost_before_the_soak_begins():
    of = cycle(heating_rate=RateLimit(10.0, 60.0))
    slow = seen([0, 60, 120], of=of, TC1=[20, 30, 40])
    fast = seen([0, 60, 120], of=of, TC1=[20, 30, 41])
    assert against(slow) == []
    assert against(fast) == ["heating_rate"]


def test_a_record_too_short_for_a_rate_is_not_lost():
    assert against(seen([0, 30], of=cycle(heating_rate=RateLimit(10.0, 60.0)), TC1=[20, 30])) == []


def test_cooling_too_fast_after_a_full_soak_is_lost():
    of = cycle(cooling_rate=RateLimit(10.0, 60.0))
    assert against(seen([0, 700, 760], of=of, TC1=[150, 150, 139])) == []
    assert against(seen([0, 700, 760, 820], of=of, TC1=[150, 150, 139, 128])) == ["cooling_rate"]


def test_too_much_equivalent_time_is_lost():
    of = cycle(ageing=Ageing(120_000.0, 150.0, max_s=500.0))
    assert against(seen([0, 400], of=of, TC1=[150, 150])) == []
    assert against(seen([0, 600], of=of, TC1=[150, 150])) == ["equivalent_time.longest"]


def test_too_little_equivalent_time_so_far_is_not_lost():
    of = cycle(ageing=Ageing(120_000.0, 150.0, min_s=5000.0))
    assert against(seen([0, 600], of=of, TC1=[150, 150])) == []


# Vacuum.


def test_a_vacuum_that_was_under_its_limit_is_lost():
    found = seen([0, 100, 200], of=cycle(vacuum=VACUUM), TC1=[100, 150, 150], VAC=[80, 69, 80])
    assert against(found) == ["vacuum.level"]
    assert found.vacuum is not None
    assert found.vacuum.figures is not None
    assert found.vacuum.figures.lowest_kpa == 69
    assert (found.vacuum.level_kpa, found.vacuum.read_s) == (80, 200)


def test_after_the_soak_the_vacuum_may_go():
    times = [0, 650, 700, 760]
    found = seen(times, of=cycle(vacuum=VACUUM), TC1=[150, 150, 100, 90], VAC=[80, 80, 80, 0])
    assert found.complete
    assert against(found) == []


def test_a_vacuum_not_known_at_the_last_row_is_not_lost():
    found = seen([0, 100, 200], of=cycle(vacuum=VACUUM), TC1=[150] * 3, VAC=[80, 80, MISSING])
    assert against(found) == []
    assert found.vacuum is not None
    assert found.vacuum.read_s == 100


def test_a_gap_in_the_vacuum_that_is_over_leaves_it_not_proven():
    of = cycle(vacuum=VACUUM, max_gap_s=100)
    times = [0, 60, 120, 180, 240]
    found = seen(times, of=of, TC1=[150] * 5, VAC=[80, 80, MISSING, MISSING, 80])
    assert against(found) == ["vacuum.gap"]
    assert found.can_be is Verdict.NOT_PROVEN


def test_before_its_span_the_vacuum_is_only_shown():
    of = cycle(vacuum=VacuumLimit("VAC", 70.0, "soak_start", "end"))
    found = seen([0, 100], of=of, TC1=[100, 120], VAC=[20, 40])
    assert found.vacuum is not None
    assert found.vacuum.figures is None
    assert found.vacuum.level_kpa == 40
    assert against(found) == []


def test_a_vacuum_channel_that_never_spoke():
    found = seen([0, 100], of=cycle(vacuum=VACUUM), TC1=[150, 150], VAC=[MISSING, MISSING])
    assert found.vacuum is not None
    assert found.vacuum.level_kpa is None
    assert against(found) == []


@pytest.mark.parametrize(
    ("channels", "said"),
    [
        ({"TC2": [150.0]}, "no column for the required sensor TC1"),
        ({"TC1": [150.0]}, "no vacuum column VAC"),
    ],
)
def test_a_missing_column_is_refused(channels, said):
    with pytest.raises(Refusal, match=said):
        outlook(trace([0], **channels), cycle("TC1", vacuum=VACUUM), now_s=0)


def test_a_record_without_a_row_is_refused():
    with pytest.raises(Refusal, match="no row"):
        outlook(trace([], TC1=[]), cycle(), now_s=0)


def test_one_row_is_enough_to_begin_with():
    found = seen([0], TC1=[20])
    assert found.earliest_end_s == 600
    assert found.drifts == ()


def test_degrees_fahrenheit_and_corrections_are_taken_into_account():
    of = cycle(corrections={"TC1": ((100.0, 4.0), (160.0, 4.0))})
    # 293 degF is 145 degC, corrected 149.
    found = seen([0, 100], of=of, unit="F", TC1=[293, 293])
    assert found.load_is == "in"
    assert found.sensors[0].value_c == pytest.approx(149)
