"""Rows as a logger sends them: figures digit for digit, or refused with row and channel."""

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import Refusal
from app.loads.live.live_rows import (
    MOST_ROWS_A_BATCH,
    batch_of,
    chain_next,
    chain_start,
    lines_of,
    moment_of,
    opening_of,
    whole_number_of,
)

TIME = "2026-03-02T07:00:00+01:00"


def one_line(*cells: str, time: str = f'"{TIME}"') -> list[str]:
    """The lines of one row whose JSON is written out by hand."""
    body = f'{{"first": 0, "rows": [[{", ".join([time, *cells])}]]}}'
    return lines_of(batch_of(body.encode()), [f"TC{at + 1}" for at in range(len(cells))])


def test_figures_keep_their_digits_as_number_or_text() -> None:
    assert one_line("150.10", '"150.10"', "-0.0", "7", '" 88 "', "null", '""') == [
        "2026-03-02T06:00:00+00:00,150.10,150.10,-0.0,7,88,,"
    ]


@given(st.decimals(min_value=-999_999, max_value=999_999, places=6))
def test_a_figure_comes_back_as_the_very_text(figure: object) -> None:
    text = f"{figure:f}"
    assert one_line(text)[0].split(",")[1] == text


@pytest.mark.parametrize(
    "cell",
    ["true", '"OPEN"', "1e2", '"1e2"', "NaN", "Infinity", '"1,5"', '"+5"', "[1]", '"\u0661"'],
)
def test_a_cell_that_is_no_plain_figure_is_refused_with_row_and_channel(cell: str) -> None:
    with pytest.raises(Refusal, match=r"Row 0, channel TC2: .*"):
        one_line("1.0", cell)


@pytest.mark.parametrize(
    "time",
    [
        '"2026-03-02T07:00:00"',
        '"2026-03-02 07:00+01:00"',
        '"2026-02-30T07:00:00+01:00"',
        '"2026-03-02T07:00:00.1234567+01:00"',
        '"02.03.2026 07:00:00+01:00"',
        '"0001-01-01T00:00:00+14:00"',
        "1772434800",
        "null",
    ],
)
def test_a_time_without_zone_or_finer_than_a_microsecond_is_refused(time: str) -> None:
    with pytest.raises(Refusal, match=r"Row 0: .* is no time with its zone"):
        one_line("1.0", time=time)


def test_times_are_kept_in_utc_whatever_zone_they_came_in() -> None:
    line = one_line("1.0", time='"2026-10-25T02:30:00.25+02:00"')[0]
    assert line == "2026-10-25T00:30:00.250000+00:00,1.0"
    assert moment_of(line) == datetime(2026, 10, 25, 0, 30, 0, 250_000, tzinfo=UTC)


def test_the_repeated_hour_of_autumn_rises_by_its_zone() -> None:
    rows = [["2026-10-25T02:59:59+02:00", 1], ["2026-10-25T02:00:00+01:00", 2]]
    lines = lines_of(batch_of(json.dumps({"first": 0, "rows": rows}).encode()), ["TC1"])
    assert len(lines) == 2
    with pytest.raises(Refusal, match=r"Row 1: its time .* is not after the row before"):
        lines_of(batch_of(json.dumps({"first": 0, "rows": rows[::-1]}).encode()), ["TC1"])


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "no JSON object"),
        (b"\xff\xfe", "no JSON object"),
        (b"[1]", "no JSON object"),
        (b"[" * 100_000, "no JSON object"),
        (b'{"first": 0, "rows": []}', "at least one row"),
        (b'{"first": 0, "rows": {"a": 1}}', "at least one row"),
        (b'{"first": -1, "rows": [[1]]}', "whole number"),
        (b'{"first": 1.5, "rows": [[1]]}', "whole number"),
        (b'{"first": true, "rows": [[1]]}', "whole number"),
        (b'{"rows": [[1]]}', "whole number"),
    ],
)
def test_a_body_that_is_no_batch_is_refused(body: bytes, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        batch_of(body)


def test_too_many_rows_at_once_are_refused() -> None:
    body = json.dumps({"first": 0, "rows": [[TIME]] * (MOST_ROWS_A_BATCH + 1)}).encode()
    with pytest.raises(Refusal, match="at most 5000 are taken at once"):
        batch_of(body)


def test_a_row_with_a_cell_too_few_is_refused() -> None:
    batch = batch_of(json.dumps({"first": 7, "rows": [[TIME, "1"]]}).encode())
    with pytest.raises(Refusal, match=r"Row 7 does not have a time and 2 cells"):
        lines_of(batch, ["TC1", "TC2"])


@pytest.mark.parametrize(
    ("paper", "says"),
    [
        ({"channels": [], "temperature_unit": "C"}, "1 to 200"),
        ({"channels": ["TC1"] * 2, "temperature_unit": "C"}, "stands twice"),
        ({"channels": ["TC1", "a,b"], "temperature_unit": "C"}, "no channel name"),
        ({"channels": ["TC1"], "temperature_unit": "K"}, '"C" or "F"'),
        ({"channels": "TC1", "temperature_unit": "C"}, "1 to 200"),
    ],
)
def test_an_opening_that_is_none_is_refused(paper: object, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        opening_of(json.dumps(paper).encode())


def test_channels_may_be_numbered() -> None:
    opening = opening_of(b'{"channels": ["TC1", 2], "temperature_unit": "F"}')
    assert (opening.channels, opening.header) == (("TC1", "2"), "time,TC1,2")


def test_the_number_of_rows_at_the_close_is_whole() -> None:
    assert whole_number_of(b'{"rows": 12}', "rows") == 12
    with pytest.raises(Refusal, match="whole number"):
        whole_number_of(b'{"rows": "twelve"}', "rows")


def test_the_chain_depends_on_the_opening_every_row_and_their_parting() -> None:
    start = chain_start({"channels": ["TC1"], "temperature_unit": "C"})
    other = chain_start({"channels": ["TC1"], "temperature_unit": "F"})
    ends = {
        chain_next(start, "a\nb"),
        chain_next(other, "a\nb"),
        chain_next(start, "a\nc"),
        chain_next(chain_next(start, "a"), "b"),
    }
    assert len(ends) == 4
