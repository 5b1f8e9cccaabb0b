"""Whatever a file holds, it is read or refused in one sentence; fast and slow readers agree."""

import math

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.documents.logger.logger_cells import read_cells
from app.documents.logger.logger_delimited import body_of, read_delimited
from app.documents.logger.logger_files import LoggerFile
from app.documents.logger.logger_lines import rows_of_lines
from app.documents.logger.logger_mapping import LoggerMapping, mapping_from_json
from app.documents.logger.logger_proposal import propose
from app.errors import BadFile
from tests.documents.torture.forms import form_of
from tests.documents.torture.outcomes import outcome
from tests.documents.torture.written import truth_for, written

BASE = {
    "name": "any",
    "kind": "csv",
    "encoding": "utf-8",
    "delimiter": "comma",
    "header": "by names",
    "time": {"columns": ["t"], "kind": "elapsed", "elapsed_unit": "seconds"},
    "temperature_unit": "C",
    "channels": [{"channel": "A", "column": "a"}, {"channel": "B", "column": "b"}],
    "ignored": "everything else",
    "missing": ["-999", "Lost"],
}


def mapping(**keys: object) -> LoggerMapping:
    return mapping_from_json(BASE | keys, filename="mapping")


# What loggers, spreadsheets and bad cables leave in a cell.
CELLS = st.one_of(
    st.from_regex(r"\A[+-]?[0-9]{1,6}([.,][0-9]{0,18})?([eE][+-]?[0-9]{1,3})?\Z"),
    st.sampled_from(
        [
            *(
                "",
                " ",
                "-",
                "----",
                "-" * 40,
                "OPEN",
                "open",
                "oPeN",
                "nan",
                "NaN",
                "-nan",
                "NAN(1)",
            ),
            *("inf", "-Infinity", "1e999", "1e-999", "0x10", "1_0", "+5", ".5", "5.", "-0", "1 2"),
            *(
                "-999",
                "-999.0",
                " -999",
                "-9.99e2",
                "lost",
                "LOST",
                "Lost",
                "#N/A",
                "N/A",
                "\u0665",
            ),
            *(
                '"20"',
                '"20"5',
                '20"5',
                '"20',
                '20"',
                '""',
                '"2,0"',
                "20\t",
                "\xa020",
                "'20",
                "1.2.3",
            ),
            *(
                "1,5",
                '"1,5"',
                '"1.5"',
                "1e5",
                "1E5",
                "00020.50",
                "20.5 ",
                "true",
                "=1+1",
                "\ufeff20",
            ),
        ]
    ),
)
TIMES = st.one_of(st.integers(0, 40).map(str), CELLS)
ROWS = st.lists(st.tuples(TIMES, CELLS, CELLS, CELLS), min_size=1, max_size=6)


def both_ways(content: bytes, found: LoggerMapping):
    """The rows by the whole-column reader with its fall-back, and cell by cell."""
    told = []
    for way in ("fast", "slow"):
        try:
            body = body_of(content, found, filename="run.csv")
            if way == "fast":
                rows = read_delimited(body, found, filename="run.csv")
            else:
                cells = rows_of_lines(
                    body.text[body.begin : body.end],
                    body.first_row,
                    found,
                    width=len(body.table.names),
                    filename="run.csv",
                )
                rows = read_cells(cells, body.table, found, filename="run.csv")
                if not len(rows.stamps.nanoseconds):
                    told.append(None)
                    continue
            told.append(
                (
                    rows.stamps.nanoseconds.tobytes(),
                    *(np.nan_to_num(one, nan=math.inf).tobytes() for one in rows.channels),
                )
            )
        except BadFile:
            told.append(None)
    return told


@settings(max_examples=600, deadline=None)
# An open quote in the last cell; two open quotes in one row.
@example(
    rows=[("0", "1", "2", '"20')],
    line_end="\n",
    decimal="point",
    delimiter="comma",
    sorted_times=False,
)
@example(
    rows=[("0", '"1', '"2', "3,4")],
    line_end="\n",
    decimal="comma",
    delimiter="comma",
    sorted_times=False,
)
@given(
    rows=ROWS,
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    decimal=st.sampled_from(["point", "comma"]),
    delimiter=st.sampled_from(["comma", "semicolon"]),
    sorted_times=st.booleans(),
)
def test_whole_columns_and_single_cells_are_read_alike(
    rows, line_end, decimal, delimiter, sorted_times
) -> None:
    sign = {"comma": ",", "semicolon": ";"}[delimiter]
    lines = [sign.join(["t", "a", "b", "remark"])]
    for at, (time, *cells) in enumerate(rows):
        lines.append(sign.join([str(at) if sorted_times else time, *cells]))
    content = (line_end.join(lines) + line_end).encode()
    fast, slow = both_ways(content, mapping(decimal_mark=decimal, delimiter=delimiter))
    assert fast == slow


