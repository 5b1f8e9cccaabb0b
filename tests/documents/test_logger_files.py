"""Exports by hand: zones and their changes, units, several files, and what each refusal says."""

from datetime import UTC, datetime, timedelta

import pytest

from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import mapping_from_json
from app.documents.logger.logger_proposal import first_rows, propose
from app.errors import BadFile

PAPER = {
    "name": "by hand",
    "kind": "csv",
    "encoding": "utf-8",
    "delimiter": "comma",
    "header": "by names",
    "time": {"columns": ["t"], "kind": "iso", "zone": "Europe/Berlin"},
    "temperature_unit": "C",
    "channels": [{"channel": "TC1", "column": "A"}],
}
ELAPSED = {"columns": ["t"], "kind": "elapsed", "elapsed_unit": "seconds"}


def read(*texts: str, **keys: object):
    files = [LoggerFile(f"run {at}.csv", text.encode()) for at, text in enumerate(texts, start=1)]
    return read_logger(files, mapping_from_json({**PAPER, **keys}, filename="m.json"))


def refusal(*texts: str, **keys: object) -> str:
    with pytest.raises(BadFile) as refused:
        read(*texts, **keys)
    return refused.value.sentence


def stamped(*times: str) -> str:
    return "t,A\n" + "".join(f"{time},{20 + at}\n" for at, time in enumerate(times))


def seconds(reading) -> list[float]:
    return reading.trace.times.tolist()


def test_european_summer_time_begins_at_one_utc_on_the_last_sunday_of_march() -> None:
    """Directive 2000/84/EC, articles 2 and 3, from memory."""
    reading = read(stamped("2031-03-30T01:59:00", "2031-03-30T03:00:00"))
    assert seconds(reading) == [0, 60]
    assert reading.started_at == datetime(2031, 3, 30, 0, 59, tzinfo=UTC)
    assert "set forward from 2031-03-30 02:00:00 to 2031-03-30 03:00:00" in reading.notes[0]
    says = refusal(stamped("2031-03-30T01:59:00", "2031-03-30T02:00:00"))
    assert says.startswith("run 1.csv, row 3, column t: 2031-03-30 02:00:00 does not exist")


def test_it_ends_at_one_utc_on_the_last_sunday_of_october() -> None:
    """Directive 2000/84/EC, articles 2 and 3, from memory."""
    passes = stamped(
        *("2031-10-26T01:45:00", "2031-10-26T02:15:00", "2031-10-26T02:45:00"),
        *("2031-10-26T02:15:00", "2031-10-26T02:45:00", "2031-10-26T03:15:00"),
    )
    assert "row 3, column t: 2031-10-26 02:15:00 came twice" in refusal(passes)
    by_order = PAPER["time"] | {"repeated_hour": "by order"}
    reading = read(passes, time=by_order)
    assert seconds(reading) == [0, 1800, 3600, 5400, 7200, 9000]
    assert "set back from 2031-10-26 03:00:00 to 2031-10-26 02:00:00" in reading.notes[0]


@pytest.mark.parametrize(
    "times",
    [
        ("2031-10-26T01:50:00", "2031-10-26T02:10:00", "2031-10-26T03:10:00"),
        ("2031-10-26T02:10:00", "2031-10-26T02:10:00"),
        ("2031-10-26T02:10:00",),
        ("2031-10-26T02:50:00", "2031-10-26T02:20:00", "2031-10-26T02:10:00"),
        ("2031-10-26T02:00:00", "2031-10-26T02:50:00", "2031-10-26T02:49:00"),
    ],
    ids=["one pass", "standing still", "one row", "two steps back", "a slip"],
)
def test_an_order_that_does_not_show_both_passes_is_refused(times) -> None:
    says = refusal(stamped(*times), time=PAPER["time"] | {"repeated_hour": "by order"})
    assert "export the times in UTC" in says


def test_a_fixed_offset_knows_no_summer_time() -> None:
    part = PAPER["time"] | {"zone": "+01:00"}
    reading = read(stamped("2031-03-30T01:59:00", "2031-03-30T02:30:00"), time=part)
    assert seconds(reading) == [0, 1860]
    assert reading.started_at.utcoffset() == timedelta(hours=1)


