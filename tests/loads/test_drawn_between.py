"""What is drawn between sensors: hand cases; never colder or hotter than what was measured."""

import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.loads.cold.colour_scale import COLOURS, DEGREES, SECONDS, Scale, scale_of
from app.loads.cold.drawn_between import COLUMNS, ROWS, Spot, between, nearest, patches, reach_mm
from app.web.page import STATIC

LEFT, RIGHT = Spot("TC1", 0, 0, 148.0), Spot("TC2", 3000, 0, 151.0)
SCALE = Scale(148.0, 1.0, 3)


def _squares(path: str) -> set[tuple[int, int]]:
    runs = re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path)
    return {
        (int(begin) + step, int(row)) for begin, row, length in runs for step in range(int(length))
    }


def test_half_way_between_two_sensors_is_their_mean() -> None:
    assert between([LEFT, RIGHT], 1500, 0) == pytest.approx(149.5)


def test_a_third_of_the_way_weighs_four_to_one() -> None:
    # 1000 and 2000 mm away: weights 4 and 1 (of the inverse squares), (4 * 148 + 151) / 5.
    assert between([LEFT, RIGHT], 1000, 0) == pytest.approx(148.6)


def test_at_a_sensor_it_is_the_sensors_own() -> None:
    assert between([LEFT, RIGHT], 0, 0) == 148.0
    both = [LEFT, Spot("TC3", 0, 0, 149.0), RIGHT]
    assert between(both, 0, 0) == pytest.approx(148.5)


def test_beyond_the_widest_gap_nothing_is_known() -> None:
    assert reach_mm([LEFT, RIGHT]) == 3000
    assert between([LEFT, RIGHT], 5999, 0) is not None
    assert between([LEFT, RIGHT], 6001, 0) is None


def test_the_reach_is_the_widest_gap_between_neighbours() -> None:
    assert reach_mm([LEFT, RIGHT, Spot("TC3", 500, 0, 150.0)]) == 2500


def test_one_sensor_says_nothing_of_its_surroundings() -> None:
    assert reach_mm([LEFT]) is None
    assert between([LEFT], 10, 0) is None
    assert between([LEFT], 0, 0) == 148.0
    assert between([], 0, 0) is None


def test_around_a_silent_sensor_nothing_is_drawn() -> None:
    silent = [LEFT, Spot("TC9", 1500, 0, None), RIGHT]
    assert between(silent, 1500, 0) is None
    assert between(silent, 800, 0) is None
    assert between(silent, 700, 0) is not None
    assert reach_mm(silent) == 3000


def test_the_nearest_sensor() -> None:
    assert nearest([LEFT, RIGHT], 2000, 0) is RIGHT
    assert nearest([LEFT, RIGHT], 1500, 0) is LEFT


@given(
    st.lists(
        st.tuples(st.floats(0, 8000), st.floats(0, 2000), st.floats(-50, 600)),
        min_size=1,
        max_size=12,
    ),
    st.floats(0, 8000),
    st.floats(0, 2000),
)
def test_nothing_is_drawn_beyond_what_was_measured(
    placed: list[tuple[float, float, float]], x: float, y: float
) -> None:
    spots = [Spot(str(number), *place) for number, place in enumerate(placed)]
    drawn = between(spots, x, y)
    values = [place[2] for place in placed]
    assert drawn is None or min(values) - 1e-6 <= drawn <= max(values) + 1e-6


def test_patches_cover_the_panel_once_and_mark_what_is_beyond_the_band() -> None:
    drawn = patches([LEFT, RIGHT], length_mm=3000, width_mm=400, scale=SCALE, band=(149.5, 151.0))
    ground = [_squares(one.path) for one in drawn if not one.beyond]
    assert sum(map(len, ground)) == len(set.union(*ground)) == COLUMNS * ROWS
    beyond = next(_squares(one.path) for one in drawn if one.beyond)
    # The panel's left half is the colder one: 149.5 is drawn in its middle.
    assert beyond == {(column, row) for column in range(COLUMNS // 2) for row in range(ROWS)}
    assert [one.step for one in drawn if one.step is not None] == [0, 1, 2]


def test_patches_leave_the_far_end_unknown() -> None:
    spots = [LEFT, Spot("TC2", 1000, 0, 150.0)]
    drawn = patches(spots, length_mm=8000, width_mm=100, scale=SCALE)
    unknown = next(_squares(one.path) for one in drawn if one.step is None)
    # 1000 mm beyond the second sensor at 1000 mm: from 2000 of 8000 mm on, but for half a square.
    assert min(column for column, _ in unknown) in range(COLUMNS // 4 - 1, COLUMNS // 4 + 1)


def test_a_scale_has_round_edges_and_at_most_seven_colours() -> None:
    scale = scale_of([148.2, 151.9], DEGREES)
    assert scale is not None
    assert (scale.low, scale.step, scale.high) == (148.0, 1.0, 152.0)
    assert scale.edges == [148.0, 149.0, 150.0, 151.0, 152.0]
    assert [scale.colour(step) for step in range(scale.count)] == [0, 2, 4, 6]


def test_an_edge_belongs_to_the_step_above_it() -> None:
    scale = scale_of([147.0, 150.7], DEGREES)
    assert scale is not None
    assert scale.steps_of(np.array([148.9999, 149.0, 0.0, 999.0])).tolist() == [1, 2, 0, 3]


def test_one_figure_has_one_step_in_the_middle_colour() -> None:
    scale = scale_of([5.0], DEGREES)
    assert scale is not None
    assert (scale.count, scale.colour(0)) == (1, 3)
    assert scale_of([], DEGREES) is None


@given(st.lists(st.floats(0, 3e6), min_size=1, max_size=40), st.sampled_from([DEGREES, SECONDS]))
def test_every_figure_lies_on_its_scale(figures: list[float], widths: tuple[float, ...]) -> None:
    scale = scale_of(figures, widths)
    assert scale is not None
    assert 1 <= scale.count <= COLOURS
    assert all(scale.low - 1e-6 <= one <= scale.high + 1e-6 for one in figures)


def _luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance)."""
    shares = [int(colour[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    red, green, blue = (
        one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in shares
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_the_palette_rises_in_lightness_so_that_grey_print_and_any_eye_can_order_it() -> None:
    css = (STATIC / "css/plan.css").read_text(encoding="utf-8")
    found = dict(re.findall(r"\.plan__heat--(\d) \{ fill: #([0-9a-f]{6}); \}", css))
    assert sorted(found) == [str(number) for number in range(COLOURS)]
    light = [_luminance(found[str(number)]) + 0.05 for number in range(COLOURS)]
    assert all(after / before > 1.3 for before, after in pairwise(light))