DATES = st.one_of(
    st.from_regex(
        r"\A[0-9]{1,2}[./][0-9]{1,2}[./](20)?[0-9]{2} [0-9]{1,2}:[0-9]{2}(:[0-9]{2})?( ?[AP]M)?\Z"
    ),
    st.datetimes().map(lambda at: at.strftime("%d.%m.%Y %H:%M:%S")),
    st.datetimes().map(lambda at: at.isoformat(timespec="seconds")),
)


@settings(max_examples=250, deadline=None)
@given(
    times=st.lists(DATES, min_size=1, max_size=5),
    order=st.sampled_from([None, "day-month-year", "month-day-year", "year-month-day"]),
    clock=st.sampled_from(["24 h", "12 h"]),
)
def test_dates_are_read_alike_as_columns_and_as_cells(times, order, clock) -> None:
    lines = ["t,a,b", *(f"{time},1,2" for time in times)]
    part = {
        "columns": ["t"],
        "kind": "pattern",
        "order": order,
        "date_mark": ".",
        "clock": clock,
        "century": "20",
        "zone": "UTC",
    }
    content = ("\n".join(lines) + "\n").encode()
    fast, slow = both_ways(content, mapping(time=part))
    assert fast == slow


@settings(max_examples=250, deadline=None)
@given(content=st.one_of(st.binary(max_size=400), st.text(max_size=200).map(str.encode)))
def test_any_bytes_are_read_or_refused(content) -> None:
    for keys in ({}, {"encoding": "utf-16"}, {"encoding": "latin-1"}, {"header": 1}):
        _read_or_refused(content, mapping(**keys))
    kept = {key: value for key, value in BASE.items() if key not in {"encoding", "delimiter"}}
    _read_or_refused(content, mapping_from_json(kept | {"kind": "xlsx"}, filename="mapping"))
    _read_or_refused(
        b"PK\x03\x04" + content, mapping_from_json(kept | {"kind": "xlsx"}, filename="m")
    )
    assert propose([LoggerFile("run.csv", content)]).refusal is not None or content


def _read_or_refused(content: bytes, found: LoggerMapping) -> None:
    reading = outcome([LoggerFile("run.csv", content)], found, begins="run.csv")
    assert isinstance(reading, str) or len(reading.trace.times)


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 479),
    edits=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 8), st.binary(max_size=8)),
        min_size=1,
        max_size=3,
    ),
)
def test_any_edit_of_a_form_is_read_or_refused(seed, edits) -> None:
    form = form_of(seed)
    files, paper = written(form, truth_for(form))
    content = files[0].content
    for where, lost, put in edits:
        at = int(where * len(content))
        content = content[:at] + put + content[at + lost :]
    edited = [LoggerFile(files[0].name, content), *files[1:]]
    reading = outcome(edited, paper, begins="part ")
    assert isinstance(reading, str) or (np.diff(reading.trace.times) > 0).all()
    propose(edited)


def test_what_is_proposed_for_a_form_is_true_or_left_to_state() -> None:
    """A proposal may ask much; what it states of marks, orders and units is what was written."""
    proposed = 0
    for seed in range(300):
        form = form_of(seed)
        if form.several_sheets or form.files != "one":
            continue
        files, paper = written(form, truth_for(form))
        found = propose(files, zone="Europe/Berlin")
        if found.refusal is not None:
            continue
        proposed += 1
        for key in ("kind", "encoding", "delimiter"):
            if key == "encoding" and files[0].content.isascii():
                continue
            assert found.paper[key] == paper.get(key), (seed, key)
        if found.paper["decimal_mark"] is not None and form.kind != "xlsx":
            texts = [text for one in truth_for(form).channels.values() for text in one if text]
            if any("." in text for text in texts):
                assert found.paper["decimal_mark"] == form.decimal, seed
        if form.time_kind == "pattern" and found.paper["time"].get("order"):
            assert found.paper["time"]["order"] == form.order, seed
        if form.unit_row and not form.mixed_units:
            assert found.paper["temperature_unit"] == form.unit, seed
    assert proposed > 170