def test_offsets_in_the_file_may_change_within_it() -> None:
    part = PAPER["time"] | {"zone": "in the file"}
    text = stamped("2031-10-26T02:59:30+02:00", "2031-10-26T02:00:30+01:00")
    reading = read(text, time=part)
    assert seconds(reading) == [0, 60]
    assert reading.started_at.utcoffset() == timedelta(hours=2)


def test_times_out_of_reach_are_refused() -> None:
    assert "outside the years 1970 to 2199" in refusal(stamped("1931-03-30T01:59:00"))
    assert "row 3" in refusal(stamped("1999-03-30T01:59:00", "2031-03-30T01:59:00"))


PATTERN = {
    "columns": ["t"],
    "kind": "pattern",
    "order": "month-day-year",
    "date_mark": "/",
    "clock": "12 h",
    "zone": "America/New_York",
}


@pytest.mark.parametrize(
    ("written", "hour"),
    [("12:00 AM", 0), ("12:30 PM", 12), ("1:05 a.m.", 1), ("11:59:59 pm", 23), ("12:00:00PM", 12)],
)
def test_a_clock_of_twelve_hours(written, hour) -> None:
    """Common practice: 12 AM is midnight, 12 PM is noon."""
    assert read(stamped(f"4/3/2031 {written}"), time=PATTERN).started_at.hour == hour


@pytest.mark.parametrize(
    ("written", "keys", "says"),
    [
        ("13/4/2031 1:00 AM", {}, "is no time as the mapping states (month-day-year"),
        ("4/3/2031 13:00 PM", {}, "is no time of a 12 h clock"),
        ("4/3/2031 1:00", {}, "says neither AM nor PM"),
        ("4/3/2031 1:60 AM", {}, "is no time of day"),
        ("2/29/2031 1:00 AM", {}, "is no time as the mapping states"),
        ("4/3/31 1:00 AM", {}, "a year of two digits; state the century"),
        (
            "4/3/2031 1:00 AM",
            {"order": None},
            "could be two days (day-month-year or month-day-year)",
        ),
        ("4.3.2031 1:00 AM", {}, "is no time as the mapping states"),
        ("4/3/2031 1:00 AM", {"clock": "24 h"}, "the mapping states a 24 h clock; state 12 h"),
        ("4/3/2031 1:00 AM +02:00", {}, "carries the zone +02:00, but the mapping states"),
        ("4/3/2031 1:00 AM", {"zone": "in the file"}, "stands without a zone"),
        ("4/3/2031", {}, "is no time as the mapping states"),
        ("", {}, "there is no time"),
    ],
)
def test_a_time_that_is_not_as_stated_is_refused_with_its_row(written, keys, says) -> None:
    sentence = refusal(stamped("4/2/2031 1:00 AM", written), time=PATTERN | keys)
    assert says in sentence or "row 2" in sentence
    assert says in refusal(stamped(written), time=PATTERN | keys)


def test_a_date_that_fits_one_order_only_needs_none_stated() -> None:
    part = PATTERN | {"order": None}
    assert read(stamped("25/3/2031 1:00 AM"), time=part).started_at.day == 25
    assert read(stamped("3/Apr/2031 1:00 AM"), time=part).started_at.month == 4
    assert read(stamped("5/5/2031 1:00 AM"), time=part).started_at.day == 5


@pytest.mark.parametrize(
    ("unit", "written", "kpa"),
    [
        # NIST SP 811 (2008), B.8, figures from memory as printed there.
        ("inHg", "10", 33.86389),
        ("mmHg", "100", 13.33224),
        ("Torr", "100", 13.33224),
        ("psi", "10", 68.94757),
        ("mbar", "900", 90.0),
        ("hPa", "900", 90.0),
        ("Pa", "90000", 90.0),
        ("kPa", "90.1", 90.1),
    ],
)
def test_vacuum_is_handed_on_in_kpa_below_ambient(unit, written, kpa) -> None:
    text = f"t,A,V\n0,20,{written}\n"
    vacuum = {"channel": "VAC", "column": "V", "unit": unit, "sense": "below ambient"}
    found = read(text, time=ELAPSED, vacuum=vacuum).trace.channels["VAC"]
    assert found[0] == pytest.approx(kpa, rel=2e-6)
    gauge = read(f"t,A,V\n0,20,-{written}\n", time=ELAPSED, vacuum=vacuum | {"sense": "gauge"})
    assert gauge.trace.channels["VAC"][0] == found[0]
    absolute = vacuum | {"sense": "absolute", "ambient_kpa": "101.325"}
    below = read(text, time=ELAPSED, vacuum=absolute).trace.channels["VAC"][0]
    assert below == pytest.approx(101.325 - kpa, rel=1e-5)


