"""Records on which a comparison of two judges once found them apart, each worked out on paper.

Every expected figure follows from the judging rules, 4.1 to 4.6, as the comment beside it shows.
"""

from pathlib import Path

import pytest

from .test_oracles_by_hand import PLAIN, rows
from .through_files import told_record


def told(folder: Path, text: str, **changes: object) -> dict:
    _, verdict, sentence = told_record(folder, text, PLAIN | changes)
    assert verdict is not None, sentence
    return verdict


def spans_of(stage: dict) -> list[tuple[float, float]]:
    return [(one["from_s"], one["to_s"]) for one in stage["excursions"]]


def test_a_slow_rise_crosses_at_the_limit_itself_not_at_the_slack(tmp_path: Path) -> None:
    # 140 to 150 in 6000 s passes 147 at 4200 s; 1e-6 degC of slack would make it 4199.9994 s.
    verdict = told(tmp_path, rows("time_s,TC1", "0,140", "6000,150", "12000,150"), max_gap_s=6000)
    assert verdict["stages"][0]["start_s"] == pytest.approx(4200, abs=1e-6)
    assert verdict["stages"][0]["in_band_s"] == pytest.approx(7800, abs=1e-6)


def test_a_sample_within_the_slack_of_the_limit_is_on_it(tmp_path: Path) -> None:
    # 153.0000009 is 9e-7 above the band and no excursion; the soak lasts the whole 600 s.
    text = rows("time_s,TC1", "0,150", "300,153.0000009", "600,150")
    verdict = told(tmp_path, text, max_gap_s=300)
    assert verdict["verdict"] == "conforms"
    assert verdict["stages"][0]["in_band_s"] == pytest.approx(600, abs=1e-6)


def test_a_correction_is_made_to_the_samples_and_bends_no_line(tmp_path: Path) -> None:
    # Corrections 0 up to 148, 2 from 149 on: 140 stays, 150 becomes 152. On the straight line
    # between 140 and 152, 147 is passed at 60 * 7 / 12 = 35 s.
    text = rows("time_s,TC1", "0,140", "60,150", "660,150")
    corrections = {"TC1": [[148, 0], [149, 2]]}
    verdict = told(tmp_path, text, corrections=corrections, max_gap_s=600)
    assert verdict["stages"][0]["start_s"] == pytest.approx(35, abs=1e-6)


def test_leaving_the_band_at_the_very_instant_of_arrival_is_an_excursion(tmp_path: Path) -> None:
    # 147.0 is in; so the soak starts at 60 s, and from there to 147 again, at 120 + 60 * 17 / 20 s,
    # the load is out.
    text = rows("time_s,TC1", "0,130", "60,147.0", "120,130", "180,150", "900,150")
    stage = told(tmp_path, text, max_gap_s=720)["stages"][0]
    assert stage["start_s"] == pytest.approx(60, abs=1e-6)
    assert spans_of(stage) == [pytest.approx((60, 171), abs=1e-6)]
    assert stage["in_band_s"] == pytest.approx(729, abs=1e-6)


def test_touching_the_band_parts_two_excursions(tmp_path: Path) -> None:
    # Out from 153 at 615 s to 153.0 at 660 s, and again to 705 s; at 660 s the load is in.
    text = rows("time_s,TC1", "0,150", "600,150", "620,154", "660,153.0", "700,154", "720,150")
    stage = told(tmp_path, text, max_gap_s=600)["stages"][0]
    assert spans_of(stage) == [
        pytest.approx((615, 660), abs=1e-6),
        pytest.approx((660, 705), abs=1e-6),
    ]


def test_a_gap_between_two_known_instants_hides_no_heating(tmp_path: Path) -> None:
    # 20 degC at 60 s, nothing until 120 degC at 360 s: 100 degC in the 300 s between them.
    text = rows("time_s,TC1", "0,20", "60,20", "360,120", "420,120", "480,150", "1200,150")
    verdict = told(tmp_path, text, heating_rate={"max_per_min": 19, "window_s": 300})
    assert verdict["heating_rate_c_per_min"] == {"TC1": pytest.approx(20, abs=1e-6)}
    assert verdict["verdict"] == "does_not_conform"


def test_two_sensors_that_change_places_on_the_limit_leave_the_load_in_for_an_instant(
    tmp_path: Path,
) -> None:
    # TC1 falls from 154 to 152 while TC2 rises from 152 to 154: both are at 153 at 330 s, so the
    # load, out before and after, is in at that instant: two excursions, not one.
    text = rows(
        "time_s,TC1,TC2", "0,150,150", "240,152,150", "300,154,152", "360,152,154", "600,150,150"
    )
    verdict = told(tmp_path, text, sensors=["TC1", "TC2"], max_gap_s=600)
    # TC1 passes 153 upwards at 270 s; TC2 passes it downwards at 360 + 240 / 4 = 420 s.
    assert spans_of(verdict["stages"][0]) == [
        pytest.approx((270, 330), abs=1e-6),
        pytest.approx((330, 420), abs=1e-6),
    ]


def test_out_of_band_for_less_than_a_microsecond_is_not_out(tmp_path: Path) -> None:
    # Below 147 from 300 s to 300.0000008 s: shorter than the slack of times.
    text = rows("time_s,TC1", "0,150", "300,147", "300.0000004,146.5", "300.0000008,147", "600,150")
    verdict = told(tmp_path, text, max_gap_s=600)
    assert verdict["verdict"] == "conforms"
    assert verdict["stages"][0]["excursions"] == []
    assert verdict["stages"][0]["in_band_s"] == pytest.approx(600, abs=1e-6)
