"""Logger files: read exactly, or refused with row, column and remedy."""

import math
import random
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from app.documents.logger.logger_csv import Layout, read_logger_csv
from app.documents.logger.logger_rows import MISSING_WORDS
from app.errors import BadFile

LOCAL = datetime(2031, 4, 3, 8)  # noqa: DTZ001 - a logger's clock without a zone


def read(text, layout=None, **more):
    content = text if isinstance(text, bytes) else text.encode()
    return read_logger_csv(content, filename="run.csv", layout=layout, **more)


def refusal(text, layout=None, **more) -> str:
    with pytest.raises(BadFile) as caught:
        read(text, layout, **more)
    assert caught.value.sentence.startswith("run.csv")
    assert "\n" not in caught.value.sentence
    return caught.value.sentence


def test_elapsed_seconds_and_channels():
    reading = read("time_s,TC1,VAC\n0,20.5,90\n60,21.5,91\n")
    assert reading.trace.times.tolist() == [0, 60]
    assert {name: column.tolist() for name, column in reading.trace.channels.items()} == {
        "TC1": [20.5, 21.5],
        "VAC": [90, 91],
    }
    assert reading.columns == ("time_s", "TC1", "VAC")
    assert reading.started_at is None


def test_times_are_counted_from_the_first_row():
    assert read("time_s,TC1\n1000,1\n1060.5,2\n").trace.times.tolist() == [0, 60.5]


@pytest.mark.parametrize(
    ("first", "second", "started_at"),
    [
        ("2031-04-03T08:00:00", "2031-04-03T08:00:10", LOCAL),
        ("2031-04-03 08:00:00", "2031-04-03 08:00:10", LOCAL),
        ("2031-04-03T08:00:00Z", "2031-04-03T08:00:10Z", datetime(2031, 4, 3, 8, tzinfo=UTC)),
        (
            "2031-04-03T23:59:55.5+02:00",
            "2031-04-04T00:00:05.500+02:00",
            datetime(2031, 4, 3, 23, 59, 55, 500_000, tzinfo=timezone(timedelta(hours=2))),
        ),
        (
            "2031-04-03T08:00:00,25",
            "2031-04-03T08:00:10,25",
            LOCAL.replace(microsecond=250_000),
        ),
    ],
)
def test_iso_times_with_and_without_zone(first, second, started_at):
    reading = read(f'time,TC1\n"{first}",20\n"{second}",21\n')
    assert reading.trace.times.tolist() == [0, 10]
    assert reading.started_at == started_at
    assert reading.started_at.tzinfo == started_at.tzinfo


def test_fractions_of_a_second_are_exact():
    reading = read("time,TC1\n2031-04-03T08:00:00.1,20\n2031-04-03T08:00:00.3,21\n")
    assert reading.trace.times.tolist() == [0, 0.2]


def test_every_reading_is_bit_for_bit_the_float_of_its_text():
    rng = random.Random(3)  # noqa: S311 - readings, no secrets
    texts = [f"{rng.uniform(-50, 700):.{rng.randrange(18)}f}" for _ in range(2000)]
    texts += ["1e2", "0.1", "-0", ".5", "5.", "123456789012345678901", "2.2250738585072011e-308"]
    rows = "".join(f"{at},{text}\n" for at, text in enumerate(texts))
    column = read("time_s,TC1\n" + rows).trace.channels["TC1"]
    assert column.tobytes() == np.array([float(text) for text in texts]).tobytes()


@pytest.mark.parametrize(
    "written",
    [
        "",
        "-",
        "----",
        "-" * 30,
        " ",
        "NaN",
        "oPeN",
        " OPEN ",
        *sorted(MISSING_WORDS),
        *sorted(word.lower() for word in MISSING_WORDS),
    ],
)
def test_what_loggers_write_for_no_sample_is_missing(written):
    reading = read(f"time_s,TC1,TC2\n0,{written},20\n60,20.5,21\n")
    assert math.isnan(reading.trace.channels["TC1"][0])
    assert reading.trace.channels["TC1"][1] == 20.5


def test_columns_that_are_not_asked_for_are_ignored_whatever_they_hold():
    text = "time_s,remark,TC1\n0,door shut,20\n60,,21\n"
    reading = read(text, Layout(channels=("TC1",)))
    assert list(reading.trace.channels) == ["TC1"]
    assert "row 2, column remark: 'door shut' is no number" in refusal(text)


def test_a_layout_may_name_another_time_column():
    layout = Layout("Elapsed", "elapsed_s", channels=("TC1",))
    assert read("Elapsed,TC1\n0,20\n5,21\n", layout).trace.times.tolist() == [0, 5]