def test_degf_stays_degf_and_mixed_units_become_degc() -> None:
    text = "t,A,B\n0,212,100\n60,32,0\n"
    both = [{"channel": "TC1", "column": "A"}, {"channel": "TC2", "column": "B"}]
    trace = read(text, time=ELAPSED, temperature_unit="F", channels=both).trace
    assert trace.temperature_unit == "F"
    assert trace.channels["TC1"].tolist() == [212, 32]
    mixed = [both[0] | {"unit": "F"}, both[1]]
    trace = read(text, time=ELAPSED, channels=mixed).trace
    assert trace.temperature_unit == "C"
    assert trace.channels["TC1"].tolist() == [100, 0]
    assert trace.channels["TC2"].tolist() == [100, 0]


def test_a_name_that_says_another_unit_is_refused() -> None:
    channels = [{"channel": "TC1", "column": "A [°F]"}]
    says = refusal("t,A [°F]\n0,212\n", time=ELAPSED, channels=channels)
    assert "the column A [°F] says degF, but the mapping states degC" in says


def test_files_one_after_the_other_keep_shared_rows_once_and_note_holes() -> None:
    one, two, three = "t,A\n0,20\n10,21\n", "t,A\n10,21\n20,22\n", "t,A\n80,23\n90,24\n"
    after = {"time": ELAPSED, "files": "one after the other"}
    reading = read(one, two, three, **after)
    assert seconds(reading) == [0, 10, 20, 80, 90]
    assert reading.notes == (
        "1 row of run 1.csv and run 2.csv are the same and are kept once.",
        "Nothing was logged for 60 s between run 2.csv and run 3.csv.",
    )
    assert "before run 1.csv; give the files in order of time" in refusal(two, one, **after)
    assert seconds(read(two, one, sort=True, **after)) == [0, 10, 20]
    says = refusal(one, two.replace("21", "21.5"), **after)
    assert "it overlaps run 1.csv, and at 10 s the two are not the same" in says
    assert "holds the very bytes of run 1.csv" in refusal(one, one, **after)
    assert "reads one file, and 2 were given" in refusal(one, two, time=ELAPSED)


def test_files_side_by_side_are_joined_on_their_times() -> None:
    beside = {"time": ELAPSED, "files": "side by side"}
    both = [{"channel": "TC1", "column": "A"}, {"channel": "TC2", "column": "B"}]
    reading = read("t,A\n0,20\n10,21\n", "t,B\n0,30\n10,31\n", channels=both, **beside)
    assert {name: one.tolist() for name, one in reading.trace.channels.items()} == {
        "TC1": [20, 21],
        "TC2": [30, 31],
    }
    says = refusal("t,A\n0,20\n10,21\n", "t,B\n0,30\n11,31\n", channels=both, **beside)
    assert "run 2.csv: its times are not those of run 1.csv from 11 s on" in says
    says = refusal("t,A\n0,20\n", channels=both, **beside)
    assert "none of them holds the column B of TC2" in says
    says = refusal("t,A\n0,20\n", "t,A,B\n0,20,30\n", channels=both, **beside)
    assert "the column A of TC1 is in run 1.csv as well; state in_file" in says


def test_in_file_tells_equal_columns_apart() -> None:
    channels = [
        {"channel": "TC1", "column": "A", "in_file": "run 1"},
        {"channel": "TC2", "column": "A", "in_file": "run 2"},
    ]
    texts = ("t,A\n0,20\n", "t,A\n0,30\n")
    trace = read(*texts, time=ELAPSED, files="side by side", channels=channels).trace
    assert (trace.channels["TC1"][0], trace.channels["TC2"][0]) == (20, 30)


def test_sizes_are_refused_before_anything_is_read() -> None:
    mapping = mapping_from_json(PAPER | {"time": ELAPSED}, filename="m.json")
    with pytest.raises(BadFile, match="at most 1e-05 MB are taken"):
        read_logger([LoggerFile("run.csv", b"t,A\n0,20\n" * 9)], mapping, max_bytes=10)


