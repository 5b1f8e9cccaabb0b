"""A furnace's places over many loads, and its pattern beside the survey: worked by hand."""

from decimal import Decimal

import pytest

from app.judging.furnace.furnace_reports import SensorResult, Survey, SurveyAt
from app.judging.furnace.zone import Zone
from app.loads.cold.offset_charts import HIGH, charts
from app.loads.cold.place_history import LoadSeen, Seen, limits_of, place_histories
from app.loads.cold.survey_pattern import (
    Beside,
    Placed,
    beside,
    stations_of,
    survey_nearest,
    turned,
)
from app.loads.cold.survey_queries import set_over_soaks


def _load(code: str, **seen: tuple[float | None, float | None]) -> LoadSeen:
    return LoadSeen(code, tuple(Seen(place, *figures) for place, figures in seen.items()))


def test_lags_offsets_and_ends_of_two_loads() -> None:
    found = place_histories(
        [
            _load("L-1", door=(600.0, 148.0), middle=(300.0, 150.0), back=(400.0, 152.0)),
            _load("L-2", door=(500.0, 149.0), middle=(500.0, 149.0), back=(200.0, 152.0)),
        ]
    )
    by_place = {one.place: one for one in found}
    assert [one.place for one in found] == ["door", "middle", "back"]
    door, middle, back = by_place["door"], by_place["middle"], by_place["back"]
    # Means 150 and 150; offsets -2 and -1, 0 and -1, +2 and +2; lags from 300 and from 200.
    assert (door.offset_c, middle.offset_c, back.offset_c) == (-1.5, -0.5, 2.0)
    assert (door.lag_s, middle.lag_s, back.lag_s) == (300.0, 150.0, 50.0)
    assert (door.coldest, middle.coldest, back.hottest) == (
        ("L-1", "L-2"),
        ("L-2",),
        ("L-1", "L-2"),
    )
    assert (door.slowest, middle.slowest, back.slowest) == (("L-1", "L-2"), ("L-2",), ())


def test_a_place_that_never_arrived_is_the_slowest() -> None:
    found = place_histories([_load("L-1", door=(None, None), back=(300.0, None))])
    by_place = {one.place: one for one in found}
    assert by_place["door"].slowest == ("L-1",)
    assert by_place["back"].slowest == ()
    assert by_place["door"].lag_s is None
    assert by_place["door"].offset_c is None


def test_one_sensor_is_compared_with_nothing() -> None:
    (only,) = place_histories([_load("L-1", door=(300.0, 150.0))])
    assert (only.slowest, only.coldest, only.hottest) == ((), (), ())


def test_two_sensors_at_one_place_count_as_their_mean() -> None:
    load = LoadSeen(
        "L-1", (Seen("a", 100.0, 148.0), Seen("a", 200.0, 150.0), Seen("b", 100.0, 151.0))
    )
    a, b = place_histories([load])
    assert (a.offset_c, b.offset_c) == (-1.0, 1.0)
    assert a.lag_s == 50.0


def test_limits_from_the_mean_moving_range() -> None:
    """2.66 times the mean moving range (common practice, from memory)."""
    limits = limits_of([0.0, 0.2, 0.0, 0.2, 0.0, 0.2, 0.0, 0.2])
    assert limits is not None
    assert limits.middle_c == pytest.approx(0.1)
    assert limits.high_c == pytest.approx(0.1 + 2.66 * 0.2)
    assert limits.low_c == pytest.approx(0.1 - 2.66 * 0.2)
    assert limits_of([0.0] * 7) is None


def test_the_newest_third_is_held_against_the_older_two() -> None:
    loads = [
        _load(f"L-{n}", door=(0.0, 149.0 + 0.1 * (n % 2)), back=(0.0, 151.0)) for n in range(11)
    ]
    loads.append(_load("L-11", door=(0.0, 146.0), back=(0.0, 151.0)))
    door = place_histories(loads)[0]
    assert door.limits is not None
    assert door.limits.loads == 8
    assert [one.load for one in door.outside] == ["L-11"]
    drawn = charts([door], [load.code for load in loads])
    chart = drawn.by_place["door"]
    assert [dot.load for dot in chart.dots if dot.is_outside] == ["L-11"]
    assert chart.dots[-1].y == pytest.approx(HIGH - 8, abs=0.11)
    assert drawn.low_c == pytest.approx(-2.5)


def _result(station: str, x: int, low: str | None, high: str | None) -> SensorResult:
    figures = [None if one is None else Decimal(one) for one in (low, high)]
    return SensorResult(station, Decimal(x), Decimal(0), *figures)


SURVEY = Survey(
    Zone(Decimal(4000), Decimal(1000)),
    (
        SurveyAt(Decimal(100), (_result("U1", 0, "99", "100"),)),
        SurveyAt(
            Decimal(150),
            (
                _result("U1", 0, "147.0", "148.0"),
                _result("U2", 2000, "149.8", "150.6"),
                _result("U3", 4000, "151", "153"),
                _result("U4", 3000, None, None),
            ),
        ),
    ),
)


def test_a_survey_is_read_at_its_nearest_temperature_without_failed_sensors() -> None:
    at = survey_nearest(SURVEY, 148.0)
    assert at is not None
    assert at.set_c == 150
    found = [(one.name, one.deviation_c) for one in stations_of(at)]
    assert found == [("U1", -2.5), ("U2", pytest.approx(0.2)), ("U3", 2.0)]


def test_each_place_stands_beside_its_nearest_station() -> None:
    at = survey_nearest(SURVEY, 150.0)
    assert at is not None
    (row,) = beside([Placed("TC1", 300, 400, -1.0)], stations_of(at))
    assert row == Beside("TC1", -1.0, "U1", 500.0, -2.5)
    assert beside([Placed("TC1", 300, 400, -1.0)], []) == []


def _rows(*pairs: tuple[float, float]) -> list[Beside]:
    return [Beside(f"TC{n}", now, f"U{n}", 100.0, then) for n, (now, then) in enumerate(pairs, 1)]


def test_a_turned_pattern_is_noted() -> None:
    note = turned(_rows((2.0, -2.0), (0.0, 0.0), (-2.0, 2.0)), against="the set temperature")
    assert note is not None
    assert note.outcome.value == "note"
    assert "now TC3, in the survey the places beside TC1" in note.text
    assert note.working[0].startswith("TC1: +2.00 degC from the set temperature; station U1")


@pytest.mark.parametrize(
    "pairs",
    [
        [(-2.0, -2.0), (0.0, 0.0), (2.0, 2.0)],
        [(2.0, -2.0), (-2.0, 2.0)],
        [(0.2, -2.0), (0.0, 0.0), (-0.2, 2.0)],
        [(-2.0, 2.0), (-2.0, -2.0), (2.0, 0.0)],
    ],
    ids=["agrees", "too few places", "too flat", "a tie reaches the survey's coldest"],
)
def test_nothing_is_noted_where_nothing_has_turned(pairs: list[tuple[float, float]]) -> None:
    assert turned(_rows(*pairs), against="the set temperature") is None


def test_the_set_temperature_of_two_soaks_is_weighted_by_their_length() -> None:
    stages = [{"elapsed_s": 3600.0}, {"elapsed_s": 7200.0}]
    assert set_over_soaks([120.0, 150.0], stages) == pytest.approx(140.0)
    assert set_over_soaks([120.0], [{"elapsed_s": 0.0}]) is None