@pytest.mark.parametrize(
    "text",
    [
        "\ufefftime_s,TC1\n0,20\n60,21\n",
        "time_s,TC1\r\n0,20\r\n60,21\r\n",
        "time_s,TC1\n0,20\n60,21",
        "\ntime_s,TC1\n\n0,20\n\n60,21\n\n",
        '"time_s","TC1"\n"0","20"\n"60","21"\n',
        "time_s,TC1\r0,20\r60,21\r",
        " time_s , TC1 \n 0 , 20 \n 60 , 21 \n",
    ],
    ids=["byte order mark", "CR LF", "no last line end", "blank lines", "quotes", "CR", "spaces"],
)
def test_harmless_variations_are_read(text):
    reading = read(text)
    assert reading.trace.times.tolist() == [0, 60]
    assert reading.trace.channels["TC1"].tolist() == [20, 21]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time_s,TC1\n0,20\n60,abc\n", "row 3, column TC1: 'abc' is no number"),
        ("time_s,TC1\n0,20\n\n60,abc\n", "row 4, column TC1: 'abc' is no number"),
        ('time_s,TC1\n0,20\n60,"20,5"\n', "row 3, column TC1: '20,5' has a decimal comma"),
        ("time_s,TC1\n0,20\n60,inf\n", "row 3, column TC1: 'inf' is no finite number"),
        ("time_s,TC1\n0,20\n60,-Infinity\n", "row 3, column TC1: '-Infinity' is no finite"),
        ("time_s,TC1\n0,20\n60,1e999\n", "row 3, column TC1: '1e999' is no finite number"),
        ("time_s,TC1\n0,20\n60,1_0\n", "row 3, column TC1: '1_0' is no number"),
        ("time_s,TC1\n0,20\n60,0x10\n", "row 3, column TC1: '0x10' is no number"),
        ("time_s,TC1\n0,20\n0,21\n", "row 3, column time_s: '0' is not later than '0' in row 2"),
        ("time_s,TC1\n60,20\n0,21\n", "row 3, column time_s: '0' is not later than '60' in row 2"),
        ("time_s,TC1\n0,20\n,21\n", "row 3, column time_s: there is no time"),
        ("time_s,TC1\n0,20\nOPEN,21\n", "row 3, column time_s: 'OPEN' is no number of seconds"),
        ("time_s,TC1\n0,20\nnan,21\n", "row 3, column time_s: 'nan' is no number of seconds"),
        ("time_s,TC1\n0,20\n60\n", "row 3: 1 cells where the header has 2"),
        ("time_s,TC1\n0,20\n60,21,5\n", "export them with points"),
        ("time,TC1\n03/04/2026 08:00,20\n", "row 2, column time: '03/04/2026 08:00' could be two"),
        ("time,TC1\n2031-04-03T08:00,20\n03.04.31 09:00,20\n", "row 3, column time: '03.04.31 09"),
        ("time,TC1\nyesterday,20\n", "row 2, column time: 'yesterday' is no ISO 8601 time"),
        ("time,TC1\n2031-02-30T08:00,20\n", "row 2, column time: '2031-02-30T08:00' is no ISO"),
        ("time,TC1\n,20\n", "row 2, column time: there is no time"),
        ("time,TC1\n2031-04-03T08:00:10,20\n2031-04-03T08:00:10,20\n", "row 3, column time"),
        (
            "time,TC1\n2031-04-03T08:00:00+02:00,20\n2031-04-03T08:10:00+01:00,20\n",
            "row 3, column time: '2031-04-03T08:10:00+01:00' is in another zone",
        ),
        ("time,TC1\n2031-04-03T08:00:00Z,20\n2031-04-03T08:10:00,20\n", "in another zone"),
        ("time,TC1\n2031-04-03T08:00:00,20\n2031-04-03T08:10:00Z,20\n", "in another zone"),
        ("time_s,TC1\n", "row 1: no row of readings follows it; export the run again"),
        ("\n\ntime_s,TC1", "row 3: no row of readings follows it"),
        ("", "the file is empty"),
        (" \n \n", "the file is empty"),
        ("clock,TC1\n0,20\n", "row 1: there is no column time (ISO 8601) or time_s"),
        ("time,time_s,TC1\n0,0,20\n", "both time and time_s"),
        ("time_s,TC1,TC1\n0,20,21\n", "row 1: the column TC1 stands twice"),
        ("time_s,,TC1\n0,20,21\n", "row 1: column 2 has no name"),
        ("time_s;TC1\n0;20\n", "row 1: columns are parted by semicolons"),
        ("time_s\tTC1\n0\t20\n", "row 1: columns are parted by tabs"),
        (b"PK\x03\x04\0\0\0", "it is a binary file"),
        ("time_s,TC1\n0,20\n".encode("utf-16"), "it is UTF-16 text"),
        ("time_s,TC1,°\n0,20,1\n".encode("latin-1"), "row 1: it is not UTF-8 text"),
        (b"time_s,TC1\n0,20\n60,2\xb0\n", "row 3: it is not UTF-8 text"),
    ],
)
def test_what_cannot_be_read_is_refused_where_it_stands(text, says):
    assert says in refusal(text)


def test_a_missing_channel_is_named_with_the_columns_there_are():
    says = refusal("time_s,TC1\n0,20\n", Layout(channels=("TC1", "TC2")))
    assert "there is no column TC2; its columns are time_s, TC1" in says


def test_the_time_column_cannot_be_a_channel():
    assert "holds the times" in refusal("time_s,TC1\n0,20\n", Layout(channels=("time_s",)))


def test_a_file_larger_than_allowed_is_refused_unread(tmp_path):
    assert "at most 1e-05 MB" in refusal("time_s,TC1\n0,20\n", max_bytes=10)
    path = tmp_path / "run.csv"
    path.write_text("time_s,TC1\n0,20\n")
    with pytest.raises(BadFile, match="are taken"):
        read_logger_csv(path, filename="run.csv", max_bytes=10)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(BadFile, match=r"run\.csv: no such file"):
        read_logger_csv(tmp_path / "run.csv", filename="run.csv")