def test_the_first_rows_of_a_file_may_be_read_without_its_end() -> None:
    paper = PAPER | {"time": ELAPSED, "footer": {"marker": "End"}}
    mapping = mapping_from_json(paper, filename="m.json")
    head = b"t,A\n0,20\n10,21\n"
    with pytest.raises(BadFile, match="may be cut short"):
        read_logger([LoggerFile("run.csv", head)], mapping)
    reading = read_logger([LoggerFile("run.csv", head, whole=False)], mapping)
    assert first_rows(reading, rows=1) == ((0.0, 20.0),)


def test_a_proposal_says_what_is_certain_guessed_and_to_be_stated() -> None:
    text = (
        "Night logger;;;\n\nDate;Time;Z1;Vac;remark\n;;°F;kPa;\n"
        "03.04.2031;08:00:00;20,5;68;ok\n03.04.2031;08:00:10;LOST;70;ok\nEnd;;;;\n"
    )
    found = propose([LoggerFile("run.csv", text.encode())], zone="Europe/Berlin")
    assert found.refusal is None
    assert found.mapping is None
    assert any("semicolon" in says for says in found.certain)
    assert any("Europe/Berlin" in says for says in found.guessed)
    assert any("LOST" in says for says in found.guessed)
    assert any("order of the dates: 03.04.2031" in says for says in found.to_state)
    assert any("positive below ambient" in says for says in found.to_state)
    completed = found.paper | {
        "time": found.paper["time"] | {"order": "day-month-year"},
        "vacuum": found.paper["vacuum"] | {"sense": "below ambient"},
    }
    mapping = mapping_from_json(completed, filename="m.json")
    reading = read_logger([LoggerFile("run.csv", text.encode())], mapping)
    assert reading.trace.temperature_unit == "F"
    assert reading.started_at == datetime(2031, 4, 3, 6, tzinfo=UTC)


def test_a_plain_file_is_proposed_whole() -> None:
    text = "time,TC1 (°C)\n2031-04-03T08:00:00Z,20.5\n2031-04-03T08:01:00Z,21\n"
    found = propose([LoggerFile("run.csv", text.encode())])
    assert found.to_state == ()
    assert found.mapping is not None
    reading = read_logger([LoggerFile("run.csv", text.encode())], found.mapping)
    assert reading.trace.times.tolist() == [0, 60]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("time,TC1\n", "row 1: no row of readings follows it (time, TC1)"),
        ("Zeit;TC1;TC2", "row 1: no row of readings follows it (Zeit, TC1, TC2)"),
        ("time,TC1\ns,degC\n", "row 2: no row of readings follows it (s, degC)"),
        ("Logger,Seven\nRun,Twelve\n\ntime,TC1\n\n", "row 4: no row of readings follows it"),
        ("time,TC1\nEnd of export\n", "row 1: no row of readings follows it (time, TC1)"),
    ],
)
def test_a_file_of_a_header_alone_is_said_to_be_one(text: str, where: str) -> None:
    alone = LoggerFile("run 2.csv", text.encode())
    whole = LoggerFile("run 1.csv", stamped("2031-04-03T08:00:00", "2031-04-03T08:00:10").encode())
    for files in ([alone], [whole, alone]):
        says = propose(files).refusal or ""
        assert says.startswith(f"run 2.csv, {where}")
        assert says.endswith("; export the run again with its readings.")


@pytest.mark.parametrize(
    ("text", "keys", "where"),
    [
        ("t,A\n\n", {}, ", row 1: no row of readings follows it"),
        ("Run,12\nt,A\ns,degC\n", {"unit_row": True}, ", row 2: no row of readings follows it"),
        (
            "End,\n",
            {
                "header": "none",
                "time": PAPER["time"] | {"columns": [1]},
                "channels": [{"channel": "TC1", "column": 2}],
                "footer": {"marker": "End"},
            },
            ": there is no row of readings",
        ),
    ],
)
def test_a_mapping_that_finds_no_row_of_readings_says_after_which_row(text, keys, where) -> None:
    assert refusal(text, **keys) == f"run 1.csv{where}; export the run again with its readings."


def test_a_row_of_words_and_figures_is_no_header() -> None:
    says = propose([LoggerFile("run.csv", b"a,b\nx,1\n")]).refusal
    assert says == (
        "run.csv: none of its columns (a, b) looks like the time; the first row begins with "
        "'x, 1'. Export the times as well."
    )
